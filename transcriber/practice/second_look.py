"""A second look for what listening left out: soft notes, short ones, those under a string that rings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from transcriber.practice.evidence import Attempt
from transcriber.practice.found import Found
from transcriber.practice.wanted import Wanted

CLEAR_ATTACK_DB, FAINT_ATTACK_DB = 9.0, 3.0
# What gets louder by so much while it sounds was struck again.
_LOUDER_DB = 3.0
# A pitch that is no part of what sounded before comes up by so much when it is played.
COMES_UP_DB, CLEARLY_UP_DB = 12.0, 20.0
_PITCH_REACH, _LEAST_SHARE = 0.6, 0.4
_SAME_PITCH = 0.7
_STEP_S, _FINE_STEP_S, _HALF_DB = 0.01, 0.005, 6.0
_REACH_S, _LAST_S = 0.25, 0.5
_SETS_IN_REACH_S = 0.2
_SHORTEST_S, _HALF_SHARE, _REST_SHARE = 0.06, 0.5, 0.3
_FREE_AT_LEAST_S, _FREE_SHARE = 0.08, 0.7


def pitches_of(want: Wanted) -> tuple[float, ...]:
    """Pitches at which a note sounds: its fret's, and the top of its bend."""
    if want.pitch is None:
        return ()
    return (float(want.pitch), want.pitch + want.height) if want.height else (float(want.pitch),)


@dataclass(frozen=True)
class _Gap:
    """Where a note that was not found would be: due when, how far off, up to when, between which notes."""

    due_s: float
    reach_s: float
    until_s: float
    before: Wanted | None
    after: Wanted | None

    def pitches(self, shift: int) -> tuple[float, ...]:
        """Pitches of the neighbours, as they sound."""
        told = [pitches_of(each) for each in (self.before, self.after) if each is not None]
        return tuple(pitch + shift for pitches in told for pitch in pitches)


def _gap(wanted: Sequence[Wanted], number: int, around: Mapping[int, Found], beat_s: float) -> _Gap | None:
    """The gap for a note between its neighbours, or before the first and after the last of a pass."""
    want = wanted[number]
    before = max((n for n in around if n < number), default=None)
    after = min((n for n in around if n > number), default=None)
    if before is not None and after is not None:
        from_s, to_s = around[before].onset_s, around[after].onset_s
        span = wanted[after].at - wanted[before].at
        if span <= 0 or not 0 < to_s - from_s <= 2.5 * span * beat_s + 0.5:
            return None
        due = from_s + (to_s - from_s) * (want.at - wanted[before].at) / span
        reach = 0.5 * min(due - from_s, to_s - due, _REACH_S)
        return _Gap(due, reach, to_s, wanted[before], wanted[after])
    if after is not None:
        to_s, beats = around[after].onset_s, wanted[after].at - want.at
        return _Gap(to_s - beats * beat_s, 0.5 * min(beats * beat_s, _REACH_S), to_s, None, wanted[after])
    if before is not None:
        beats = want.at - wanted[before].at
        due = around[before].onset_s + beats * beat_s
        return _Gap(due, 0.5 * min(beats * beat_s, _REACH_S), due + _LAST_S, wanted[before], None)
    return None


def found_after_all(
    attempt: Attempt,
    wanted: Sequence[Wanted],
    number: int,
    around: Mapping[int, Found],
    shift: int,
    beat_s: float,
) -> float | None:
    """Time at which a note that listening left out sounds after all, None where it does not.

    Parameters
    ----------
    attempt : Attempt
    wanted : sequence of Wanted
    number : int
        Of the wanted note.
    around : mapping of int to Found
        Notes that were found in the same pass, which tell when it is due.
    shift : int
        Semitones by which the attempt is higher.
    beat_s : float
        The student's beat.
    """
    want = wanted[number]
    gap = _gap(wanted, number, around, beat_s)
    if want.pitch is None or gap is None or gap.reach_s <= 0:
        return None
    low = want.pitch + shift - _PITCH_REACH
    high = want.pitch + shift + want.height + _PITCH_REACH
    length = min(max(want.length * beat_s, 0.06), gap.until_s - gap.due_s)
    first_s, until_s = gap.due_s - gap.reach_s, gap.due_s + 0.6 * length
    share, first = attempt.sounds(low, high, first_s, until_s)
    previous = None if gap.before is None else gap.before.pitch
    if previous is not None and abs(previous - want.pitch) < _SAME_PITCH:
        # The same pitch goes on: only an attack tells a new note.
        free = _sounding_freely(attempt, low, high, first_s, until_s)
        if free is None and share >= _LEAST_SHARE:
            last_s = gap.due_s + gap.reach_s
            free = _strongest_attack(attempt, first_s, last_s)
            if free is None:
                free = _struck_anew(attempt, want.pitch + shift, first_s, last_s)
        return free
    if first is not None and share >= _LEAST_SHARE:
        return first
    if want.height:
        return None
    return _coming_up(attempt, want, gap, shift)


def two_in_one(
    attempt: Attempt,
    wanted: Sequence[Wanted],
    number: int,
    found: Mapping[int, Found],
    beats: tuple[int, float],
) -> tuple[float, float] | None:
    """Times of a note and of the next one where listening took both for one, as for a bend let down.

    Parameters
    ----------
    attempt : Attempt
    wanted : sequence of Wanted
    number : int
        Of the note that is missing.
    found : mapping of int to Found
    beats : (int, float)
        Semitones by which the attempt is higher, and the student's beat in seconds.

    Returns
    -------
    (float, float) or None
        None where the next note does not begin with the pitch of the missing one.
    """
    shift, beat_s = beats
    after = found.get(number + 1)
    if after is None or after.played is None:
        return None
    want, following = wanted[number], wanted[number + 1]
    if want.pitch is None or following.pitch is None or want.height or following.height:
        return None
    if abs(want.pitch - following.pitch) < _SAME_PITCH:
        return None
    length = max(want.length * beat_s, _SHORTEST_S)
    own, other = want.pitch + shift, following.pitch + shift
    begin = after.onset_s
    share, _ = attempt.sounds(own - _PITCH_REACH, own + _PITCH_REACH, begin, begin + 0.7 * length)
    until = begin + length + 0.7 * max(following.length * beat_s, _SHORTEST_S)
    rest, first = attempt.sounds(other - _PITCH_REACH, other + _PITCH_REACH, begin + 0.4 * length, until)
    if share < _HALF_SHARE or rest < _REST_SHARE or first is None:
        return None
    return begin, first


def _sounding_freely(attempt: Attempt, low: float, high: float, from_s: float, to_s: float) -> float | None:
    """Where pitches set in that belong to no note that was heard, as an out-of-tune one may be left out."""
    ended = max((note.end_s for note in attempt.heard.notes if note.onset_s < to_s), default=to_s)
    begin = max(from_s, ended)
    if to_s - begin < _FREE_AT_LEAST_S:
        return None
    share, first = attempt.sounds(low, high, begin, to_s)
    if first is None or share < _FREE_SHARE:
        return None
    # Where it sounds from before, the stroke tells when it was played.
    return first if first > begin + _STEP_S else _strongest_attack(attempt, from_s, to_s) or first


def _strongest_attack(attempt: Attempt, from_s: float, to_s: float) -> float | None:
    times = np.arange(from_s, to_s, _STEP_S)
    rises = [attempt.attack(float(time)) for time in times]
    if not rises or max(rises) < CLEAR_ATTACK_DB:
        return None
    # An attack is seen from a little before it to a little after: its middle is where it is.
    return float(np.median(times[np.array(rises) > max(rises) - 1.0]))


def _struck_anew(attempt: Attempt, pitch: float, from_s: float, to_s: float) -> float | None:
    """Time at which a string that sounds already gets louder, and a stroke is heard, if a faint one."""
    times = np.arange(from_s, to_s, _STEP_S)
    rises = np.array([attempt.comes_up(pitch, float(time), ()) for time in times])
    struck = np.array([attempt.attack(float(time)) for time in times]) >= FAINT_ATTACK_DB
    if not len(rises) or not (struck & (rises >= _LOUDER_DB)).any():
        return None
    return float(times[int(np.argmax(np.where(struck, rises, -np.inf)))])


def _coming_up(attempt: Attempt, want: Wanted, gap: _Gap, shift: int) -> float | None:
    """Time at which the partials of a pitch come up by far, those of its neighbours left out.

    Where they do so clearly nothing else is asked. Where less clearly, a stroke must be heard there too,
    unless the note is joined to the one before by a slur or slide.
    """
    pitch = float((want.pitch or 0) + shift)
    last_s = gap.due_s + gap.reach_s
    following = None if gap.after is None else gap.after.pitch
    if following is not None and abs(following + shift - pitch) < _SAME_PITCH:
        # What comes up must not be the next note.
        last_s = min(last_s, gap.until_s - attempt.rise_span(pitch))
    apart = tuple(other for other in gap.pitches(shift) if abs(other - pitch) >= _SAME_PITCH)
    times = np.arange(gap.due_s - gap.reach_s, last_s, _STEP_S)
    rises = np.array([attempt.comes_up(pitch, float(time), apart) for time in times])
    if not len(rises) or rises.max() < COMES_UP_DB:
        return None
    if rises.max() > CLEARLY_UP_DB:
        return float(np.median(times[rises > rises.max() - 1.0]))
    if want.note.has("hammer_on", "pull_off", "slide"):
        return float(times[int(np.argmax(rises))])
    return _strongest_attack(attempt, gap.due_s - gap.reach_s, last_s)


def set_in(attempt: Attempt, pitch: float, apart_from: tuple[float, ...], near_s: float) -> float | None:
    """Time near another at which the partials of a pitch set in, those of other pitches left out.

    A window that lies half on the note has half its amplitude: where the level has come within 6 dB of the
    highest one, the note begins in the middle. None where the level does not come up clearly.
    """
    half_s = 0.5 * attempt.rise_span(pitch)
    times = np.arange(near_s - _SETS_IN_REACH_S, near_s + _SETS_IN_REACH_S, _FINE_STEP_S)
    measured = [attempt.level_of(pitch, time - half_s, time + half_s, apart_from) for time in times]
    levels = np.array([attempt.floor_db if level is None else level for level in measured])
    levels = np.maximum(levels, attempt.floor_db)
    last = int(np.argmax(levels))
    if levels[last] - levels[: last + 1].min() < COMES_UP_DB:
        return None
    half_db = levels[last] - _HALF_DB
    below = int(np.flatnonzero(levels[: last + 1] <= half_db)[-1])
    share = (half_db - levels[below]) / (levels[below + 1] - levels[below])
    return float(times[below] + share * _FINE_STEP_S)
