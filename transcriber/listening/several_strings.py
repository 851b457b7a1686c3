"""Double stops, chords and strings that ring on: what sounds together at each beginning, and what it is
taken for.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from transcriber.listening.attacks import short_levels
from transcriber.listening.strokes import NoteInMaking
from transcriber.listening.two_notes import (
    WINDOW,
    Mixture,
    Peaks,
    has_low_partials,
    is_one_pitch,
    mixture,
    own_level_db,
    spectrum_peaks,
)
from transcriber.records.pitch import midi_to_hz
from transcriber.records.placed import Instrument
from transcriber.records.problem import Problem
from transcriber.records.take import Take

Frames = npt.NDArray[np.int64]
FloatArray = npt.NDArray[np.float64]
Samples = npt.NDArray[np.float32]

_AFTER_ONSET_S = 0.03
_SHORTEST_S = 0.1
# What a second note explains on top of the first, how loud it is against it, and by how many partials of its
# own: single notes reach .09, .03 and 4, double stops begin at .24, .27 and 4 (green and the synthesiser).
_GAIN, _LEVEL, _PARTIALS = 0.17, 0.14, 3
_PAIR_SHARE = 0.74
_CHORD_ONE_SHARE, _CHORD_SECOND_GAIN = 0.6, 0.15
# A line whose pitch steps within the window seems to hold several; but it has one pitch at every moment.
_EARLY, _CLEAR_SHARE = slice(3, 13), 0.5  # frames after a beginning, once its attack is over
_RANG_ON_DB = 4.0
_FALLEN_DB = 26.0
_NEAR_FRAMES = 8
_GLIDE_FRAMES = 26  # a slide may leave a note this long before it arrives
_FAINT = 10 ** (-40 / 20)  # median of a window against the take's loudest sample
_MOVING = ("bend", "pre_bend", "release", "vibrato", "slide_in", "slide_out", "trill")


@dataclass(frozen=True)
class Together:
    """Notes in making with their double stops, and what was noticed."""

    notes: list[NoteInMaking]
    problems: tuple[Problem, ...]


@dataclass(frozen=True)
class _Beginning:
    """A moment at which something begins, and the sound until the next such moment."""

    frame: int
    stop: int
    note: NoteInMaking | None


def hear_together(
    take: Take,
    notes: list[NoteInMaking],
    attacks: Frames,
    hop: int,
    reference_hz: float,
    instrument: Instrument,
    pitch: FloatArray,
) -> Together:
    """Look for a second note at every beginning.

    Parameters
    ----------
    take : Take
    notes : list of NoteInMaking
        The line as the tracker followed it, in order; changed in place where two notes misled it.
    attacks : ndarray of int64, shape (k,)
        Frames of clear attacks.
    hop : int
        Samples between frames.
    reference_hz : float
        Frequency of MIDI 69.
    instrument : Instrument
    pitch : ndarray of float64, shape (n,)
        Semitones of each frame at the take's tuning, NaN where no clear pitch was found.
    """
    lowest = midi_to_hz(min(instrument.tuning_midi) - 0.7, reference_hz)
    highest = midi_to_hz(max(instrument.tuning_midi) + instrument.frets + 0.7, reference_hz)
    problems: list[Problem] = []
    dropped: set[int] = set()
    added: list[NoteInMaking] = []
    doubled: list[int] = []
    loudest = float(np.abs(take.samples).max(initial=0.0))
    for beginning in _beginnings(notes, attacks, len(take.samples) // hop):
        first = beginning.frame * hop + round(_AFTER_ONSET_S * take.sample_rate_hz)
        last = min(beginning.stop * hop, first + WINDOW)
        if last - first < _SHORTEST_S * take.sample_rate_hz:
            continue
        note = beginning.note
        if note is None and np.median(np.abs(take.samples[first:last])) < _FAINT * loudest:
            continue  # hands on the strings, not a chord
        peaks = spectrum_peaks(take.samples[first:last], take.sample_rate_hz)
        if note is not None and note.has(*_MOVING):
            continue  # one moving pitch is in two places within the window
        if note is not None and is_one_pitch(peaks, midi_to_hz(note.pitch + note.bend, reference_hz)):
            continue
        found = mixture(peaks, lowest, highest)
        if found is None:
            continue
        start_s = take.start_s + beginning.frame * hop / take.sample_rate_hz
        if _is_double(found):
            pitches = [round(_midi(hz, reference_hz)) for hz in found.pair_hz]
            before = take.samples[max(beginning.frame * hop - WINDOW, 0) : beginning.frame * hop - 64]
            rang = _rang_on(found, before, take.samples[first:last], take.sample_rate_hz)
            struck = len(attacks) and np.abs(attacks - beginning.frame).min() <= _NEAR_FRAMES
            if pitches == doubled and len(rang) == 2 and not struck:
                # The tracker wavered within the double stop before: nothing begins here.
                dropped |= {id(note)} if note is not None else set()
                continue
            old = rang[0] if len(rang) == 1 else None
            note = _told(note, beginning, pitches, old, added)
            note.last = max(note.last, beginning.frame + _sounding(take, beginning, hop))
            dropped |= _misled(notes, beginning, note)
            doubled = pitches
            problems.append(_two_notes(start_s, old is None))
        elif _is_chord(found) and not _has_one_pitch(pitch, beginning):
            # A damped string's thud has partials of several strings, and no chord's ring.
            if note is None or not note.has("dead_note"):
                problems.append(_chord(start_s))
        elif note is not None and _is_phantom(note, peaks, pitch, reference_hz):
            # The tracker found the common period of several strings, which none of them sounds.
            dropped.add(id(note))
            problems.append(_chord(start_s))
    kept = [n for n in notes if id(n) not in dropped]
    return Together(sorted([*kept, *added], key=lambda n: n.onset), tuple(problems))


def _beginnings(notes: list[NoteInMaking], attacks: Frames, frames: int) -> list[_Beginning]:
    """Onsets of notes, and clear attacks that no note stands near."""
    onsets = {note.onset: note for note in notes}
    every = np.array(sorted(onsets), np.int64)
    lone = [int(a) for a in attacks if not len(every) or np.abs(every - a).min() > _NEAR_FRAMES]
    at = sorted([*onsets, *lone])
    if not at:
        return []
    slid = {note.onset for note in notes if note.has("slide")}
    stops = [frame - _GLIDE_FRAMES * (frame in slid) for frame in (*at[1:], frames)]
    return [_Beginning(frame, stop, onsets.get(frame)) for frame, stop in zip(at, stops, strict=True)]


def _is_double(found: Mixture) -> bool:
    gain = found.pair_share - found.one_share
    clear = gain >= _GAIN and found.second_level >= _LEVEL and found.second_partials >= _PARTIALS
    return clear and found.pair_share >= _PAIR_SHARE


def _is_chord(found: Mixture) -> bool:
    """Whether even two pitches leave much unexplained."""
    gain = found.pair_share - found.one_share
    return (
        found.pair_share < _PAIR_SHARE and found.one_share < _CHORD_ONE_SHARE and gain >= _CHORD_SECOND_GAIN
    )


def _has_one_pitch(pitch: FloatArray, beginning: _Beginning) -> bool:
    return float(np.mean(~np.isnan(pitch[beginning.frame :][_EARLY]))) >= _CLEAR_SHARE


def _is_phantom(note: NoteInMaking, peaks: Peaks, pitch: FloatArray, reference_hz: float) -> bool:
    """Whether a note's pitch, as far off its fret as it was measured, has neither of its first partials."""
    known = pitch[note.onset : note.last]
    known = known[~np.isnan(known)]
    if note.has("dead_note") or not len(known):
        return False
    return not has_low_partials(peaks, midi_to_hz(float(np.median(known)), reference_hz))


def _rang_on(found: Mixture, before: Samples, after: Samples, rate_hz: int) -> list[int]:
    """Which of the two pitches, 0 the lower, sounded as loudly before this beginning."""
    if len(before) < _SHORTEST_S * rate_hz:
        return []
    rang = []
    for which in (0, 1):
        own, other = found.pair_hz[which], found.pair_hz[1 - which]
        was, now = (own_level_db(part, rate_hz, own, other) for part in (before, after))
        if was >= now - _RANG_ON_DB:
            rang.append(which)
    return rang


def _told(
    note: NoteInMaking | None,
    beginning: _Beginning,
    pitches: list[int],
    old: int | None,
    added: list[NoteInMaking],
) -> NoteInMaking:
    """Let the line have the higher pitch, or the one that is new, and put the other beside it."""
    line = pitches[1 - old] if old is not None else pitches[1]
    if note is None:
        note = _new_note(beginning, line)
        added.append(note)
    elif abs(note.pitch - line) > 0:
        note.pitch, note.techniques, note.bend = line, [], 0.0
    if old is None:
        note.beside = pitches[0]
    return note


def _sounding(take: Take, beginning: _Beginning, hop: int) -> int:
    """Frames until the level has fallen for good; the tracker loses two notes long before."""
    levels = short_levels(take.samples[beginning.frame * hop : beginning.stop * hop], hop)
    loud = np.flatnonzero(levels >= levels.max(initial=-200.0) - _FALLEN_DB)
    return int(loud[-1]) + 1 if len(loud) else 1


def _new_note(beginning: _Beginning, pitch: int) -> NoteInMaking:
    from transcriber.listening.pieces import Piece
    from transcriber.listening.signs import FIRST_SIGNS

    signs = replace(FIRST_SIGNS, frame=beginning.frame)
    piece = Piece(beginning.frame, beginning.stop, beginning.frame, "picked", signs, 2.0)
    return NoteInMaking(beginning.frame, beginning.stop, pitch, True, piece)


def _misled(notes: list[NoteInMaking], beginning: _Beginning, told: NoteInMaking) -> set[int]:
    """Unpicked notes within a double stop at neither of its pitches: the tracker wavered."""
    pitches = {told.pitch, told.beside}
    return {
        id(n)
        for n in notes
        if n is not told
        and beginning.frame < n.onset < beginning.stop
        and not n.picked
        and n.pitch not in pitches
    }


def _two_notes(start_s: float, begin_together: bool) -> Problem:
    what = "two notes begin together" if begin_together else "a string rings on under the note that begins"
    return Problem("two_notes", f"{what} at {start_s:.2f} s; check both by ear", start_s, start_s)


def _chord(start_s: float) -> Problem:
    message = (
        f"more than two notes sound together at {start_s:.2f} s; a chord is not drafted, so write it by hand"
    )
    return Problem("chord", message, start_s, start_s)


def _midi(hz: float, reference_hz: float) -> float:
    return float(69 + 12 * np.log2(hz / reference_hz))
