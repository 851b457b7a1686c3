"""A metronome that bleeds into a take, where the player says that there is one.

Its clicks are alike and come back to the millisecond, which no hand does; but notes cover many of them, so
that few stand alone. What they share is looked for by folding: the rises of level in each band are correlated
with themselves, which gives periods; for each period, every phase is judged by how much the bands rise at
nearly all of the times it leads to. Notes on the beat raise other bands each time, and are not so exact.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy import fft, ndimage, signal

from transcriber.listening.click_bands import HOP, band_levels

FloatArray = npt.NDArray[np.float64]

TEMPO_BPM = (40.0, 220.0)
_RISE_S = 0.012
_MOST_RISE_DB = 20.0
_SHARP_S = 0.03  # rises of notes spread further than this about a beat
_CANDIDATES = 24
_QUANTILE = 0.25  # so many of the clicks may be covered by louder sounds
_LEAST_DB = 3.0  # summed over the bands
_CLEARLY = 15.0  # times what stands at most other phases
_FEWEST = 10
_SHARE_OF_BEST = 0.1  # a multiple of the true period holds as well, or better: notes are often on it


def find_metronome(samples: npt.NDArray[np.float32], rate_hz: int) -> FloatArray:
    """Find an even row of like clicks that goes on through a take.

    Parameters
    ----------
    samples : ndarray, shape (n,)
    rate_hz : int

    Returns
    -------
    ndarray of float64
        Times in seconds from the first sample, ascending, through the whole take; empty where no row stands
        out.
    """
    rises = _rises(samples, rate_hz)
    frame_s = HOP / rate_hz
    found = [_phase(rises, period, 60.0 / TEMPO_BPM[1] / frame_s) for period in _periods(rises, frame_s)]
    found = [row for row in found if row[2] > 0]
    if not found:
        return np.zeros(0)
    best = max(strength for _, _, strength in found)
    period, first, _ = min(row for row in found if row[2] >= _SHARE_OF_BEST * best)
    count = int((len(rises) - 1 - first) // period) + 1
    return np.asarray((first + period * np.arange(count)) * frame_s)


def _rises(samples: npt.NDArray[np.float32], rate_hz: int) -> FloatArray:
    """How much each band rises within a click's attack, dB, shape (frames, bands); only at its peaks."""
    bands = band_levels(samples, rate_hz)
    step = max(round(_RISE_S * rate_hz / HOP), 1)
    before = np.concatenate([np.repeat(bands[:1], step, axis=0), bands[:-step]])
    rise = np.clip(bands - before, 0.0, _MOST_RISE_DB)
    peak = rise == ndimage.maximum_filter1d(rise, 2 * step + 1, axis=0)
    return np.asarray(np.where(peak, rise, 0.0))


def _periods(rises: FloatArray, frame_s: float) -> list[float]:
    """Likely periods in frames, refined at ever longer lags."""
    size = fft.next_fast_len(2 * len(rises))
    wide = ndimage.maximum_filter1d(rises, 3, axis=0)
    spectrum = np.abs(fft.rfft(wide - wide.mean(axis=0), size, axis=0)) ** 2
    lags = fft.irfft(spectrum.sum(axis=1), size)[: len(rises)]
    lags = lags / np.maximum(len(rises) - np.arange(len(rises)), len(rises) / 8)
    sharp = lags - ndimage.median_filter(lags, 2 * round(_SHARP_S / frame_s) + 1)
    shortest, longest = (round(60.0 / bpm / frame_s) for bpm in reversed(TEMPO_BPM))
    peaks, _ = signal.find_peaks(sharp[: longest + 1], height=0.0)
    peaks = peaks[peaks >= shortest]
    periods = []
    for peak in peaks[np.argsort(-sharp[peaks], kind="stable")][:_CANDIDATES]:
        period, times = float(peak), 1
        while 2 * times * period < len(rises) - 2 * period and times < 64:
            times *= 2
            near = round(times * period)
            reach = 3
            window = sharp[near - reach : near + reach + 1]
            period = (near - reach + int(np.argmax(window))) / times
        periods.append(period)
    return periods


def _phase(rises: FloatArray, period: float, shortest: float) -> tuple[float, float, float]:
    """The period, the first click's frame and how much the bands rise at nearly every click, in dB."""
    wide = ndimage.maximum_filter1d(rises, 5, axis=0)
    count = int((len(rises) - period) // period)
    if count < _FEWEST:
        return period, 0.0, 0.0
    phases = np.arange(int(period))
    at = np.rint(phases[:, None] + period * np.arange(count)).astype(np.int64)
    shared = ndimage.uniform_filter1d(np.quantile(wide[at], _QUANTILE, axis=1), 3, axis=0, mode="wrap")
    strength = shared.sum(axis=1)
    best = int(np.argmax(strength))
    midway = [round(best + period / 2 + k) % len(strength) for k in (-1, 0, 1)]
    other = max(midway, key=lambda phase: strength[phase])
    # Notes stand on every second click, perhaps; but they are not so exact that they make one between.
    if period / 2 >= shortest and strength[other] >= _enough(strength):
        return period / 2, best % (period / 2), float(strength[best])
    if strength[best] < _enough(strength):
        return period, 0.0, 0.0
    return period, float(best), float(strength[best])


def _enough(strength: FloatArray) -> float:
    """How much the bands must rise at a phase for clicks to stand there."""
    return max(_LEAST_DB, _CLEARLY * float(np.quantile(strength, 0.75)))
