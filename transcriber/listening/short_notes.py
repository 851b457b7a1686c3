"""Pitch of sounds too short for the tracker's window: graces, and notes of the quickest runs.

After an attack the tracker needs some 30 ms of one pitch. Where an attack is followed by no pitch for longer than
an attack's noise lasts, a window half as long looks again (YIN's difference function, de Cheveigné and Kawahara 2002),
and what it finds counts if it stands still.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from transcriber.listening.pitch.difference import difference_function, normalised_difference
from transcriber.listening.pitch.refine import refine_periods

FloatArray = npt.NDArray[np.float64]
Frames = npt.NDArray[np.int64]

_WINDOW = 256  # samples: 12 ms
_LONGEST_LAG = 300  # samples: lower notes than 75 Hz cannot be told from so short a sound
_REFINE_LONGEST_LAG = 180.0
_NOISE_FRAMES = 3  # frames after an attack that hold its noise alone
_LATE_FRAMES = 6  # an attack whose pitch comes later than this may hide a short note
_LONGEST_FRAMES = 26  # silence longer than this holds no note (150 ms)
_SLURRED_FRAMES = 8  # a slur's own attack stands no further than this before the pitch it leads to
_STEADY_FRAMES = 4
_STEADY_SEMITONES = 0.3
_NEAR_SEMITONES = 5.5  # a grace lies within a hand's reach of the note it decorates
_OWN_PITCH = 0.6  # semitones: nearer than this it is the late note itself
_NEARLY = 0.12
_CLEAR, _CLEAR_ALONE = 0.3, 0.15  # depth of the trough: with a note to compare with, and without


def with_short_notes(window: ShortWindow, pitch: FloatArray, attacks: Frames, hop: int) -> FloatArray:
    """Fill in the pitch of short sounds.

    Parameters
    ----------
    window : ShortWindow
    pitch : ndarray of float64, shape (n,)
        Semitones, NaN where the tracker found none.
    attacks : ndarray of int64, shape (k,)
        Frames at which a sound may begin, in order.
    hop : int
        Samples between frames.

    Returns
    -------
    ndarray of float64, shape (n,)
    """
    filled = pitch.copy()
    voiced = np.flatnonzero(~np.isnan(pitch))
    bounds = np.append(attacks[1:], len(pitch))
    for attack, bound in zip(attacks.tolist(), bounds.tolist(), strict=True):
        after = voiced[np.searchsorted(voiced, attack + _NOISE_FRAMES) :]
        sounds = int(after[0]) if len(after) else len(pitch)
        stop = min(bound, sounds)
        if not _LATE_FRAMES <= stop - attack <= _LONGEST_FRAMES:
            continue
        decorates = sounds - stop <= _SLURRED_FRAMES and sounds < len(pitch)
        near = float(np.nanmedian(pitch[sounds : sounds + 6])) if decorates else None
        frames = np.arange(attack + 1, stop)
        short = _steady_stretch(*window.look(frames * hop, near), near)
        if short is not None:
            begin, end, level = short
            filled[frames[begin:end]] = level
    return filled


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
            period = self.rate_hz / (self.reference_hz * 2 ** ((near - 69) / 12))
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


def _first_trough(lags: npt.NDArray[np.float32]) -> Frames:
    """Column of the first trough that is nearly as deep as the deepest: a multiple of the period is not taken for it."""
    trough = np.zeros(lags.shape, bool)
    trough[:, 1:-1] = (lags[:, 1:-1] <= lags[:, :-2]) & (lags[:, 1:-1] < lags[:, 2:])
    deep = trough & (lags <= lags.min(axis=1, keepdims=True) + _NEARLY)
    return np.where(deep.any(axis=1), deep.argmax(axis=1), lags.argmin(axis=1))


def _steady_stretch(
    semitones: FloatArray, depth: FloatArray, near: float | None
) -> tuple[int, int, float] | None:
    """First and last frame, and level, of the longest stretch that stands still and is clear enough."""
    best: tuple[int, int, float] | None = None
    begin = 0
    for end in range(1, len(semitones) + 1):
        stands = end < len(semitones) and abs(semitones[end] - np.median(semitones[begin:end])) <= _STEADY_SEMITONES
        if stands:
            continue
        length = end - begin
        level = float(np.median(semitones[begin:end]))
        clear = float(np.min(depth[begin:end])) <= (_CLEAR_ALONE if near is None else _CLEAR)
        other = near is None or abs(level - near) >= _OWN_PITCH
        if length >= _STEADY_FRAMES and clear and other and (best is None or length > best[1] - best[0]):
            best = (begin, end, level)
        begin = end
    return best
