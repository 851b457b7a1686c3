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
# A string struck anew while it sounds gets louder; one that goes on under a click does not. Levels that fall
# by more than the second bound belong to something else, and tell nothing.
LOUDER_DB, _FALLS_DB = 0.3, -20.0
_TOUCHES_S, BLIP_S = 0.06, 0.12
# A hand does not strike a string again so soon by mistake: common practice (eight strokes a second are fast).
_REPICKED_S = 0.125
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
    clicks = ClickRow.of(attempt.heard.clicks_s)
    split = np.zeros(len(notes), dtype=bool)
    head = 0
    for i in range(1, len(notes)):
        touches = notes[i].onset_s - notes[i - 1].end_s <= _TOUCHES_S and not faint[i]
        if notes[i].pitch_midi != notes[head].pitch_midi:
            split[i] = touches and _is_blip(clicks, notes[head], notes[i : i + 2])
        else:
            split[i] = touches and _goes_on(attempt, clicks, notes[head], notes[i], bool(split[i - 1]))
        head = head if split[i] else i
    cost = np.where(faint, _FAINT_COST, np.where(split, _SPLIT_COST, 1.0))
    return Doubts(cost, faint, split)


def _goes_on(attempt: Attempt, clicks: ClickRow, head: HeardNote, note: HeardNote, after_split: bool) -> bool:
    """Whether what looks like a note is the one before going on."""
    if clicks.near(note.onset_s) or after_split or note.onset_s - head.onset_s < _REPICKED_S:
        return True
    if note.has("bend", "pre_bend"):
        return False
    moves = note.has("hammer_on", "pull_off", "slide")
    if not moves and attempt.attack(note.onset_s) < NO_STROKE_DB:
        return True
    return _FALLS_DB < attempt.struck_again(note.pitch_midi, note.onset_s) < LOUDER_DB


def _is_blip(clicks: ClickRow, head: HeardNote, notes: Sequence[HeardNote]) -> bool:
    """Whether a click makes a note of another pitch in the middle of one that goes on after it."""
    if len(notes) < 2 or notes[1].pitch_midi != head.pitch_midi:
        return False
    lasts_s = notes[1].onset_s - notes[0].onset_s
    return lasts_s < BLIP_S and clicks.near(notes[0].onset_s)


@dataclass(frozen=True)
class ClickRow:
    """The even row that clicks lie on; it goes on where notes cover it. A period of 0 is no row."""

    first_s: float = 0.0
    period_s: float = 0.0
    found_s: tuple[float, ...] = ()

    @staticmethod
    def of(clicks_s: Sequence[float]) -> ClickRow:
        """Lay a straight line through clicks; none through too few."""
        if len(clicks_s) < _FEWEST_CLICKS:
            return ClickRow()
        clicks = np.asarray(clicks_s, dtype=float)
        numbers = np.round((clicks - clicks[0]) / float(np.median(np.diff(clicks))))
        period, first = np.polyfit(numbers, clicks, 1)
        return ClickRow(float(first), float(period), tuple(clicks_s))

    def near(self, time_s: float) -> bool:
        """Whether a click falls on a time, give or take what listening needs to see it."""
        if self.period_s <= 0.0:
            return False
        nearest = min(self.found_s, key=lambda click: abs(click - time_s))
        if abs(nearest - time_s) <= _NEAR_CLICK_S:
            return True
        # Where every other click is covered by a note, the row that was found has twice the period.
        step = 0.5 * self.period_s
        number = round((time_s - self.first_s) / step)
        away = abs(time_s - nearest) / self.period_s
        bound = min(_NEAR_CLICK_S + _CLICK_DRIFT * away, _FARTHEST_S)
        return abs(self.first_s + number * step - time_s) <= bound


def joined(notes: Sequence[HeardNote], doubts: Doubts, matched: set[int]) -> tuple[HeardNote, ...]:
    """Notes whose split-off rest, where it is no note of the line, is given back to them."""
    whole = list(notes)
    for i in range(len(notes) - 1, 0, -1):
        if doubts.split[i] and i not in matched:
            head, rest = whole[i - 1], whole[i]
            whole[i - 1] = replace(head, end_s=rest.end_s)
            if rest.pitch_midi == head.pitch_midi:
                whole[i - 1] = replace(
                    whole[i - 1],
                    techniques=(*head.techniques, *rest.techniques),
                    contour_times_s=_read_only(head.contour_times_s, rest.contour_times_s),
                    contour_cents=_read_only(head.contour_cents, rest.contour_cents),
                )
    return tuple(whole)


def _read_only(first: FloatArray, second: FloatArray) -> FloatArray:
    both = np.concatenate([first, second])
    both.flags.writeable = False
    return both
