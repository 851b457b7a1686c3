"""The student's own tempo: where each note was due by the notes around it.

Beats are laid through the onsets of a run by a weighted straight line around each note, the note itself left
out, with Tukey's bisquare against notes that are off (Cleveland, "Robust locally weighted regression", JASA
74, 1979). A stop parts runs: what follows it is not late.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

STOP_S, STOP_BEATS = 0.22, 0.3
_REACH_NOTES, _REACH_BEATS = 5.0, 3.0
_SLOPE_WEIGHT = 4.0  # notes' worth of belief in the run's tempo, a beat away
_BISQUARE, _LEAST_SPREAD_S = 4.0, 0.012
_ROUNDS = 4
# Fewer notes than this tell no tempo of their own.
_TELL_TEMPO = 6


@dataclass(frozen=True)
class Pace:
    """Where notes were due.

    Attributes
    ----------
    due_s : ndarray, shape (n,)
        By the student's own tempo.
    beat_s : ndarray, shape (n,)
        Length of a denominator beat there.
    stops : tuple of (int, float)
        Notes before which the student stopped, and for how long beyond what is written, in seconds.
    """

    due_s: FloatArray
    beat_s: FloatArray
    stops: tuple[tuple[int, float], ...]


def pace_of(beats: FloatArray, onsets_s: FloatArray, beat_s: float, skips: Sequence[int] = ()) -> Pace:
    """Find where the notes of one pass were due.

    Parameters
    ----------
    beats, onsets_s : ndarray, shape (n,)
        Written place and time of each note, both ascending.
    beat_s : float
        A first guess at the beat.
    skips : sequence of int
        Places before which a passage may have been left out, its time too.
    """
    jumps = _jumps(beats, onsets_s, beat_s, skips)
    stops = [(place, late) for place, late in jumps if late > 0]
    due, pace = np.array(onsets_s), np.full(len(beats), beat_s)
    bounds = [0, *(place for place, _ in jumps), len(beats)]
    for first, stop in itertools.pairwise(bounds):
        run = slice(first, stop)
        due[run], pace[run] = _run(beats[run], onsets_s[run], beat_s)
    return Pace(due, pace, tuple(stops))


def _jumps(
    beats: FloatArray, onsets_s: FloatArray, beat_s: float, skips: Sequence[int]
) -> list[tuple[int, float]]:
    """Places where all that follows comes later than what went before lets expect; after a skip, earlier."""
    found: list[tuple[int, float]] = []
    first = 0
    off = onsets_s - beats * beat_s
    for place in range(1, len(beats)):
        before = off[max(first, place - 4) : place]
        after = off[place : place + 3]
        jump = float(np.median(after) - np.median(before))
        here = float(off[place] - off[place - 1])
        least = max(STOP_S, STOP_BEATS * beat_s)
        later = min(jump, here) > least and (len(after) > 1 or here > 1.0)
        if later or (place in skips and max(jump, here) < -least):
            found.append((place, round(here, 3)))
            first = place
    return found


def _run(beats: FloatArray, onsets_s: FloatArray, beat_s: float) -> tuple[FloatArray, FloatArray]:
    slope = _slope(beats, onsets_s, beat_s) if len(beats) >= _TELL_TEMPO else beat_s
    due = np.array(onsets_s)
    paces = np.full(len(beats), slope)
    if len(beats) < 3:
        return due, paces
    trust = _trust(onsets_s - beats * slope - _near_median(onsets_s - beats * slope))
    for _ in range(_ROUNDS):
        for place in range(len(beats)):
            due[place], paces[place] = _local(beats, onsets_s, trust, place, slope)
        trust = _trust(onsets_s - due)
    return due, paces


def _trust(off: FloatArray) -> FloatArray:
    """Tukey's bisquare: little is thought of a note that is far off."""
    spread = max(1.48 * float(np.median(np.abs(off))), _LEAST_SPREAD_S)
    trust: FloatArray = np.maximum(1.0 - (off / (_BISQUARE * spread)) ** 2, 0.0) ** 2 + 1e-3
    return trust


def _near_median(values: FloatArray) -> FloatArray:
    """Median of each value and its neighbours, three on either side."""
    return np.array([np.median(values[max(0, i - 3) : i + 4]) for i in range(len(values))])


def _slope(beats: FloatArray, onsets_s: FloatArray, beat_s: float) -> float:
    """Median of the slopes between notes a beat or more apart (Theil and Sen)."""
    across = beats[None, :] - beats[:, None]
    apart = across >= min(1.0, float(across.max()) or 1.0)
    if not apart.any() or across.max() <= 0:
        return beat_s
    slopes = (onsets_s[None, :] - onsets_s[:, None])[apart] / across[apart]
    slope = float(np.median(slopes))
    return slope if 0.3 * beat_s < slope < 3.0 * beat_s else beat_s


def _local(
    beats: FloatArray, onsets_s: FloatArray, trust: FloatArray, place: int, slope: float
) -> tuple[float, float]:
    """Straight line through a note's neighbours, its slope held near the run's; value and slope there."""
    away = beats - beats[place]
    notes = np.abs(np.arange(len(beats)) - place)
    near = np.exp(-0.5 * (away / _REACH_BEATS) ** 2 - 0.5 * (notes / _REACH_NOTES) ** 2)
    weight = near * trust
    weight[place] = 0.0
    left = onsets_s - slope * away
    total = float(weight.sum())
    if total < 1e-9:
        return float(onsets_s[place]), slope
    x, y = away, left
    mean_x, mean_y = float((weight * x).sum() / total), float((weight * y).sum() / total)
    spread = float((weight * (x - mean_x) ** 2).sum()) + _SLOPE_WEIGHT
    tilt = float((weight * (x - mean_x) * (y - mean_y)).sum()) / spread
    return mean_y - tilt * mean_x, slope + tilt


def beats_a_minute(beat_s: float, tap: int) -> float:
    """Tapped beats a minute of a denominator beat's length."""
    return 60.0 / (beat_s * tap)


def median(values: Sequence[float]) -> float | None:
    """Median, None of nothing."""
    return float(np.median(values)) if len(values) else None
