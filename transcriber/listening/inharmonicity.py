"""Inharmonicity of one note: how far the partials of a stiff string lie above the multiples of f0.

The partials of a stiff string lie at ``f_n = n f0 sqrt(1 + B n^2)`` (Fletcher 1964), so that ``(f_n / n)^2``
is a straight line over ``n^2`` whose slope over its intercept is B. The line is fitted to the peaks of one
windowed spectrum, robustly and weighted by how clearly each peak stands out (after Hjerrild and Christensen
2019, and Abesser 2012, who tell strings apart by B). What matters as much as B is its standard error: a short,
noisy or overdriven note must say that it knows nothing. Overdrive puts its products at exact multiples of the
strongest partials: the peaks then fit no stiff string, or one softer than any that can be strung.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

# The attack's noise is over after this long, or after this share of a short note.
_SKIP_S, _SKIP_SHARE = 0.04, 0.2
_SHORTEST_S, _LONGEST_S = 0.09, 0.6
# Fewer periods than this and a Hann window (main lobe four bins wide) no longer parts the partials.
_FEWEST_PERIODS = 8.0
_FEWEST_PARTIALS = 5
_HIGHEST_SHARE = 0.46  # of the sample rate
# Partials taken in, round by round: each round's fit says where to look for the next ones.
_ROUNDS = (6, 9, 14, 20, 28, 40, 40)
_FIRST_B = 8e-5
_B_RANGE = (2e-6, 8e-3)
# Half-width of the search around a predicted partial: cents, resolution cells, share of f0.
_SEARCH_CENTS, _SEARCH_CELLS, _SEARCH_SHARE = 30.0, 1.2, 0.35
_CLARITY_DB = 14.0
# What a real partial strays from the law (body, magnets, two polarisations), and what a noisy peak adds.
_STRAY_HZ, _STRAY_SHARE, _NOISE_CELLS = 0.3, 2.5e-4, 0.5
_OUTLIER = 3.0
_FIT_STEPS = 4


@dataclass(frozen=True)
class Inharmonicity:
    """What one note tells of its string's stiffness.

    Attributes
    ----------
    log10_b : float
        Common logarithm of the inharmonicity coefficient B.
    standard_error : float
        Of `log10_b`; large where the note tells little.
    f0_hz : float
        Frequency that the stiff string's fundamental would have without stiffness.
    partials : int
        Number of partials that carry the fit.
    brightness : float
        Centroid of the partials' amplitudes, in multiples of f0.
    """

    log10_b: float
    standard_error: float
    f0_hz: float
    partials: int
    brightness: float


@dataclass(frozen=True)
class _Peaks:
    """Peaks near predicted partials: number, frequency and its standard error, clarity, level in dB."""

    number: FloatArray
    frequency_hz: FloatArray
    error_hz: FloatArray
    clarity_db: FloatArray
    level_db: FloatArray


@dataclass(frozen=True)
class _Line:
    """A fitted stiff string."""

    f0_hz: float
    b: float
    b_error: float
    weights: FloatArray
    residuals: FloatArray


def measure_inharmonicity(
    samples: npt.NDArray[np.float32], sample_rate_hz: int, f0_hz: float, start_s: float, end_s: float
) -> Inharmonicity | None:
    """Measure the inharmonicity of a steady note.

    Parameters
    ----------
    samples : ndarray of float32, shape (n,)
        Mono sound.
    sample_rate_hz : int
    f0_hz : float
        Fundamental frequency, within about 25 cents.
    start_s, end_s : float
        A stretch without bend, vibrato or slide, from its attack on, seconds from ``samples[0]``.

    Returns
    -------
    Inharmonicity or None
        None where the stretch is too short, or shows too few clear partials of one stiff string.
    """
    spectrum = _spectrum(samples, sample_rate_hz, f0_hz, start_s, end_s)
    if spectrum is None:
        return None
    level_db, step_hz, cell_hz = spectrum
    f0, b = f0_hz, _FIRST_B
    peaks, line = None, None
    for count in _ROUNDS:
        peaks = _find_peaks(level_db, step_hz, cell_hz, f0, b, count)
        if len(peaks.number) < 3:
            return None
        line = _fit(peaks, f0, b)
        f0, b = line.f0_hz, min(max(line.b, _B_RANGE[0]), _B_RANGE[1])
    return peaks, line


def _spectrum(
    samples: npt.NDArray[np.float32], sample_rate_hz: int, f0_hz: float, start_s: float, end_s: float
) -> tuple[FloatArray, float, float] | None:
    """Level in dB of the steady stretch, the step between its bins, and its resolution (1 / length)."""
    from scipy import fft

    first_s = start_s + min(_SKIP_S, _SKIP_SHARE * (end_s - start_s))
    last_s = min(end_s, first_s + _LONGEST_S)
    stretch = samples[max(0, round(first_s * sample_rate_hz)) : max(0, round(last_s * sample_rate_hz))]
    length_s = len(stretch) / sample_rate_hz
    if length_s < max(_SHORTEST_S, _FEWEST_PERIODS / f0_hz):
        return None
    window = 0.5 - 0.5 * np.cos(2 * np.pi * (np.arange(len(stretch)) + 0.5) / len(stretch))
    size = 1 << (2 * len(stretch) - 1).bit_length()
    magnitude = np.abs(fft.rfft(stretch * window, size))
    if not magnitude.any():
        return None
    level_db = 20.0 * np.log10(magnitude + 1e-9 * magnitude.max())
    return level_db, sample_rate_hz / size, 1.0 / length_s


def _find_peaks(
    level_db: FloatArray, step_hz: float, cell_hz: float, f0_hz: float, b: float, count: int
) -> _Peaks:
    """Find the highest peak near each predicted partial, where it stands clear of what lies around it."""
    highest_hz = _HIGHEST_SHARE / 0.5 * step_hz * (len(level_db) - 1)
    number = np.arange(1.0, count + 1.0)
    predicted = number * f0_hz * np.sqrt(1.0 + b * number**2)
    number, predicted = number[predicted < highest_hz], predicted[predicted < highest_hz]
    half = int(0.5 * f0_hz / step_hz)
    bins = np.clip(
        np.rint(predicted / step_hz).astype(int)[:, None] + np.arange(-half, half + 1), 1, len(level_db) - 2
    )
    around = level_db[bins]
    reach = np.minimum(
        np.maximum(predicted * _SEARCH_CENTS / 1731.0, _SEARCH_CELLS * cell_hz), _SEARCH_SHARE * f0_hz
    )
    near = np.abs(bins * step_hz - predicted[:, None]) <= reach[:, None]
    at = bins[np.arange(len(bins)), np.argmax(np.where(near, around, -np.inf), axis=1)]
    before, top, after = level_db[at - 1], level_db[at], level_db[at + 1]
    clarity = top - np.median(around, axis=1)
    good = (top > before) & (top >= after) & (clarity > _CLARITY_DB)
    curve = np.where(good, before - 2 * top + after, -1.0)
    frequency = (at + 0.5 * (before - after) / curve) * step_hz
    noise_hz = _NOISE_CELLS * cell_hz * 10.0 ** (-clarity / 20.0)
    error = np.sqrt(_STRAY_HZ**2 + (_STRAY_SHARE * frequency) ** 2 + noise_hz**2)
    return _Peaks(number[good], frequency[good], error[good], clarity[good], top[good])


def _fit(peaks: _Peaks, f0_hz: float, b: float) -> _Line:
    """Fit ``(f_n / n f0)^2 = c (1 + B n^2)`` by weighted least squares, peaks far off losing their say."""
    squares = peaks.number**2
    target = (peaks.frequency_hz / (peaks.number * f0_hz)) ** 2 - 1.0
    error = 2.0 * peaks.error_hz / (peaks.number * f0_hz)
    residuals = (target - np.median(target - b * squares) - b * squares) / error
    weights = np.ones(len(squares))
    for _ in range(_FIT_STEPS):
        scale = max(1.0, 1.4826 * float(np.median(np.abs(residuals))))
        weights = 1.0 / (1.0 + (residuals / (_OUTLIER * scale)) ** 2) ** 2
        pull = weights / error**2
        s0, s1, s2 = pull.sum(), (pull * squares).sum(), (pull * squares**2).sum()
        t0, t1 = (pull * target).sum(), (pull * target * squares).sum()
        determinant = s0 * s2 - s1**2
        slope = (s0 * t1 - s1 * t0) / determinant
        offset = (s2 * t0 - s1 * t1) / determinant
        residuals = (target - offset - slope * squares) / error
    spread = float((weights * residuals**2).sum() / max(weights.sum() - 2.0, 0.5))
    slope_error = math.sqrt(max(1.0, spread) * s0 / determinant)
    intercept = 1.0 + offset
    return _Line(
        f0_hz * math.sqrt(intercept), slope / intercept, slope_error / intercept, weights, residuals
    )
