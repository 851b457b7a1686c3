"""Pitch below the grid: the period measured over as many cycles as the window holds."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from transcriber.listening.pitch.candidates import parabolic_minimum

Float32 = npt.NDArray[np.float32]
FloatArray = npt.NDArray[np.float64]


def refine_periods(
    difference: Float32, lag: FloatArray, longest: float, shortest_lag: int
) -> tuple[FloatArray, FloatArray]:
    """Refine one period a frame by the trough of the difference function at a multiple of the period.

    At lag k T an error of interpolation weighs 1/k, so high notes are measured at several periods.

    Parameters
    ----------
    difference : ndarray of float32, shape (frames, lags)
        Normalised difference function of these frames.
    lag : ndarray of float64, shape (frames,)
        Period as found on the grid, in samples.
    longest : float
        Longest lag to look at, in samples: beyond it a moving pitch would be smeared.
    shortest_lag : int

    Returns
    -------
    period, depth : ndarray of float64, shape (frames,)
        Refined period in samples, and the trough's depth at one period (0 is perfectly periodic).
    """
    period, depth = _nearest_trough(difference, lag, 0.04 * lag + 1.0, shortest_lag)
    cycles = 1
    while True:
        cycles *= 2
        wide = period * cycles <= min(longest, difference.shape[1] - 3)
        if not np.any(wide):
            return period, depth
        rows = np.nonzero(wide)[0]
        target = period[rows] * cycles
        at, deep = _nearest_trough(difference[rows], target, 0.012 * target + 0.5, shortest_lag)
        sound = deep < depth[rows] + 0.25
        period[rows[sound]] = at[sound] / cycles


def _nearest_trough(
    difference: Float32, lag: FloatArray, reach: FloatArray, shortest_lag: int
) -> tuple[FloatArray, FloatArray]:
    """Deepest point within `reach` samples of `lag` in each row, interpolated, and its depth."""
    rows = np.arange(len(lag))
    widest = int(np.ceil(reach.max())) if len(lag) else 0
    centre = np.rint(lag).astype(np.int64)
    steps = np.arange(-widest, widest + 1)
    index = np.clip(centre[:, None] + steps, shortest_lag - 1, difference.shape[1] - 2)
    values = np.where(
        np.abs(index - lag[:, None]) <= reach[:, None] + 0.5, difference[rows[:, None], index], np.inf
    )
    best = index[rows, values.argmin(axis=1)]
    offset, depth = parabolic_minimum(
        difference[rows, best - 1], difference[rows, best], difference[rows, best + 1]
    )
    return (best + offset).astype(np.float64), depth.astype(np.float64)
