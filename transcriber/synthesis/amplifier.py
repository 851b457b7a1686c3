"""From the pickup to the file: the pickup's resonance, drive with a cabinet, early reflections, level."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from transcriber.synthesis.tone import Tone

Sound = npt.NDArray[np.float32]

_PICKUP_HZ, _PICKUP_Q = (2200.0, 5200.0), (0.8, 1.7)
_LOW_CUT_HZ = 50.0
_OVERSAMPLING = 4
_DRIVE_GAIN_DB = (6.0, 40.0)
_DRIVE_BIAS = 0.12
_DRIVE_LOW_CUT_HZ = 130.0
_CABINET_HZ = (85.0, 4300.0)
_REFLECTIONS = ((0.0073, 0.31), (0.0117, -0.22), (0.0179, 0.17), (0.0263, 0.12), (0.0371, -0.08))
HIGHEST_PEAK_DB = -1.0


def pickup(sound: Sound, tone: Tone, rate: int) -> Sound:
    """Pass a string's velocity through the pickup's resonant low-pass and a low cut."""
    corner = _between(_PICKUP_HZ, tone.brightness)
    resonance = _between(_PICKUP_Q, tone.brightness)
    sections = np.array([_resonant_low_pass(corner, resonance, rate), _low_cut(_LOW_CUT_HZ, rate)])
    return _filtered(sections, sound)


def drive(sound: Sound, tone: Tone, rate: int) -> Sound:
    """Clip softly at four times the rate and play through a cabinet; nothing at drive 0.

    Parameters
    ----------
    sound : ndarray of float32, shape (n,)
        Any level: the loudest peak is taken as full input.
    tone : Tone
    rate : int

    Returns
    -------
    ndarray of float32, shape (n,)
    """
    if tone.drive == 0.0:
        return sound
    from scipy.signal import butter, resample_poly

    gain = 10.0 ** (_between(_DRIVE_GAIN_DB, tone.drive) / 20.0)
    tightened = _filtered(np.array([_low_cut(_DRIVE_LOW_CUT_HZ, rate)]), sound)
    fine = resample_poly(tightened * np.float32(gain / _peak(tightened)), _OVERSAMPLING, 1)
    clipped = np.tanh(fine + _DRIVE_BIAS) - math.tanh(_DRIVE_BIAS)
    coarse = resample_poly(clipped, 1, _OVERSAMPLING)[: len(sound)].astype(np.float32)
    low_pass = butter(4, _CABINET_HZ[1], "lowpass", fs=rate, output="sos")
    return _filtered(np.vstack([low_pass, _low_cut(_CABINET_HZ[0], rate)]), coarse)


def room(sound: Sound, tone: Tone, rate: int) -> Sound:
    """Add a few early reflections."""
    if tone.room == 0.0:
        return sound
    out = sound.copy()
    for delay_s, level in _REFLECTIONS:
        delay = round(delay_s * rate)
        out[delay:] += np.float32(tone.room * level) * sound[:-delay]
    return out


def to_peak(sound: Sound, peak_db: float) -> Sound:
    """Scale so that the loudest sample lies at `peak_db`, at most -1 dB below full scale."""
    level = 10.0 ** (min(peak_db, HIGHEST_PEAK_DB) / 20.0)
    return sound * np.float32(level / _peak(sound))


def _peak(sound: Sound) -> float:
    return max(float(np.abs(sound).max(initial=0.0)), 1e-9)


def _between(bounds: tuple[float, float], share: float) -> float:
    return bounds[0] + (bounds[1] - bounds[0]) * share


def _filtered(sections: npt.NDArray[np.float64], sound: Sound) -> Sound:
    from scipy.signal import sosfilt

    return np.asarray(sosfilt(sections, sound.astype(np.float64)), dtype=np.float32)


def _resonant_low_pass(corner_hz: float, resonance: float, rate: int) -> list[float]:
    # Bilinear transform of w0^2 / (s^2 + s w0/Q + w0^2), prewarped at w0.
    w0 = 2.0 * math.pi * corner_hz / rate
    alpha, cosine = math.sin(w0) / (2.0 * resonance), math.cos(w0)
    scale = 1.0 / (1.0 + alpha)
    b = (1.0 - cosine) / 2.0 * scale
    return [b, 2.0 * b, b, 1.0, -2.0 * cosine * scale, (1.0 - alpha) * scale]


def _low_cut(corner_hz: float, rate: int) -> list[float]:
    w0 = 2.0 * math.pi * corner_hz / rate
    alpha, cosine = math.sin(w0) / math.sqrt(2.0), math.cos(w0)
    scale = 1.0 / (1.0 + alpha)
    b = (1.0 + cosine) / 2.0 * scale
    return [b, -2.0 * b, b, 1.0, -2.0 * cosine * scale, (1.0 - alpha) * scale]
