"""Pitch in semitones against the take's own tuning, and its unbroken runs."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import numpy.typing as npt

from transcriber.records.heard import PitchTrack

FloatArray = npt.NDArray[np.float64]
STANDARD_REFERENCE_HZ = 440.0
# A guess counts when it moves less than this many semitones a frame, at this clarity, for this many frames.
_GUESS_STEP, _GUESS_CLARITY, _GUESS_FRAMES = 0.12, 0.5, 5


def semitones(track: PitchTrack, reference_hz: float) -> FloatArray:
    """MIDI number (fractional) of each frame at a reference for MIDI 69; NaN where unvoiced."""
    return np.asarray(69 + 12 * np.log2(track.frequency_hz / reference_hz), np.float64)


def with_steady_guesses(
    track: PitchTrack, pitch: FloatArray, reference_hz: float, attacks: npt.NDArray[np.int64]
) -> FloatArray:
    """Take the tracker's guess where no pitch was found from one attack to the next, if it stands still.

    The noise of a hard pick hides the pitch from the decoder for up to 80 ms: a short note may be over then.

    Parameters
    ----------
    track : PitchTrack
    pitch : ndarray of float64, shape (n,)
        Semitones, NaN where unvoiced.
    reference_hz : float
    attacks : ndarray of int64, shape (k,)
        Frames of the clear attacks.

    Returns
    -------
    ndarray of float64, shape (n,)
        Semitones, NaN where there is neither.
    """
    guess = np.asarray(69 + 12 * np.log2(track.guess_hz / reference_hz), np.float64)
    still = np.zeros(len(guess), bool)
    still[1:] = np.abs(np.diff(guess)) < _GUESS_STEP
    still &= (track.voiced_probability > _GUESS_CLARITY) & np.isnan(pitch)
    edges = np.flatnonzero(np.diff(np.concatenate(([0], still.view(np.int8), [0]))))
    filled = pitch.copy()
    bounds = np.concatenate(([0], attacks, [len(pitch)]))
    for low, high in zip(edges[::2], edges[1::2], strict=True):
        nearest = int(np.searchsorted(attacks, low + 2, side="right"))
        sounding = pitch[bounds[nearest] + 2 : bounds[nearest + 1]]
        if high - low >= _GUESS_FRAMES and np.isnan(sounding).all():
            filled[low:high] = guess[low:high]
    return filled


def tuning_reference_hz(track: PitchTrack) -> float:
    """Estimate the take's own reference for MIDI 69, within half a semitone of 440 Hz.

    Only frames where the pitch stands still count, so that bends and vibrato do not pull it: the densest
    cluster of their distances from the nearest semitone is the tuning offset.

    Returns
    -------
    float
        Frequency in Hz; 440 if no frame stands still.
    """
    pitch = semitones(track, STANDARD_REFERENCE_HZ)
    still = np.abs(np.gradient(pitch)) < 0.01 if len(pitch) > 1 else np.zeros(len(pitch), bool)
    still &= track.voiced_probability > 0.8
    if not still.any():
        return STANDARD_REFERENCE_HZ
    angle = 2 * np.pi * pitch[still]
    # A von Mises kernel density on the circle of one semitone; its mode resists outliers.
    grid = np.linspace(-0.5, 0.5, 200, endpoint=False)
    counts, edges = np.histogram(np.mod(angle / (2 * np.pi) + 0.5, 1.0) - 0.5, bins=200, range=(-0.5, 0.5))
    centres = (edges[:-1] + edges[1:]) / 2
    kernel = np.exp(80 * (np.cos(2 * np.pi * (grid[:, None] - centres)) - 1))
    density = kernel @ counts
    peak = float(grid[int(density.argmax())])
    near = np.abs(np.mod(pitch[still] - peak + 0.5, 1.0) - 0.5) < 0.15
    residue = np.mod(pitch[still][near] - peak + 0.5, 1.0) - 0.5
    offset = peak + (float(np.median(residue)) if near.any() else 0.0)
    return float(STANDARD_REFERENCE_HZ * 2 ** (offset / 12))


def unbroken_runs(pitch: FloatArray, step: float) -> list[tuple[int, int]]:
    """Runs of voiced frames in which no two neighbours differ by more than `step` semitones.

    Returns
    -------
    list of (int, int)
        First frame and the frame after the last, in order.
    """
    voiced = ~np.isnan(pitch)
    joined = voiced[:-1] & voiced[1:]
    joined[joined] = np.abs(np.diff(pitch)[joined]) <= step
    breaks = np.nonzero(~joined)[0] + 1
    edges = np.concatenate(([0], breaks, [len(pitch)]))
    return [(int(low), int(high)) for low, high in pairwise(edges) if low < high and voiced[low]]
