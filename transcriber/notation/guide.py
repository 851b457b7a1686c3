"""Beats known before the rhythm is written: tapped by the player, clicked by a metronome, counted in."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from transcriber.errors import UsageError
from transcriber.notation.clock import Clock, smooth_clock
from transcriber.notation.parameters import Timing
from transcriber.notation.vocabulary import FloatArray, IntArray
from transcriber.records.problem import Problem
from transcriber.records.told import Told
from transcriber.records.written import COMMON_TIME

_TAP_SD_S = 0.015  # how evenly people tap; a metronome is better
_THROUGH = 0.6  # clicks that cover this share of the line go on through it
_FEWEST = 2


@dataclass(frozen=True)
class Guide:
    """Known beats.

    Attributes
    ----------
    numbers : ndarray of int, shape (k,)
        Tapped beats, ascending; counted from beat 1 of bar 1 where `downbeat_known`.
    times_s : ndarray, shape (k,)
    downbeat_known : bool
    through : bool
        Whether they go on through the line, or only lead to it.
    """

    numbers: IntArray
    times_s: FloatArray
    downbeat_known: bool
    through: bool

    @property
    def period_s(self) -> float:
        """Seconds between beats, on the median."""
        return float(np.median(np.diff(self.times_s) / np.diff(self.numbers)))

    @property
    def beat_zero_s(self) -> float:
        """Time of beat 0, carried on from the last beat known."""
        return float(self.times_s[-1]) - float(self.numbers[-1]) * self.period_s

    def clock(self, timing: Timing) -> Clock:
        """The beat over the whole take, freed from the unevenness of the tapping hand."""
        steady = replace(timing, onset_sd_s=_TAP_SD_S, ending_walk_sd=timing.tempo_walk_sd)
        return smooth_clock(self.numbers.astype(np.float64), self.times_s, self.period_s, steady)


def find_guide(
    told: Told, clicks_s: tuple[float, ...], first_s: float, last_s: float
) -> tuple[Guide | None, tuple[Problem, ...]]:
    """Say which beats are known.

    Parameters
    ----------
    told : Told
    clicks_s : tuple of float
        Clicks heard, seconds in the file, ascending.
    first_s, last_s : float
        First and last onset of the line.

    Returns
    -------
    Guide or None
    tuple of Problem
        Where what was told is not in the take.

    Raises
    ------
    UsageError
        If fewer than two beats were tapped.
    """
    if told.beats_s:
        if len(told.beats_s) < _FEWEST:
            raise UsageError("one tapped beat tells no tempo; tap at least two, better all through the take")
        times = np.array(told.beats_s)
        return Guide(np.arange(len(times)), times, downbeat_known=False, through=True), ()
    if told.count_in is not None:
        return _counted_in(told.count_in, clicks_s)
    if len(clicks_s) < _FEWEST:
        missing = "no metronome was heard in the take; its tempo is found from the notes alone"
        return None, (Problem("click_not_found", missing),) if told.click else ()
    covered = (clicks_s[-1] - max(clicks_s[0], first_s)) / max(last_s - first_s, 1e-9)
    guide = _numbered(np.array(clicks_s))
    if told.click or covered > _THROUGH:
        return guide, ()
    # Clicks that stop where the line begins lead to bar 1.
    if clicks_s[0] < first_s and clicks_s[-1] < first_s + 2.5 * guide.period_s:
        return _leading(guide, _hidden(guide, told)), ()
    return None, ()


def _counted_in(count: int, clicks_s: tuple[float, ...]) -> tuple[Guide | None, tuple[Problem, ...]]:
    if len(clicks_s) < max(count, _FEWEST):
        heard = f"{len(clicks_s)} click{'s' * (len(clicks_s) != 1)}"
        message = (
            f"a count-in of {count} was told but {heard} found; "
            "tempo and downbeat are found from the notes alone: check the first bar"
        )
        return None, (Problem("count_in_not_found", message),)
    return _leading(_numbered(np.array(clicks_s[:count]))), ()


def _numbered(times: FloatArray) -> Guide:
    """Count clicks from 0; one that was not heard leaves a gap in the numbers."""
    steps = np.diff(times)
    period = float(np.median(steps))
    numbers = np.concatenate([[0], np.cumsum(np.maximum(np.rint(steps / period), 1))])
    return Guide(numbers.astype(np.int64), times, downbeat_known=False, through=True)


def _hidden(guide: Guide, told: Told) -> int:
    """Whether a count of one bar lacks its last click: the first note of a pickup covers it."""
    meter = told.meter or COMMON_TIME
    taps = max(meter.beats // meter.tap, 1)
    return int(taps > 2 and (int(guide.numbers[-1]) + 2) % taps == 0)


def _leading(guide: Guide, hidden: int = 0) -> Guide:
    numbers = guide.numbers - guide.numbers[-1] - 1 - hidden
    return Guide(numbers, guide.times_s, downbeat_known=True, through=False)
