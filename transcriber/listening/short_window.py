"""A window half as long as the tracker's, to look again at quick changes of pitch.

After an attack or a step the tracker needs some 30 ms of one pitch; this window needs half of that. It
looks only where it is told to, and for pitches within a hand's reach if one is given (YIN's difference
function, de Cheveigné and Kawahara 2002).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.ndimage import median_filter

from transcriber.listening.pitch.difference import difference_function, normalised_difference
from transcriber.listening.pitch.refine import refine_periods
from transcriber.records.pitch import midi_to_hz

FloatArray = npt.NDArray[np.float64]
Frames = npt.NDArray[np.int64]

_WINDOW = 256  # samples: 12 ms
_LONGEST_LAG = 300  # samples: lower notes than 75 Hz cannot be told from so short a sound
LOWEST_SEEN_HZ = 60.0
"""Where an instrument reaches below this, a short sound may be a note that the window cannot tell."""

_REFINE_LONGEST_LAG = 180.0
_NEAR_SEMITONES = 5.5  # what a hand reaches without shifting
_NEARLY = 0.12  # difference of depth between a period's trough and that of its multiple
_STEP = 48  # samples between looks along a contour: 2.2 ms


@dataclass(frozen=True)
class ShortWindow:
    """Looks at a take through a window half as long as the tracker's.

    Attributes
    ----------
    samples : ndarray of float32, shape (n,)
    rate_hz : int
    reference_hz : float
        Frequency of MIDI 69.
    """

    samples: npt.NDArray[np.float32]
    rate_hz: int
    reference_hz: float

    def look(self, centres: Frames, near: float | None) -> tuple[FloatArray, FloatArray]:
        """Pitch around some samples.

        Parameters
        ----------
        centres : ndarray of int64, shape (k,)
            In order.
        near : float or None
            Semitones within a hand's reach of which the pitch is sought; None for anywhere.

        Returns
        -------
        semitones, depth : ndarray of float64, shape (k,)
            Pitch, and depth of the difference function's trough (0 is perfectly periodic).
        """
        low, high = 8, _LONGEST_LAG
        middle = _LONGEST_LAG // 2
        if near is not None:
            period = self.rate_hz / midi_to_hz(near, self.reference_hz)
            middle = int(period)
            low = max(low, int(period / 2 ** (_NEAR_SEMITONES / 12)))
            high = min(high, int(period * 2 ** (_NEAR_SEMITONES / 12)) + 2)
        if high - low < 4:
            return np.full(len(centres), np.nan), np.ones(len(centres))
        lead = (_WINDOW + middle) // 2
        first = int(centres[0]) - lead
        stretch = self.samples[max(first, 0) : int(centres[-1]) + _WINDOW + high]
        padded = np.pad(stretch, (max(-first, 0), _WINDOW + high + 4)).astype(np.float32)
        difference = normalised_difference(
            difference_function(padded, centres - centres[0], _WINDOW, high + 4)
        )
        lags = difference[:, low:high]
        trough = lags.argmin(axis=1) if near is not None else _first_trough(lags)
        period_found, depth = refine_periods(difference, (trough + low).astype(float), _REFINE_LONGEST_LAG, 4)
        return 69 + 12 * np.log2(self.rate_hz / period_found / self.reference_hz), depth

    def contour(self, first: int, last: int, near: float) -> tuple[FloatArray, float]:
        """Pitch from one sample to another, freed from single errors.

        Returns
        -------
        semitones : ndarray of float64, shape (k,)
            Empty if the stretch is too short to look at.
        step_s : float
            Seconds between its values.
        """
        centres = np.arange(max(first, 0), min(last, len(self.samples)), _STEP)
        step_s = _STEP / self.rate_hz
        if len(centres) < 5:
            return np.zeros(0), step_s
        semitones, _ = self.look(centres, near)
        return np.asarray(median_filter(semitones, 3, mode="nearest"), np.float64), step_s


def _first_trough(lags: npt.NDArray[np.float32]) -> Frames:
    """Column of the first trough that is nearly as deep as the deepest: a multiple of the period is not
    taken for it.
    """
    trough = np.zeros(lags.shape, bool)
    trough[:, 1:-1] = (lags[:, 1:-1] <= lags[:, :-2]) & (lags[:, 1:-1] < lags[:, 2:])
    deep = trough & (lags <= lags.min(axis=1, keepdims=True) + _NEARLY)
    return np.asarray(np.where(deep.any(axis=1), deep.argmax(axis=1), lags.argmin(axis=1)), np.int64)
