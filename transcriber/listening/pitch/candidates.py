"""Pitch candidates of each frame with their probabilities.

Mauch and Dixon, "pYIN: a fundamental frequency estimator using probabilistic threshold distributions",
ICASSP 2014. For a threshold s, YIN takes the first trough of the normalised difference that lies below s.
So with s drawn from a beta distribution a trough is taken with the probability that s falls between its own
depth and the least depth of all troughs before it: no sum over sampled thresholds is needed.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
import numpy.typing as npt

from transcriber.listening.pitch.settings import PitchSettings

Float32 = npt.NDArray[np.float32]


@dataclass(frozen=True)
class Candidates:
    """Troughs of all frames in one list, ordered by frame. All arrays have shape (m,).

    Attributes
    ----------
    frame : ndarray of int64
    bin : ndarray of int64
        On the decoder's grid, 0 is the lowest pitch.
    probability : ndarray of float32
    """

    frame: npt.NDArray[np.int64]
    bin: npt.NDArray[np.int64]
    probability: Float32


@cache
def _threshold_table(mean: float, shape: float) -> Float32:
    """Cumulative beta distribution at 1,001 evenly spaced thresholds."""
    from scipy.special import betainc

    return np.asarray(betainc(shape, shape * (1.0 / mean - 1.0), np.linspace(0.0, 1.0, 1001)), np.float32)


def _cumulative(depth: Float32, table: Float32) -> Float32:
    """Probability that the threshold lies below each depth, by table."""
    index = np.clip(depth, 0.0, 1.0) * (len(table) - 1)
    low = index.astype(np.int64)
    high = np.minimum(low + 1, len(table) - 1)
    share = index - low
    return (table[low] * (1 - share) + table[high] * share).astype(np.float32)


def parabolic_minimum(left: Float32, middle: Float32, right: Float32) -> tuple[Float32, Float32]:
    """Offset (-0.5 to 0.5) and value of the minimum of parabolas through three neighbouring samples."""
    curvature = left + right - 2 * middle
    slope = (right - left) / 2
    offset = np.where(curvature > 1e-12, -slope / np.maximum(curvature, 1e-12), 0.0)
    offset = np.clip(offset, -0.5, 0.5)
    return offset.astype(np.float32), (middle + 0.5 * slope * offset).astype(np.float32)


def find_candidates(normalised: Float32, settings: PitchSettings) -> Candidates:
    """Find the troughs of each frame and their probabilities.

    Parameters
    ----------
    normalised : ndarray of float32, shape (frames, lags)
        From `normalised_difference`.
    settings : PitchSettings
    """
    first, last = settings.shortest_lag, normalised.shape[1] - 1
    middle = normalised[:, first:last]
    is_trough = (middle < normalised[:, first - 1 : last - 1]) & (middle <= normalised[:, first + 1 :])
    frame, column = np.nonzero(is_trough)
    lag = column + first
    offset, depth = parabolic_minimum(
        normalised[frame, lag - 1], normalised[frame, lag], normalised[frame, lag + 1]
    )
    depth = np.maximum(depth, 0.0)

    probability = _first_below_probability(frame, depth, normalised.shape[0], settings)
    frequency = settings.sample_rate_hz / (lag + offset)
    bins = np.rint(12 * np.log2(frequency / settings.lowest_hz) * settings.bins_per_semitone).astype(np.int64)
    keep = (probability > 1e-4) & (bins >= 0) & (bins < settings.bins)
    return Candidates(frame[keep], bins[keep], probability[keep])


def _first_below_probability(
    frame: npt.NDArray[np.int64], depth: Float32, n_frames: int, settings: PitchSettings
) -> Float32:
    """Probability of each trough to be the first below a random threshold, plus the floor of the deepest."""
    if len(frame) == 0:
        return np.zeros(0, np.float32)
    counts = np.bincount(frame, minlength=n_frames)
    begins = np.concatenate(([0], np.cumsum(counts)[:-1]))
    rank = np.arange(len(frame)) - begins[frame]
    table = np.full((n_frames, int(counts.max()) + 1), np.inf, np.float32)
    table[frame, rank + 1] = depth
    least_before = np.minimum.accumulate(table, axis=1)[frame, rank]
    thresholds = _threshold_table(settings.threshold_mean, settings.threshold_shape)
    gain = _cumulative(np.minimum(least_before, 1.0), thresholds) - _cumulative(depth, thresholds)
    probability = np.asarray(np.maximum(gain, 0.0), np.float32)

    # What no trough claimed goes in part to the deepest one, so that a noisy frame still votes.
    unclaimed = 1.0 - np.bincount(frame, weights=probability, minlength=n_frames)
    deepest = np.argmin(table[:, 1:], axis=1)
    has = counts > 0
    index = begins[has] + deepest[has]
    probability[index] += (settings.octave_floor * unclaimed[has]).astype(np.float32)
    return probability
