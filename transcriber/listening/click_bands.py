"""Levels in the bands where clicks sound, at a step as short as their attack."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import numpy.typing as npt
from scipy import fft

FloatArray = npt.NDArray[np.float64]

HOP, WINDOW = 64, 512
FLOOR_DB = -90.0
_BLOCK = 4096  # frames whose spectra are held at once
_BANDS_HZ = np.geomspace(400.0, 9_000.0, 19)


def band_levels(samples: npt.NDArray[np.float32], rate_hz: int) -> FloatArray:
    """Levels in dB by frame and band, frames of `WINDOW` samples every `HOP`; block by block."""
    frames = len(samples) // HOP
    window = np.hanning(WINDOW).astype(np.float32)
    edges = np.searchsorted(fft.rfftfreq(WINDOW, 1 / rate_hz), np.minimum(_BANDS_HZ, rate_hz / 2))
    padded = np.pad(samples, WINDOW // 2).astype(np.float32, copy=False)
    views = np.lib.stride_tricks.sliding_window_view(padded, WINDOW)[::HOP][:frames]
    levels = np.empty((frames, len(edges) - 1))
    for begin in range(0, frames, _BLOCK):
        power = np.abs(fft.rfft(views[begin : begin + _BLOCK] * window, axis=1)) ** 2
        for band, (low, high) in enumerate(pairwise(edges)):
            total = power[:, low : max(high, low + 1)].sum(axis=1, dtype=np.float64)
            levels[begin : begin + _BLOCK, band] = 10 * np.log10(total / WINDOW**2 + 1e-12)
    return np.maximum(levels, FLOOR_DB)
