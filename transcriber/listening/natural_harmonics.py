"""Natural harmonics: a touched string sounds a multiple of its open pitch, and lets the rest through faintly.

A light finger over a node leaves the partials that have a node there. The others don't vanish: on
recordings they stand 40 to 58 dB below the sounding pitch and stay there, at whole multiples of the open
string's pitch, where a fretted note has nothing but noise. So a note is a harmonic if its pitch is that of
a node of an open string and that string's own partials stand clear of the noise between them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from transcriber.records.heard import HeardNote
from transcriber.records.pitch import midi_to_hz
from transcriber.records.placed import Instrument
from transcriber.records.take import Take

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Node:
    """A place to touch a string.

    Attributes
    ----------
    fret : float
        Where it is touched, the nearest fret.
    partial : int
        Lowest partial that has a node there; the string sounds `partial` times its open pitch.
    semitones : int
        From the open string to the sounding pitch, to the nearest semitone.
    """

    fret: int
    partial: int
    semitones: int


NODES = (Node(12, 2, 12), Node(7, 3, 19), Node(5, 4, 24), Node(4, 5, 28))
"""Nodes in use (common practice), by rising partial."""

_WINDOW = 4096  # 186 ms: partials of the lowest string stand apart
_AFTER_ONSET_S = 0.06
_SHORTEST_S, _LONG_S = 0.16, 0.42
_LOWEST_DB, _HIGHEST_DB, _CLEAR_DB = -66.0, -28.0, 13.0
_RANG_ON_DB = 8.0
_COUNT = 9  # partials of the open string that are looked at
_FEWEST = 3
_OFF = 0.4  # of the open pitch: where the noise between partials is read


def touched_node(take: Take, note: HeardNote, reference_hz: float, instrument: Instrument) -> Node | None:
    """Tell at which node a note was touched; None if it was fretted or nothing can be told.

    Parameters
    ----------
    take : Take
    note : HeardNote
    reference_hz : float
        Frequency of MIDI 69 on this take.
    instrument : Instrument
    """
    opens = {midi + instrument.capo for midi in instrument.tuning_midi}
    nodes = [node for node in NODES if note.pitch_midi - node.semitones in opens]
    cents = note.contour_cents[~np.isnan(note.contour_cents)]
    begin = round((note.onset_s + _AFTER_ONSET_S - take.start_s) * take.sample_rate_hz)
    long_enough = note.end_s - note.onset_s >= _SHORTEST_S and begin + _WINDOW <= len(take.samples)
    if not (nodes and len(cents) and long_enough and begin >= 0):
        return None
    f0_hz = midi_to_hz(note.pitch_midi + float(np.median(cents)) / 100, reference_hz)
    levels = _levels(take, begin)
    ended = round((note.onset_s - take.start_s) * take.sample_rate_hz) - _WINDOW
    before = _levels(take, ended) if ended >= 0 else np.full(len(levels), -200.0)
    resolution = take.sample_rate_hz / _WINDOW
    held = [levels]
    if note.end_s - note.onset_s >= _LONG_S and begin + 2 * _WINDOW <= len(take.samples):
        held.append(_levels(take, begin + _WINDOW))  # what drives an amplifier hard comes and goes
    for node in nodes:
        open_bin = f0_hz / node.partial / resolution
        if all(_lets_through(now, before, open_bin, node) for now in held):
            return node
    return None


def _levels(take: Take, begin: int) -> FloatArray:
    """Level of each bin from a sample on, dB."""
    stretch = take.samples[begin : begin + _WINDOW]
    return np.asarray(20 * np.log10(np.abs(np.fft.rfft(stretch * np.hanning(_WINDOW))) + 1e-9), np.float64)


def _lets_through(levels: FloatArray, before: FloatArray, open_bin: float, node: Node) -> bool:
    """Whether the open string's own partials stand clear of the noise, and did not ring on from before."""
    others = [k for k in range(1, _COUNT + 1) if k % node.partial]
    strongest = max(_level(levels, open_bin * k) for k in range(node.partial, _COUNT + 1, node.partial))
    clear = 0
    for k in others:
        here = _level(levels, open_bin * k)
        noise = max(_level(levels, open_bin * (k + side)) for side in (-_OFF, _OFF))
        faint = _LOWEST_DB <= here - strongest <= _HIGHEST_DB
        rang_on = abs(_level(before, open_bin * k) - here) <= _RANG_ON_DB
        clear += faint and not rang_on and here - noise >= _CLEAR_DB
    return clear >= max(_FEWEST, round(0.6 * len(others)))


def _level(levels: FloatArray, at: float) -> float:
    """Highest level within a bin of a place, dB."""
    nearest = round(at)
    return float(levels[max(nearest - 1, 0) : nearest + 2].max(initial=-200.0))
