"""Inharmonicity of one note: how far the partials of a stiff string lie above the multiples of f0.

The partials of a stiff string lie at ``f_n = n f0 sqrt(1 + B n^2)`` (Fletcher 1964), so that ``(f_n / n)^2``
is a straight line over ``n^2`` whose slope over its intercept is B. The line is fitted to the peaks of one
windowed spectrum, robustly and weighted by how well each peak can be trusted; Abesser (2012) and Hjerrild and
Christensen (2019) have told strings apart by B.

What matters as much as B is its standard error: a short, noisy or overdriven note must say that it knows
little. Overdrive puts its products at exact multiples of the loudest partials. Where such products sound
beside the string's own partials they are left out; where they drown them, nothing is said.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

# The attack's noise is over after this long, or after this share of a short note.
_SKIP_S, _SKIP_SHARE = 0.04, 0.2
_SHORTEST_S, _LONGEST_S = 0.09, 0.5
# Fewer periods than this and a Hann window (main lobe four cells wide) no longer parts the partials.
_FEWEST_PERIODS = 8.0
_FEWEST_PARTIALS = 4
_HIGHEST_SHARE = 0.46  # of the sample rate
_CENTS_PER_UNIT = 1200.0 / math.log(2.0)

# Partials taken in, round by round: each round's fit says where to look for the next ones.
_ROUNDS = (7, 11, 17, 27, 42)
_FIRST_B = 8e-5
_B_SEARCHED = (2e-6, 1.2e-2)
# A thin first string, open at E4, has 9e-6, and higher up more by the square of its pitch; a plain third at
# the last fret has 1.5e-3. What lies outside is no string's.
_B_STRUNG = (6e-6, 8e-3)
_SOFTEST_OPEN_HZ = 330.0

# Half-width of the search around a predicted partial: cents, but at least cells and at most a share of f0.
_SEARCH_CENTS, _SEARCH_CELLS, _SEARCH_SHARE = 30.0, 1.2, 0.35
# A peak must stand this clear of its surroundings; far below the loudest one lie the products of pickup and
# converter, at exact multiples.
_CLARITY_DB, _DEPTH_DB = 14.0, 70.0
# How far a real partial strays from the law (body, magnets, two polarisations), the lowest the most, and what
# a noisy peak adds, in cells. A cell is the inverse of the stretch's length.
_STRAY_HZ, _STRAY_SHARE, _STRAY_LOWEST, _NOISE_CELLS = 0.3, 2.5e-4, 3e-3, 0.5

_OUTLIER, _LARGEST_SCALE = 3.0, 2.5
_FIT_STEPS = 3
# Above this many standard errors of median stray the peaks belong to no stiff string.
_MOST_STRAY = 4.5
# A peak fits when it keeps this weight; this share of the peaks must fit, this one where exact multiples were
# left out, and above the last share there is no doubt.
_FITTING_WEIGHT, _FITTING_SHARE, _STRICT_SHARE, _GOOD_SHARE = 0.25, 0.65, 0.85, 0.85
# Doubt, in log10 B: peaks that stray more than they should (for each unit of reduced chi square above 1),
# peaks that do not fit (for the whole share), exact multiples left out.
_DOUBT_MISFIT, _DOUBT_SHARE, _DOUBT_EXACT = 0.02, 1.5, 0.1

# Exact multiples are looked for where they lie this far from the partial, within this reach. They tell of
# overdrive where they stand clear and less than `_EXACT_DB` below the partial; less than `_DROWNED_DB`, and
# what is left of the string cannot be trusted.
_APART_CELLS, _REACH_CELLS, _EXACT_CLARITY_DB = 2.5, 0.7, 8.0
_EXACT_DB, _DROWNED_DB = 22.0, 6.0
# The lowest partials lie too close to the multiples to be told from them.
_LOWEST = 3


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
class _Spectrum:
    """Level in dB below the loudest bin, the step between bins, and the resolution (1 / length)."""

    level_db: FloatArray
    step_hz: float
    cell_hz: float


@dataclass(frozen=True)
class _Peaks:
    """Peaks near predicted partials, arrays of shape (k,): which partial, where, how sure, clear and loud."""

    number: FloatArray
    frequency_hz: FloatArray
    error_hz: FloatArray
    clarity_db: FloatArray
    level_db: FloatArray


@dataclass(frozen=True)
class _Line:
    """A fitted stiff string; residuals in standard errors, misfit as reduced chi square, at least 1."""

    f0_hz: float
    b: float
    b_error: float
    misfit: float
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
        Fundamental frequency, within about 15 cents.
    start_s, end_s : float
        A stretch without bend, vibrato or slide, from its attack on, seconds from ``samples[0]``; 0.12 s at
        least, and no more than the first 0.54 s are used.

    Returns
    -------
    Inharmonicity or None
        None where the stretch is too short, or shows too few clear partials of one stiff string.
    """
    spectrum = _spectrum(samples, sample_rate_hz, f0_hz, start_s, end_s)
    found = _follow(spectrum, f0_hz) if spectrum else None
    if spectrum is None or found is None:
        return None
    peaks, line = found
    lowest_hz = float(peaks.frequency_hz[0] / peaks.number[0])
    below_db, clear = _exact_multiples(spectrum, peaks, lowest_hz)
    overdriven = len(below_db) > 0 and np.mean(clear & (below_db < _EXACT_DB)) >= 0.5
    judged = None if overdriven else _judge(peaks, line, _FITTING_SHARE, 0.0)
    if judged is not None:
        return judged
    exact_hz = line.f0_hz if line.b < _B_STRUNG[0] else lowest_hz
    found = _follow(spectrum, f0_hz, exact_hz)
    if found is None:
        return None
    below_db, _ = _exact_multiples(spectrum, found[0], exact_hz)
    if len(below_db) == 0 or _middle(below_db) < _DROWNED_DB:
        return None
    return _judge(*found, _STRICT_SHARE, _DOUBT_EXACT)


def _spectrum(
    samples: npt.NDArray[np.float32], sample_rate_hz: int, f0_hz: float, start_s: float, end_s: float
) -> _Spectrum | None:
    """Take the spectrum of the steady stretch; None if it is silent or too short."""
    from scipy import fft

    first_s = start_s + min(_SKIP_S, _SKIP_SHARE * (end_s - start_s))
    last_s = min(end_s, first_s + _LONGEST_S)
    first, last = (max(0, round(edge * sample_rate_hz)) for edge in (first_s, last_s))
    stretch = samples[first:last]
    length_s = len(stretch) / sample_rate_hz
    if length_s < max(_SHORTEST_S, _FEWEST_PERIODS / f0_hz):
        return None
    window = 0.5 - 0.5 * np.cos(2 * np.pi * (np.arange(len(stretch)) + 0.5) / len(stretch))
    size = 1 << (2 * len(stretch) - 1).bit_length()
    magnitude = np.abs(fft.rfft(stretch * window.astype(np.float32), size))
    loudest = float(magnitude.max())
    if loudest <= 0.0:
        return None
    level_db = 20.0 * np.log10(magnitude / loudest + 1e-9)
    return _Spectrum(level_db.astype(np.float64), sample_rate_hz / size, 1.0 / length_s)


def _follow(spectrum: _Spectrum, f0_hz: float, exact_hz: float | None = None) -> tuple[_Peaks, _Line] | None:
    """Follow the partials up round by round; None if there are too few.

    With `exact_hz`, all but the lowest are looked for above the exact multiples of that frequency only.
    """
    f0, b = f0_hz, _FIRST_B
    found = None
    for count in _ROUNDS[0 if exact_hz is None else 1 :]:
        peaks = _find_peaks(spectrum, f0, b, count, exact_hz)
        if len(peaks.number) < _FEWEST_PARTIALS:
            return None
        line = _fit(peaks, f0, b)
        f0, b = line.f0_hz, min(max(line.b, _B_SEARCHED[0]), _B_SEARCHED[1])
        found = peaks, line
    return found


def _find_peaks(spectrum: _Spectrum, f0_hz: float, b: float, count: int, exact_hz: float | None) -> _Peaks:
    """Find the highest peak near each predicted partial, where it stands clear of what lies around it."""
    level_db, step_hz, cell_hz = spectrum.level_db, spectrum.step_hz, spectrum.cell_hz
    highest_hz = 2.0 * _HIGHEST_SHARE * step_hz * (len(level_db) - 1)
    number = np.arange(1.0, count + 1.0)
    predicted = number * f0_hz * np.sqrt(1.0 + b * number**2)
    number, predicted = number[predicted < highest_hz], predicted[predicted < highest_hz]
    half = int(0.5 * f0_hz / step_hz)
    middle = np.rint(predicted / step_hz).astype(int)[:, None]
    bins = np.clip(middle + np.arange(-half, half + 1), 1, len(level_db) - 2)
    around = level_db[bins]
    reach = np.maximum(predicted * _SEARCH_CENTS / _CENTS_PER_UNIT, _SEARCH_CELLS * cell_hz)
    near = np.abs(bins * step_hz - predicted[:, None]) <= np.minimum(reach, _SEARCH_SHARE * f0_hz)[:, None]
    if exact_hz is not None:
        above = bins * step_hz > (number * exact_hz + cell_hz)[:, None]
        near &= above | (number <= _LOWEST)[:, None]
    at = bins[np.arange(len(bins)), np.argmax(np.where(near, around, -np.inf), axis=1)]
    before, top, after = level_db[at - 1], level_db[at], level_db[at + 1]
    clarity = top - np.partition(around, half, axis=1)[:, half]
    good = (top > before) & (top >= after) & (clarity > _CLARITY_DB) & (top > -_DEPTH_DB)
    curve = np.where(good, before - 2 * top + after, -1.0)
    frequency = (at + 0.5 * (before - after) / curve) * step_hz
    noise_hz = _NOISE_CELLS * cell_hz * 10.0 ** (-clarity / 20.0)
    stray_hz = frequency * (_STRAY_SHARE + _STRAY_LOWEST / number**2)
    error = np.sqrt(_STRAY_HZ**2 + stray_hz**2 + noise_hz**2)
    return _Peaks(number[good], frequency[good], error[good], clarity[good], top[good])


def _fit(peaks: _Peaks, f0_hz: float, b: float) -> _Line:
    """Fit ``(f_n / n f0)^2 = c (1 + B n^2)`` by weighted least squares, peaks far off losing their say."""
    squares = peaks.number**2
    target = (peaks.frequency_hz / (peaks.number * f0_hz)) ** 2 - 1.0
    error = 2.0 * peaks.error_hz / (peaks.number * f0_hz)
    residuals = target - b * squares
    residuals = (residuals - _middle(residuals)) / error
    for _ in range(_FIT_STEPS):
        scale = min(max(1.0, 1.5 * _middle(np.abs(residuals))), _LARGEST_SCALE)
        weights = 1.0 / (1.0 + (residuals / (_OUTLIER * scale)) ** 2) ** 2
        pull = weights / error**2
        s0, s1, s2 = pull.sum(), (pull * squares).sum(), (pull * squares**2).sum()
        t0, t1 = (pull * target).sum(), (pull * target * squares).sum()
        determinant = s0 * s2 - s1**2
        slope = (s0 * t1 - s1 * t0) / determinant
        offset = (s2 * t0 - s1 * t1) / determinant
        residuals = (target - offset - slope * squares) / error
    misfit = max(1.0, float((weights * residuals**2).sum() / max(weights.sum() - 2.0, 0.5)))
    slope_error = math.sqrt(misfit * s0 / determinant)
    intercept = 1.0 + float(offset)
    return _Line(
        f0_hz=f0_hz * math.sqrt(intercept),
        b=float(slope) / intercept,
        b_error=slope_error / intercept,
        misfit=misfit,
        weights=weights,
        residuals=residuals,
    )


def _exact_multiples(
    spectrum: _Spectrum, peaks: _Peaks, exact_hz: float
) -> tuple[FloatArray, npt.NDArray[np.bool_]]:
    """Tell how far below its partial each exact multiple lies, in dB, and which stand clear.

    Only multiples far enough from their partials to be told from them are in the arrays.
    """
    multiple_hz = peaks.number * exact_hz
    apart = np.abs(peaks.frequency_hz - multiple_hz) > _APART_CELLS * spectrum.cell_hz
    reach = round(_REACH_CELLS * spectrum.cell_hz / spectrum.step_hz)
    bins = np.rint(multiple_hz[apart] / spectrum.step_hz).astype(int)[:, None] + np.arange(-reach, reach + 1)
    loudest_db = spectrum.level_db[np.clip(bins, 0, len(spectrum.level_db) - 1)].max(axis=1, initial=-np.inf)
    below_db = peaks.level_db[apart] - loudest_db
    return below_db, peaks.clarity_db[apart] - below_db > _EXACT_CLARITY_DB


def _judge(peaks: _Peaks, line: _Line, fitting_share: float, doubt: float) -> Inharmonicity | None:
    """Turn the fitted line into what it is worth, None if it is no string's."""
    softest = _B_STRUNG[0] * max(1.0, line.f0_hz / _SOFTEST_OPEN_HZ) ** 2
    if not softest <= line.b <= _B_STRUNG[1] or _middle(np.abs(line.residuals)) > _MOST_STRAY:
        return None
    fitting = int(np.count_nonzero(line.weights > _FITTING_WEIGHT))
    share = fitting / len(line.weights)
    if fitting < _FEWEST_PARTIALS or share < fitting_share:
        return None
    error = line.b_error / line.b / math.log(10.0)
    misfit = _DOUBT_MISFIT * (line.misfit - 1.0)
    unfit = _DOUBT_SHARE * max(0.0, _GOOD_SHARE - share)
    amplitude = 10.0 ** (peaks.level_db / 20.0)
    return Inharmonicity(
        log10_b=math.log10(line.b),
        standard_error=math.hypot(error, misfit, unfit, doubt),
        f0_hz=line.f0_hz,
        partials=fitting,
        brightness=float((amplitude * peaks.number).sum() / amplitude.sum()),
    )


def _middle(values: FloatArray) -> float:
    """Median (of an even number, the upper of the two in the middle)."""
    return float(np.sort(values)[len(values) // 2])
