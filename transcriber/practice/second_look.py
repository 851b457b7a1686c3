"""A second look for what listening left out: soft notes, short ones, those under a string that rings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from transcriber.practice.evidence import Attempt
from transcriber.practice.found import Found
from transcriber.practice.wanted import Wanted

CLEAR_ATTACK_DB, FAINT_ATTACK_DB = 9.0, 4.0
# A pitch that is no part of what sounded before comes up by so much when it is played.
COMES_UP_DB, CLEARLY_UP_DB = 12.0, 20.0
_PITCH_REACH, _LEAST_SHARE = 0.6, 0.4
_SAME_PITCH = 0.7
_STEP_S = 0.01
_SETS_IN_REACH_S = 0.13
_SHORTEST_S, _HALF_SHARE, _REST_SHARE = 0.06, 0.5, 0.3
_FREE_AT_LEAST_S, _FREE_SHARE = 0.08, 0.7


def found_after_all(
    attempt: Attempt,
    wanted: Sequence[Wanted],
    number: int,
    found: Mapping[int, Found],
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
    found : mapping of int to Found
        Those that were found, which tell when it is due.
    shift : int
        Semitones by which the attempt is higher.
    beat_s : float
        The student's beat.
    """
    want = wanted[number]
    before = max((n for n in found if n < number), default=None)
    after = min((n for n in found if n > number), default=None)
    if before is None or after is None or found[before].passage != found[after].passage:
        return None
    from_s, to_s = found[before].onset_s, found[after].onset_s
    span = wanted[after].at - wanted[before].at
    if want.pitch is None or span <= 0 or to_s - from_s > 2.5 * span * beat_s + 0.5:
        return None
    due = from_s + (to_s - from_s) * (want.at - wanted[before].at) / span
    reach = 0.5 * min(due - from_s, to_s - due, 0.25)
    low = want.pitch + shift - _PITCH_REACH
    high = want.pitch + shift + want.height + _PITCH_REACH
    length = min(max(want.length * beat_s, 0.06), to_s - due)
    previous = wanted[before].pitch
    if previous is not None and abs(previous - want.pitch) < _SAME_PITCH:
        # The same pitch goes on: only an attack tells a new note.
        share, _ = attempt.sounds(low, high, due - reach, due + 0.6 * length)
        free = _sounding_freely(attempt, low, high, due - reach, due + 0.6 * length)
        if free is None and share >= _LEAST_SHARE:
            free = _strongest_attack(attempt, due - reach, due + reach)
        return free
    share, first = attempt.sounds(low, high, due - reach, due + 0.6 * length)
    if first is not None and share >= _LEAST_SHARE:
        return first
    if previous is None or want.height or wanted[before].height:
        return None
    joined = want.note.has("hammer_on", "pull_off", "slide")
    return _coming_up(attempt, (want.pitch + shift, previous + shift), due - reach, due + reach, joined)


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
    return first if share >= _FREE_SHARE else None


def _strongest_attack(
    attempt: Attempt, from_s: float, to_s: float, least_db: float = CLEAR_ATTACK_DB
) -> float | None:
    times = np.arange(from_s, to_s, _STEP_S)
    rises = [attempt.attack(float(time)) for time in times]
    if not rises or max(rises) < least_db:
        return None
    # An attack is seen from a little before it to a little after: its middle is where it is.
    return float(np.median(times[np.array(rises) > max(rises) - 1.0]))


def _coming_up(
    attempt: Attempt, pitches: tuple[float, float], from_s: float, to_s: float, joined: bool
) -> float | None:
    """Time at which the partials of a pitch come up by far, those of the other left out.

    A stroke must be heard there too, unless the note is `joined` to the one before by a slur or slide.
    """
    pitch, other = pitches
    times = np.arange(from_s, to_s, _STEP_S)
    rises = [attempt.comes_up(pitch, float(time), (other,)) for time in times]
    if not rises or max(rises) < COMES_UP_DB:
        return None
    best = float(times[int(np.argmax(rises))])
    if joined:
        return best
    least_db = FAINT_ATTACK_DB if max(rises) > CLEARLY_UP_DB else CLEAR_ATTACK_DB
    return _strongest_attack(attempt, from_s, to_s, least_db)


def set_in(attempt: Attempt, pitches: tuple[float, float], near_s: float) -> float | None:
    """Time near another at which the partials of a pitch set in, those of the pitch before left out.

    None where they do not come up clearly.
    """
    pitch, before = pitches
    times = np.arange(near_s - _SETS_IN_REACH_S, near_s + _SETS_IN_REACH_S, 0.5 * _STEP_S)
    rises = np.array([attempt.comes_up(pitch, float(time), (before,)) for time in times])
    if rises.max() < COMES_UP_DB:
        return None
    return float(np.median(times[rises > rises.max() - 1.0]))
