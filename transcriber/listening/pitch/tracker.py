"""From sound to pitch track, block by block."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from transcriber.listening.pitch.candidates import Candidates, find_candidates
from transcriber.listening.pitch.decode import decode_path
from transcriber.listening.pitch.difference import difference_function, frame_starts, normalised_difference
from transcriber.listening.pitch.refine import refine_periods
from transcriber.listening.pitch.settings import PitchSettings
from transcriber.records.heard import PitchTrack

_BLOCK = 1024  # frames whose difference functions are held at once
_REFINE_LONGEST_LAG = 200.0  # samples: 9 ms, short against the quickest bend
_REFERENCE_LAG = 128  # samples: a frame is centred for this period


def track_pitch(
    samples: npt.NDArray[np.float32], settings: PitchSettings | None = None, start_s: float = 0.0
) -> PitchTrack:
    """Track the pitch of a line of single notes.

    Parameters
    ----------
    samples : ndarray of float32, shape (n,)
        Mono sound at ``settings.sample_rate_hz``.
    settings : PitchSettings, optional
    start_s : float
        Time of the first sample in the file, in seconds.

    Returns
    -------
    PitchTrack
        One frame every ``settings.hop`` samples from the first sample on.

    Notes
    -----
    Difference function by FFT, probabilities by a distribution over YIN thresholds, decoding by a banded
    Viterbi search over pitch and voicing (Mauch and Dixon 2014), then refinement below the grid.
    """
    settings = settings or PitchSettings()
    lead = (settings.window + _REFERENCE_LAG) // 2
    centres = frame_starts(len(samples), settings.hop)
    padded = np.pad(samples.astype(np.float32, copy=False), (lead, settings.window + settings.longest_lag))
    level = _frame_levels(padded, centres, settings.window)
    quiet = level < level.max(initial=-200.0) + settings.silence_db

    found = _candidates(padded, centres, quiet, settings)
    bins, voiced = decode_path(found, len(centres), settings)
    guess, depth = _refined(padded, centres, bins, ~quiet, settings)
    frequency = np.where(voiced, guess, np.nan)
    probability = np.clip(1.0 - depth, 0.0, 1.0)
    times = start_s + centres / settings.sample_rate_hz
    for array in (times, frequency, guess, probability, level):
        array.flags.writeable = False
    return PitchTrack(times, frequency, guess, probability, level)


def _frame_levels(
    padded: npt.NDArray[np.float32], starts: npt.NDArray[np.int64], window: int
) -> npt.NDArray[np.float64]:
    """Level of each frame in dB below full scale."""
    stretches = np.lib.stride_tricks.sliding_window_view(padded, window)
    power = np.empty(len(starts))
    for block in _blocks(len(starts)):
        frames = stretches[starts[block]]
        power[block] = np.einsum("ij,ij->i", frames, frames, dtype=np.float64) / window
    return np.asarray(10 * np.log10(np.maximum(power, 1e-20)), np.float64)


def _blocks(n_frames: int) -> list[slice]:
    return [slice(begin, min(begin + _BLOCK, n_frames)) for begin in range(0, n_frames, _BLOCK)]


def _candidates(
    padded: npt.NDArray[np.float32],
    starts: npt.NDArray[np.int64],
    quiet: npt.NDArray[np.bool_],
    settings: PitchSettings,
) -> Candidates:
    """Candidates of all frames that are not silent."""
    parts = []
    for block in _blocks(len(starts)):
        frames = np.nonzero(~quiet[block])[0]
        if len(frames) == 0:
            continue
        difference = difference_function(padded, starts[block][frames], settings.window, settings.longest_lag)
        part = find_candidates(normalised_difference(difference), settings)
        parts.append(Candidates(frames[part.frame] + block.start, part.bin, part.probability))
    if not parts:
        empty = np.zeros(0, np.int64)
        return Candidates(empty, empty, np.zeros(0, np.float32))
    return Candidates(
        np.concatenate([part.frame for part in parts]),
        np.concatenate([part.bin for part in parts]),
        np.concatenate([part.probability for part in parts]),
    )


def _refined(
    padded: npt.NDArray[np.float32],
    starts: npt.NDArray[np.int64],
    bins: npt.NDArray[np.int64],
    sounding: npt.NDArray[np.bool_],
    settings: PitchSettings,
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Frequency of every sounding frame (NaN elsewhere), and the depth of its trough (1 elsewhere)."""
    frequency = np.full(len(bins), np.nan)
    depth = np.ones(len(bins))
    grid = settings.lowest_hz * 2 ** (bins / (12 * settings.bins_per_semitone))
    for block in _blocks(len(bins)):
        frames = np.nonzero(sounding[block])[0] + block.start
        if len(frames) == 0:
            continue
        difference = normalised_difference(
            difference_function(padded, starts[frames], settings.window, settings.longest_lag)
        )
        period, deep = refine_periods(
            difference, settings.sample_rate_hz / grid[frames], _REFINE_LONGEST_LAG, settings.shortest_lag
        )
        # A pitch that wanders off the decoded bin was refined to another trough: then the grid is right.
        found = settings.sample_rate_hz / period
        strays = np.abs(np.log2(found / grid[frames])) > 1 / 12
        frequency[frames] = np.where(strays, grid[frames], found)
        depth[frames] = deep
    return frequency, depth
