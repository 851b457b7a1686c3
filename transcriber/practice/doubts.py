"""Played notes that may be none: tones of a drone or a backing, and notes that a click has split.

Listening takes them for notes, as it knows neither the line nor the room. The alignment may leave them out at
little cost, and they are never called wrong or too many.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from transcriber.practice.evidence import Attempt
from transcriber.records.heard import HeardNote

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

# Quieter than the line by so much on the scale of velocities (halved every 15 dB): no note of the player's.
FAINT_SHARE = 0.4
# A rise of the pick's band below this is no stroke.
NO_STROKE_DB = 3.0
_TOUCHES_S = 0.06
_FEWEST_CLICKS = 3
_NEAR_CLICK_S, _CLICK_DRIFT, _FARTHEST_S = 0.045, 0.0015, 0.06
_FAINT_COST, _SPLIT_COST = 0.15, 0.2


@dataclass(frozen=True)
class Doubts:
    """What there is to doubt of each played note. All arrays have shape (n,).

    Attributes
    ----------
    extra_cost : ndarray of float64
        What it costs to hold it for no note of the line; 1 where there is no doubt.
    faint : ndarray of bool
        Far below the line's level.
    split : ndarray of bool
        The note before it going on.
    """

    extra_cost: FloatArray
    faint: BoolArray
    split: BoolArray

    @staticmethod
    def none(count: int) -> Doubts:
        """No doubt about any of so many notes."""
        no = np.zeros(count, dtype=bool)
        return Doubts(np.ones(count), no, no)


def doubts_of(attempt: Attempt) -> Doubts:
    """Say what there is to doubt of an attempt's notes."""
    notes = attempt.heard.notes
    if not notes:
        return Doubts.none(0)
    velocities = np.array([note.velocity for note in notes], dtype=float)
    faint = velocities < FAINT_SHARE * float(np.percentile(velocities, 75))
    split = np.zeros(len(notes), dtype=bool)
    for i in range(1, len(notes)):
        split[i] = not faint[i] and _goes_on(attempt, notes[i - 1], notes[i])
    cost = np.where(faint, _FAINT_COST, np.where(split, _SPLIT_COST, 1.0))
    return Doubts(cost, faint, split)


def _goes_on(attempt: Attempt, before: HeardNote, note: HeardNote) -> bool:
    if note.pitch_midi != before.pitch_midi or note.onset_s - before.end_s > _TOUCHES_S:
        return False
    if _at_click(attempt.heard.clicks_s, note.onset_s):
        return True
    moves = note.has("hammer_on", "pull_off", "slide", "bend", "pre_bend")
    return not moves and attempt.attack(note.onset_s) < NO_STROKE_DB


def _at_click(clicks_s: Sequence[float], time_s: float) -> bool:
    """Whether a click falls on a time; an even row goes on where notes cover it."""
    if len(clicks_s) < _FEWEST_CLICKS:
        return False
    clicks = np.asarray(clicks_s)
    if np.abs(clicks - time_s).min() <= _NEAR_CLICK_S:
        return True
    period = float(np.median(np.diff(clicks)))
    nearest = float(clicks[int(np.argmin(np.abs(clicks - time_s)))])
    # Where every other click is covered by a note, the row that was found has twice the metronome's period.
    steps = round(2.0 * (time_s - nearest) / period) / 2.0
    bound = min(_NEAR_CLICK_S + _CLICK_DRIFT * abs(steps), _FARTHEST_S)
    return steps != 0 and abs(time_s - nearest - steps * period) <= bound


def joined(notes: Sequence[HeardNote], doubts: Doubts, matched: set[int]) -> tuple[HeardNote, ...]:
    """Notes whose split-off rest, where it is no note of the line, is given back to them."""
    whole = list(notes)
    for i in range(len(notes) - 1, 0, -1):
        if doubts.split[i] and i not in matched:
            head, rest = whole[i - 1], whole[i]
            whole[i - 1] = replace(
                head,
                end_s=rest.end_s,
                techniques=(*head.techniques, *rest.techniques),
                contour_times_s=_read_only(head.contour_times_s, rest.contour_times_s),
                contour_cents=_read_only(head.contour_cents, rest.contour_cents),
            )
    return tuple(whole)


def _read_only(first: FloatArray, second: FloatArray) -> FloatArray:
    both = np.concatenate([first, second])
    both.flags.writeable = False
    return both
