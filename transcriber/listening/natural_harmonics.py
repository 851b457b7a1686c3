"""Natural harmonics: a touched string sounds a multiple of its open pitch, and lets the rest through faintly.

A light finger over a node leaves the partials that have a node there. The others don't vanish: on
recordings they stand 40 to 58 dB below the sounding pitch and stay there, at whole multiples of the open
string's pitch, where a fretted note has nothing but noise. So a note is a harmonic if its pitch is that of
a node of an open string and that string's own partials stand clear of the noise between them. An open string
that only sounds along with a fretted note has them too, but is not in tune with it to a few cents.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.fft import next_fast_len

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

_PADDING = 2
_AFTER_ONSET_S, _BEFORE_END_S = 0.06, 0.01
_SHORTEST_S, _LONGEST_S = 0.12, 0.8  # of what is read: a longer stretch lifts partials further from noise
_COMPARED_S = 0.186  # of the stretches before and after the attack that are compared
_HIGHEST_PARTIAL, _HIGHEST_TOLD = 9, 7  # of the open string: what sounds; what is let through
_LOWEST_DB, _HIGHEST_DB = -70.0, -34.0  # of what is let through, against what sounds
_RANG_ON_DB = (-6.0, 12.0)  # a partial that was there before as loud as this rings on, no more
_HEIGHT_COUNTED_DB, _HEIGHT_ASKED_DB = 25.0, 9.0  # above the noise: of one partial at most; on average
_STIFFEST = 2e-4  # inharmonicity B of an open string at most: a wound low E has about 1e-4
_IN_TUNE_CENTS = 2.5  # as few as lose no simulated harmonic of the fit split
_SPREAD = 0.008  # of a partial's place: the string is stiff, its pitch measured
_BESIDE = (-0.42, -0.34, -0.26, 0.26, 0.34, 0.42)  # of the open pitch: where noise between partials is read


@dataclass(frozen=True)
class _Spectrum:
    levels_db: FloatArray
    resolution_hz: float

    def level(self, at_hz: float, spread_hz: float) -> float:
        """Highest level around a place, dB."""
        begin, end = self._bins(at_hz, spread_hz)
        return float(self.levels_db[begin:end].max(initial=-200.0))

    def peak_hz(self, at_hz: float, spread_hz: float) -> float:
        """Where the level is highest around a place, between bins by a parabola."""
        begin, end = self._bins(at_hz, spread_hz)
        if end - begin < 3:
            return at_hz
        top = begin + int(np.argmax(self.levels_db[begin:end]))
        if not 0 < top < len(self.levels_db) - 1:
            return at_hz
        left, middle, right = self.levels_db[top - 1 : top + 2]
        bow = left - 2 * middle + right
        off = 0.5 * (left - right) / bow if bow < 0 else 0.0
        return float(top + np.clip(off, -0.5, 0.5)) * self.resolution_hz

    def _bins(self, at_hz: float, spread_hz: float) -> tuple[int, int]:
        wide = max(_PADDING, round(spread_hz / self.resolution_hz))
        nearest = round(at_hz / self.resolution_hz)
        return max(nearest - wide, 0), min(nearest + wide + 1, len(self.levels_db))


@dataclass(frozen=True)
class _Around:
    """Spectra of a note's whole steady part, of its first moment, and of the moment before it."""

    whole: _Spectrum
    now: _Spectrum
    before: _Spectrum | None


def touched_node(take: Take, note: HeardNote, reference_hz: float, instrument: Instrument) -> Node | None:
    """Tell at which node a note was touched; None if it was fretted or nothing can be told.

    The bounds were chosen on simulated harmonics of the fit split's guitars.

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
    around = _around(take, note) if nodes and len(cents) else None
    if around is None:
        return None
    f0_hz = midi_to_hz(note.pitch_midi + float(np.median(cents)) / 100, reference_hz)
    heights = [_let_through_db(around, f0_hz / node.partial, node) for node in nodes]
    best = int(np.argmax(heights))
    return nodes[best] if heights[best] >= _HEIGHT_ASKED_DB else None


def _around(take: Take, note: HeardNote) -> _Around | None:
    """Spectra around a note's attack; None if it is too short to tell."""
    rate = take.sample_rate_hz
    attack = round((note.onset_s - take.start_s) * rate)
    begin = attack + round(_AFTER_ONSET_S * rate)
    end = min(round((note.end_s - take.start_s - _BEFORE_END_S) * rate), len(take.samples))
    end = min(end, begin + round(_LONGEST_S * rate))
    if attack < 0 or end - begin < _SHORTEST_S * rate:
        return None
    compared = min(round(_COMPARED_S * rate), end - begin)
    before = take.samples[max(attack - compared, 0) : attack]
    return _Around(
        _spectrum(take.samples[begin:end], rate),
        _spectrum(take.samples[begin : begin + compared], rate),
        _spectrum(before, rate) if len(before) > compared // 2 else None,
    )


def _spectrum(samples: npt.NDArray[np.float32], rate_hz: int) -> _Spectrum:
    """Levels of a stretch, dB; the same for a steady partial however long the stretch."""
    length = next_fast_len(_PADDING * len(samples), real=True)
    magnitudes = np.abs(np.fft.rfft(samples * np.hanning(len(samples)), length)) * 2 / len(samples)
    return _Spectrum(np.asarray(20 * np.log10(magnitudes + 1e-9), np.float64), rate_hz / length)


def _let_through_db(around: _Around, open_hz: float, node: Node) -> float:
    """How far the open string's own partials stand above the noise on average, dB.

    Those that rang on from before and those that are too loud or too faint to be what a touch lets through
    count as noise.
    """
    sounding = range(node.partial, _HIGHEST_PARTIAL + 1, node.partial)
    strongest = max(around.whole.level(open_hz * k, _SPREAD * open_hz * k) for k in sounding)
    sounding_hz = around.whole.peak_hz(open_hz * node.partial, _SPREAD * open_hz * node.partial)
    heights = []
    for k in range(1, _HIGHEST_TOLD + 1):
        if k % node.partial:
            at, spread = open_hz * k, _SPREAD * open_hz * k
            here = around.whole.level(at, spread)
            noise = float(np.median([around.whole.level(at + side * open_hz, spread) for side in _BESIDE]))
            faint = _LOWEST_DB <= here - strongest <= _HIGHEST_DB
            in_tune = _out_of_tune_cents(around.whole, sounding_hz, k, node) <= _IN_TUNE_CENTS
            counts = faint and in_tune and not _rang_on(around, at, spread)
            heights.append(min(here - noise, _HEIGHT_COUNTED_DB) if counts else 0.0)
    return float(np.mean(heights))


def _out_of_tune_cents(whole: _Spectrum, sounding_hz: float, k: int, node: Node) -> float:
    """How far a partial is from where the string that sounds has it, beyond what stiffness explains."""
    at = sounding_hz / node.partial * k
    cents = 1200 * math.log2(whole.peak_hz(at, _SPREAD * at) / at)
    # Partial k of a stiff string is sharp by the factor sqrt(1 + B k^2).
    stiff = 600 / math.log(2) * _STIFFEST * (k**2 - node.partial**2)
    low, high = min(stiff, 0.0), max(stiff, 0.0)
    return max(low - cents, cents - high, 0.0)


def _rang_on(around: _Around, at_hz: float, spread_hz: float) -> bool:
    if around.before is None:
        return False
    louder = around.before.level(at_hz, spread_hz) - around.now.level(at_hz, spread_hz)
    return _RANG_ON_DB[0] < louder < _RANG_ON_DB[1]
