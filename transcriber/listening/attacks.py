"""How strongly a new sound begins at each moment.

A pick or a landing finger brings energy to many bands at once. The measure is the rise of a logarithmic
filter bank against the largest of the neighbouring bands a little earlier, so that vibrato and bends, which
move energy between neighbours, count for little (Böck and Widmer, "Maximum filter vibrato suppression for
onset detection", DAFx 2013).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import fft
from scipy.ndimage import maximum_filter1d

FloatArray = npt.NDArray[np.float64]
Float32 = npt.NDArray[np.float32]

WINDOW = 512
_BANDS_PER_OCTAVE = 12
_LOWEST_HZ = 70.0
_HIGH_HZ = 2_500.0  # above it a pick's noise stands clear of most of a string's partials
_LAG = 2  # frames between the two spectra compared
_BLOCK = 4096
_SHORT_LEVEL = 256  # samples over which a level is taken, 12 ms


@dataclass(frozen=True)
class AttackStrength:
    """Measures of beginning, one for each frame of the pitch track; arrays of shape (n,).

    Attributes
    ----------
    rise : ndarray of float64
        Mean rise over all bands, about 0 in a held note and 0.3 to 1.5 at a picked one.
    high_rise : ndarray of float64
        The same over the bands above 2.5 kHz.
    level_db : ndarray of float64
        Level over a short window (12 ms), dB below full scale.
    high_level_db : ndarray of float64
        Level above 2.5 kHz over the analysis window (23 ms), dB below full scale.
    """

    rise: FloatArray
    high_rise: FloatArray
    level_db: FloatArray
    high_level_db: FloatArray


def _filter_bank(sample_rate_hz: int) -> tuple[Float32, FloatArray]:
    """Triangular filters on a logarithmic axis, at least two FFT bins wide: (bands, bins) and centres."""
    resolution = sample_rate_hz / WINDOW
    highest = min(9_000.0, sample_rate_hz * 0.45)
    count = int(np.log2(highest / _LOWEST_HZ) * _BANDS_PER_OCTAVE)
    edges = _LOWEST_HZ * 2 ** (np.arange(count + 2) / _BANDS_PER_OCTAVE)
    bins = np.unique(np.rint(edges / resolution).astype(int))
    bank = np.zeros((len(bins) - 2, WINDOW // 2 + 1), np.float32)
    for row, (left, centre, right) in enumerate(zip(bins[:-2], bins[1:-1], bins[2:], strict=True)):
        bank[row, left : centre + 1] = np.linspace(0, 1, centre - left + 1)
        bank[row, centre : right + 1] = np.linspace(1, 0, right - centre + 1)
    return bank / bank.sum(axis=1, keepdims=True), bins[1:-1] * resolution


def attack_strength(samples: Float32, hop: int, sample_rate_hz: int) -> AttackStrength:
    """Measure beginnings at every `hop` samples.

    Parameters
    ----------
    samples : ndarray of float32, shape (n,)
    hop : int
        Samples between frames; frame i is centred on sample ``i * hop``.
    sample_rate_hz : int

    Returns
    -------
    AttackStrength
    """
    frames = len(range(0, len(samples), hop))
    bank, centres = _filter_bank(sample_rate_hz)
    bands, high_level = _band_magnitudes(
        samples, hop, frames, bank, round(_HIGH_HZ * WINDOW / sample_rate_hz)
    )
    # Levels are taken against the take's own loudness; -60 dB below it counts as nothing.
    loud = max(float(np.percentile(bands.max(axis=1), 95)), 1e-12) if frames else 1.0
    rise, high_rise = np.zeros(frames), np.zeros(frames)
    high = centres >= _HIGH_HZ
    for begin in range(_LAG, frames, _BLOCK):
        end = min(begin + _BLOCK, frames)
        logarithm = np.log10(1e-3 + bands[begin - _LAG : end] / loud)
        before = maximum_filter1d(logarithm[:-_LAG], 3, axis=1)
        rises = np.maximum(logarithm[_LAG:] - before, 0.0)
        rise[begin:end] = rises.mean(axis=1)
        high_rise[begin:end] = rises[:, high].mean(axis=1)
    return AttackStrength(rise, high_rise, short_levels(samples, hop), high_level)


def _band_magnitudes(
    samples: Float32, hop: int, frames: int, bank: Float32, first_high: int
) -> tuple[Float32, FloatArray]:
    """Magnitude of each band (frames, bands), and the level above 2.5 kHz in dB (frames,)."""
    padded = np.pad(samples, (WINDOW // 2, WINDOW))
    window = np.hanning(WINDOW).astype(np.float32)
    full_scale = WINDOW * float(np.square(window).sum()) / 2
    views = np.lib.stride_tricks.sliding_window_view(padded, WINDOW)
    bands = np.empty((frames, len(bank)), np.float32)
    high_power = np.empty(frames)
    for begin in range(0, frames, _BLOCK):
        end = min(begin + _BLOCK, frames)
        block = views[begin * hop : (end - 1) * hop + 1 : hop] * window
        magnitude = np.abs(fft.rfft(block, axis=1, workers=2))
        bands[begin:end] = magnitude @ bank.T
        high_power[begin:end] = np.square(magnitude[:, first_high:]).sum(axis=1)
    return bands, 10 * np.log10(np.maximum(high_power / full_scale, 1e-12))


def short_levels(samples: Float32, hop: int) -> FloatArray:
    """Level around every `hop`-th sample, over a dozen milliseconds, dB below full scale."""
    padded = np.pad(samples, _SHORT_LEVEL // 2)
    views = np.lib.stride_tricks.sliding_window_view(padded, _SHORT_LEVEL)[: len(samples) : hop]
    return _mean_square_db(views)


def _mean_square_db(stretches: Float32) -> FloatArray:
    """Level of each stretch (n, width) in dB below full scale, block by block."""
    levels = np.empty(len(stretches))
    for begin in range(0, len(stretches), _BLOCK):
        block = stretches[begin : begin + _BLOCK]
        levels[begin : begin + _BLOCK] = (
            np.einsum("ij,ij->i", block, block, dtype=np.float64) / block.shape[1]
        )
    return np.asarray(10 * np.log10(np.maximum(levels, 1e-20)), np.float64)
