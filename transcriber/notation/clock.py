"""The beat over the whole take, once every note has its place."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from transcriber.notation.parameters import Timing
from transcriber.notation.vocabulary import FloatArray


@dataclass(frozen=True)
class Clock:
    """Times of performed positions (tapped beats), piecewise linear between knots, both ascending."""

    position: FloatArray
    time_s: FloatArray
    first_period_s: float
    last_period_s: float

    def at(self, position: FloatArray) -> FloatArray:
        """Time in seconds of each position; steady beats before the first knot and after the last."""
        inside = np.interp(position, self.position, self.time_s)
        before = self.time_s[0] + (position - self.position[0]) * self.first_period_s
        after = self.time_s[-1] + (position - self.position[-1]) * self.last_period_s
        return np.asarray(
            np.where(
                position < self.position[0], before, np.where(position > self.position[-1], after, inside)
            )
        )

    def where(self, time_s: FloatArray) -> FloatArray:
        """Position of each time: the inverse of `at`."""
        inside = np.interp(time_s, self.time_s, self.position)
        before = self.position[0] + (time_s - self.time_s[0]) / self.first_period_s
        after = self.position[-1] + (time_s - self.time_s[-1]) / self.last_period_s
        return np.asarray(
            np.where(time_s < self.time_s[0], before, np.where(time_s > self.time_s[-1], after, inside))
        )


def smooth_clock(position: FloatArray, onsets_s: FloatArray, period_s: float, timing: Timing) -> Clock:
    """Fit beat and period to placed onsets: Kalman filter and Rauch-Tung-Striebel smoother.

    Parameters
    ----------
    position : ndarray, shape (n,)
        Performed positions in tapped beats, ascending; n at least 1.
    onsets_s : ndarray, shape (n,)
        Seconds.
    period_s : float
        Starting guess of the period.
    timing : Timing
    """
    n = len(position)
    noise = timing.onset_sd_s**2
    mean = np.zeros((n, 2))
    cov = np.zeros((n, 2, 2))
    ahead_mean = np.zeros((n, 2))
    ahead_cov = np.zeros((n, 2, 2))
    step = np.diff(position, prepend=position[0])
    state = np.array([onsets_s[0], period_s])
    spread = np.diag([4 * noise, (0.1 * period_s) ** 2])
    for i in range(n):
        d = step[i]
        move = np.array([[1.0, d], [0.0, 1.0]])
        ending = position[-1] - position[i] < timing.ending_taps
        walk = ((timing.ending_walk_sd if ending else timing.tempo_walk_sd) * period_s) ** 2
        drift = walk * np.array([[d**3 / 3, d**2 / 2], [d**2 / 2, d]])
        drift[0, 0] += d * timing.phase_walk_sd_s**2
        state, spread = move @ state, move @ spread @ move.T + drift
        ahead_mean[i], ahead_cov[i] = state, spread
        total = spread[0, 0] + noise
        late = onsets_s[i] - state[0]
        # A stray note pulls no harder than one at three deviations, and a beat begun anew moves the clock.
        heed = min(1.0, 3.0 * np.sqrt(total) / max(abs(late), 1e-12))
        gain = spread[:, 0] / total * heed
        if abs(late) > period_s / 4:
            gain = np.array([1.0, 0.0])
        state = state + gain * late
        spread = spread - np.outer(spread[:, 0], spread[0]) / total
        mean[i], cov[i] = state, spread
    for i in range(n - 2, -1, -1):
        d = step[i + 1]
        move = np.array([[1.0, d], [0.0, 1.0]])
        back = np.linalg.solve(ahead_cov[i + 1].T, (cov[i] @ move.T).T).T
        if abs(mean[i + 1, 0] - ahead_mean[i + 1, 0]) > period_s / 4:
            continue
        mean[i] = mean[i] + back @ (mean[i + 1] - ahead_mean[i + 1])
    return _monotone(position, mean, period_s)


def _monotone(position: FloatArray, mean: FloatArray, period_s: float) -> Clock:
    """Clock from smoothed states, with time forced to ascend at a tenth of the tempo at least."""
    times = mean[:, 0].copy()
    for i in range(1, len(times)):
        times[i] = max(times[i], times[i - 1] + 0.1 * period_s * (position[i] - position[i - 1]))
    periods = np.clip(mean[[0, -1], 1], 0.5 * period_s, 2.0 * period_s)
    return Clock(position, times, float(periods[0]), float(periods[1]))
