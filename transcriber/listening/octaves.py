"""A slurred note that the tracker took an octave too high.

A string that was hammered, pulled off or slid rings on as it was picked, and where its new length leaves the
odd partials weak, half its period explains the sound nearly as well as the whole. Nearly: the difference
function (YIN, de Cheveigné and Kawahara 2002) is deeper at the whole period by far, while of a note that is
as high as it seems both are as deep.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from transcriber.listening.short_window import ShortWindow

FloatArray = npt.NDArray[np.float64]

_OCTAVE = 12.0
_FEWEST_FRAMES = 5
_SAME_PITCH = 0.5  # semitones between two frames of one note
_GAP_FRAMES = 12  # 70 ms: what is slurred follows at once
_LEAST_STEP, _FURTHEST_STEP = 0.5, 4.5  # semitones that a slur or slide goes from the note before
# Of 4,600 notes of the fit split that were heard right none came near; its octave slips were at .04 and .08
# with hardly anything left at the whole period.
_UNCLEAR, _CLEARER = 0.03, 0.25


def without_octave_slips(window: ShortWindow, pitch: FloatArray, hop: int) -> FloatArray:
    """Take stretches of pitch an octave down that follow a note near there and repeat only at that period.

    Parameters
    ----------
    window : ShortWindow
    pitch : ndarray of float64, shape (n,)
        Semitones, NaN where the tracker found none.
    hop : int
        Samples between frames.

    Returns
    -------
    ndarray of float64, shape (n,)
    """
    mended = pitch.copy()
    voiced = np.flatnonzero(~np.isnan(pitch))
    breaks = (np.diff(voiced) > 1) | (np.abs(np.diff(pitch[voiced])) > _SAME_PITCH)
    for run in np.split(voiced, np.flatnonzero(breaks) + 1):
        if len(run) < _FEWEST_FRAMES:
            continue
        before = mended[max(run[0] - _GAP_FRAMES, 0) : run[0]]
        known = before[~np.isnan(before)]
        lower = float(np.median(pitch[run])) - _OCTAVE
        if not len(known) or not _LEAST_STEP < np.abs(lower - known).max() <= _FURTHEST_STEP:
            continue
        if _repeats_lower(window, run * hop, lower):
            mended[run] -= _OCTAVE
    return mended


def _repeats_lower(window: ShortWindow, centres: npt.NDArray[np.int64], lower: float) -> bool:
    """Whether a stretch is clearly more periodic at a pitch than an octave above it."""
    _, seeming = window.look(centres, lower + _OCTAVE)
    _, whole = window.look(centres, lower)
    return bool(np.median(seeming) >= _UNCLEAR and np.median(whole) <= _CLEARER * np.median(seeming))
