"""Pitch of sounds too short for the tracker's window: graces, and notes of the quickest runs.

After an attack the tracker needs some 30 ms of one pitch. Where an attack is followed by no pitch for
longer than an attack's noise lasts, a window half as long looks again (YIN's difference function, de
Cheveigné and Kawahara 2002), and what it finds counts if it stands still.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from transcriber.listening.short_window import ShortWindow

FloatArray = npt.NDArray[np.float64]
Frames = npt.NDArray[np.int64]

_NOISE_FRAMES = 3  # frames after an attack that hold its noise alone
_LATE_FRAMES = 6  # an attack whose pitch comes later than this may hide a short note
_LONGEST_FRAMES = 26  # silence longer than this holds no note (150 ms)
_SLURRED_FRAMES = 8  # a slur's own attack stands no further than this before the pitch it leads to
_STEADY_FRAMES = 4
_STEADY_SEMITONES = 0.3
_OWN_PITCH = 0.6  # semitones: nearer than this it is the late note itself
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
    bounds = np.append(attacks, len(pitch))[1:]
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


def _steady_stretch(
    semitones: FloatArray, depth: FloatArray, near: float | None
) -> tuple[int, int, float] | None:
    """First and last frame, and level, of the longest stretch that stands still and is clear enough."""
    best: tuple[int, int, float] | None = None
    begin = 0
    for end in range(1, len(semitones) + 1):
        stands = (
            end < len(semitones)
            and abs(semitones[end] - np.median(semitones[begin:end])) <= _STEADY_SEMITONES
        )
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
