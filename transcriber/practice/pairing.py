"""The cheapest way through a line for the notes that were played: the dynamic program of the alignment.

From a wanted note the way leads on to one of the next few, each left out at its cost; over a longer passage
that is left out, at a capped cost; or back to any note, as where a passage is begun again. Only the first
kind needs pairs of notes, and few, so the work grows with the notes played times the notes of the line.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from transcriber.practice.wanted import Wanted
from transcriber.records.heard import HeardNote

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

MISS, OPTIONAL_MISS = 1.0, 0.1
SKIP_FROM, SKIP_EACH, SKIP_ELSEWHERE = 3.0, 0.12, 0.3
JUMP, JUMP_ELSEWHERE, PAUSE_HELPS = 2.6, 1.2, 1.0
TIMING, TIMING_FLOOR_S, TIMING_SHARE = 1.2, 0.06, 0.5
EXTRAS_IN_A_ROW = 8
LONG_GAP_S = 0.7
# Steps on over no more notes than this are weighed one by one.
NEAR_NOTES = 24
_BIG = 1e6


@dataclass(frozen=True)
class _Steps:
    """What leads to each wanted note. Arrays have shape (count,), those of the near steps (near, count).

    Attributes
    ----------
    near_from : ndarray of int64
        Note that a near step comes from, 0 where there is none.
    near_cost, near_beats : ndarray of float64
        Its cost, not to be taken where there is none, and the beats it goes over.
    skip_cost : ndarray of float64
        What a step over more notes costs, besides a share for each of them.
    back_cost : ndarray of float64
        What going back to the note costs.
    first_cost : ndarray of float64
        What beginning with it costs.
    """

    near_from: IntArray
    near_cost: FloatArray
    near_beats: FloatArray
    skip_cost: FloatArray
    back_cost: FloatArray
    first_cost: FloatArray


def _steps(wanted: Sequence[Wanted]) -> _Steps:
    count = len(wanted)
    numbers = np.arange(count)
    left_out = np.cumsum([0.0, *(OPTIONAL_MISS if each.optional else MISS for each in wanted)])
    landing = np.array([0.0 if each.opens else JUMP_ELSEWHERE for each in wanted])
    into = SKIP_ELSEWHERE * (landing > 0)
    at = np.array([each.at for each in wanted])
    over = np.arange(1, min(NEAR_NOTES, max(count - 1, 1)) + 1)[:, None]
    source = numbers[None, :] - over
    near_from = np.maximum(source, 0)
    skipped = left_out[numbers][None, :] - left_out[near_from + 1]
    cost = np.minimum(skipped, SKIP_FROM + SKIP_EACH * over + into[None, :])
    return _Steps(
        near_from=near_from,
        near_cost=np.where(source >= 0, cost, _BIG),
        near_beats=at[None, :] - at[near_from],
        skip_cost=SKIP_FROM + into + SKIP_EACH * numbers,
        back_cost=JUMP + landing,
        first_cost=np.minimum(left_out[:count], SKIP_FROM + SKIP_EACH * numbers),
    )


def cheapest_pairs(
    played: Sequence[HeardNote],
    wanted: Sequence[Wanted],
    pitch_costs: FloatArray,
    extra: FloatArray,
    beat_s: float | None,
) -> tuple[list[tuple[int, int]], float]:
    """Find the cheapest pairs of played and wanted notes.

    Parameters
    ----------
    played, wanted : sequences of n and m notes
    pitch_costs : ndarray, shape (n, m)
        Cost of taking a played note for a wanted one.
    extra : ndarray, shape (n + 1,)
        What leaving out all notes before each played one costs; the last, what all do.
    beat_s : float or None
        The student's beat in seconds; None where times are not to count.

    Returns
    -------
    pairs : list of (int, int)
    cost : float
    """
    steps = _steps(wanted)
    onsets = np.array([note.onset_s for note in played])
    best = np.full((len(played), len(wanted)), _BIG)
    came = np.full((len(played), len(wanted), 2), -1, dtype=np.int64)
    for i in range(len(played)):
        best[i] = steps.first_cost + extra[i] + pitch_costs[i]
        for before in range(max(0, i - EXTRAS_IN_A_ROW), i):
            gap_s = float(onsets[i] - onsets[before])
            cost, source = _best_steps(best[before], steps, gap_s, beat_s)
            cost = cost + (extra[i] - extra[before + 1]) + pitch_costs[i]
            better = cost < best[i] - 1e-9
            best[i][better] = cost[better]
            came[i][better, 0] = before
            came[i][better, 1] = source[better]
    return _traced(best, came, _endings(wanted), extra)


def _best_steps(
    from_cost: FloatArray, steps: _Steps, gap_s: float, beat_s: float | None
) -> tuple[FloatArray, IntArray]:
    """Cheapest step to each wanted note, and where it comes from."""
    count = len(from_cost)
    numbers = np.arange(count)
    near = from_cost[steps.near_from] + steps.near_cost
    if beat_s is not None:
        near = near + TIMING * _off(gap_s, beat_s * steps.near_beats)
    row = np.argmin(near, axis=0)
    cost, source = near[row, numbers], steps.near_from[row, numbers]
    for other, other_source in (
        _far(from_cost, steps, beat_s),
        _back(from_cost, steps, gap_s, beat_s),
    ):
        better = other < cost
        cost = np.where(better, other, cost)
        source = np.where(better, other_source, source)
    return cost, source


def _off(gap_s: float, due_s: FloatArray) -> FloatArray:
    """How far a step's time lies from the due one, 1 at most."""
    wrong: FloatArray = np.minimum(
        1.0, np.abs(gap_s - due_s) / (TIMING_FLOOR_S + TIMING_SHARE * np.abs(due_s))
    )
    return wrong


def _far(from_cost: FloatArray, steps: _Steps, beat_s: float | None) -> tuple[FloatArray, IntArray]:
    """Steps on over more than the near notes; the time of a passage left out is taken to be left out, too."""
    count = len(from_cost)
    cost, source = np.full(count, 2 * _BIG), np.zeros(count, dtype=np.int64)
    if count > NEAR_NOTES + 1:
        lowered = from_cost - SKIP_EACH * np.arange(count)
        least, where = _running_least(lowered)
        cost[NEAR_NOTES + 1 :] = least[: count - NEAR_NOTES - 1]
        source[NEAR_NOTES + 1 :] = where[: count - NEAR_NOTES - 1]
    return cost + steps.skip_cost + (0.0 if beat_s is None else TIMING), source


def _back(
    from_cost: FloatArray, steps: _Steps, gap_s: float, beat_s: float | None
) -> tuple[FloatArray, IntArray]:
    """Steps back, or to the same note once more; cheaper after a pause."""
    count = len(from_cost)
    numbers = np.arange(count)
    least, where = _running_least(from_cost[::-1])
    later = np.append(least[::-1][1:], 2 * _BIG)
    later_source = np.append(count - 1 - where[::-1][1:], 0)
    again = from_cost + MISS
    cost = np.minimum(later, again)
    pause = -PAUSE_HELPS if beat_s is not None and gap_s > LONG_GAP_S else 0.0
    return cost + steps.back_cost + pause, np.where(again < later, numbers, later_source)


def _running_least(values: FloatArray) -> tuple[FloatArray, IntArray]:
    """Least of all values up to each, and where the first such stands."""
    least = np.minimum.accumulate(values)
    fresh = np.append(True, values[1:] < least[:-1])
    return least, np.maximum.accumulate(np.where(fresh, np.arange(len(values)), 0))


def _endings(wanted: Sequence[Wanted]) -> FloatArray:
    left = np.array([OPTIONAL_MISS if each.optional else MISS for each in wanted])
    after = np.cumsum(left[::-1])[::-1] - left
    bounded: FloatArray = np.minimum(after, SKIP_FROM + SKIP_EACH * np.arange(len(wanted))[::-1])
    return bounded


def _traced(
    best: FloatArray, came: npt.NDArray[np.int64], endings: FloatArray, extra: FloatArray
) -> tuple[list[tuple[int, int]], float]:
    totals = best + endings[None, :] + (extra[-1] - extra[1:])[:, None]
    i, j = (int(value) for value in np.unravel_index(int(np.argmin(totals)), totals.shape))
    cost = float(totals[i, j])
    pairs = []
    while i >= 0:
        pairs.append((i, j))
        i, j = int(came[i, j, 0]), int(came[i, j, 1])
    return pairs[::-1], cost
