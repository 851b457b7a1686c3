"""The likeliest path through pitch and voicing: a banded Viterbi search.

From frame to frame the pitch stays within a narrow band (a bend, a slide, vibrato) at a cost that grows with
the distance, or jumps anywhere at one fixed cost (another note), or passes between voiced and unvoiced. Only
the band needs a search, which makes a step linear in the number of pitches.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from transcriber.listening.pitch.candidates import Candidates
from transcriber.listening.pitch.settings import PitchSettings

Float32 = npt.NDArray[np.float32]
_UNVOICED = -1
_FLOOR = 1e-5
_CHUNK = 3000
# Survivor paths meet within far fewer frames than this; decoding a chunk from this far beyond its end
# gives the path of the whole take while memory stays that of one chunk.
_LOOKAHEAD = 600


def decode_path(
    candidates: Candidates, n_frames: int, settings: PitchSettings
) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.bool_]]:
    """Find the likeliest path.

    Returns
    -------
    bins : ndarray of int64, shape (n_frames,)
        Pitch bin of each frame; where the path is unvoiced, the bin that would be likeliest were it voiced.
    voiced : ndarray of bool, shape (n_frames,)
    """
    bins = np.zeros(n_frames, np.int64)
    is_voiced = np.zeros(n_frames, bool)
    state: tuple[Float32, float] | None = None
    begin = 0
    while begin < n_frames:
        end = min(begin + _CHUNK, n_frames)
        seen = min(end + _LOOKAHEAD, n_frames)
        voiced, unvoiced = _observations(candidates, begin, seen, settings)
        scores, rests = _forward(voiced, unvoiced, state, settings)
        path, guesses = _backward(scores, rests, settings)
        is_voiced[begin:end] = path[: end - begin] != _UNVOICED
        bins[begin:end] = np.where(path == _UNVOICED, guesses, path)[: end - begin]
        last = end - begin - 1
        state = (scores[last], float(rests[last]))
        begin = end
    return bins, is_voiced


def _observations(
    candidates: Candidates, begin: int, end: int, settings: PitchSettings
) -> tuple[Float32, Float32]:
    """Log observation probabilities of frames begin..end: voiced (frames, bins) and unvoiced (frames,)."""
    low, high = np.searchsorted(candidates.frame, [begin, end])
    voiced = np.zeros((end - begin, settings.bins), np.float32)
    np.add.at(
        voiced,
        (candidates.frame[low:high] - begin, candidates.bin[low:high]),
        candidates.probability[low:high],
    )
    # A candidate also speaks for its neighbours, so that a path is not torn by the grid.
    spread = voiced.copy()
    spread[:, 1:] += 0.4 * voiced[:, :-1]
    spread[:, :-1] += 0.4 * voiced[:, 1:]
    unvoiced = np.clip(1.0 - voiced.sum(axis=1), _FLOOR, 1.0)
    return np.log(spread + _FLOOR), np.log(unvoiced)


def _glide_costs(settings: PitchSettings) -> Float32:
    """Log transition weights within the band, shape (2 * glide_bins + 1,)."""
    steps = np.abs(np.arange(-settings.glide_bins, settings.glide_bins + 1))
    return (-settings.glide_cost * steps / settings.glide_bins).astype(np.float32)


def _forward(
    voiced: Float32, unvoiced: Float32, state: tuple[Float32, float] | None, settings: PitchSettings
) -> tuple[Float32, Float32]:
    """Best log score of every state at every frame: (frames, bins) voiced and (frames,) unvoiced."""
    frames, bins = voiced.shape
    reach = settings.glide_bins
    weights = _glide_costs(settings)[:, None]
    padded = np.full(bins + 2 * reach, -np.inf, np.float32)
    inner = padded[reach : reach + bins]
    band = np.lib.stride_tricks.sliding_window_view(padded, bins)
    work = np.empty_like(band)
    scores = np.empty((frames, bins), np.float32)
    rests = np.empty(frames, np.float32)
    rest = 0.0
    inner[:] = -settings.voicing_cost
    if state is not None:
        inner[:], rest = state
    for t in range(frames):
        top = float(inner.max())
        np.add(band, weights, out=work)
        row = scores[t]
        np.maximum.reduce(work, axis=0, out=row)
        np.maximum(row, max(top - settings.jump_cost, rest - settings.voicing_cost), out=row)
        row += voiced[t]
        rest = max(rest, top - settings.voicing_cost) + float(unvoiced[t])
        # Scores are kept near zero so that single precision suffices for takes of any length.
        peak = max(float(row.max()), rest)
        row -= peak
        rest -= peak
        rests[t] = rest
        inner[:] = row
    return scores, rests


def _backward(
    scores: Float32, rests: Float32, settings: PitchSettings
) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]:
    """Follow the best path back from the last frame; also the best voiced bin of each frame."""
    frames, bins = scores.shape
    reach = settings.glide_bins
    weights = _glide_costs(settings)
    path = np.full(frames, _UNVOICED, np.int64)
    best = int(scores[-1].argmax())
    current = best if scores[-1, best] >= rests[-1] else _UNVOICED
    tops = scores.argmax(axis=1)
    path[-1] = current
    for t in range(frames - 2, -1, -1):
        top = int(tops[t])
        peak, rest = float(scores[t, top]), float(rests[t])
        if current == _UNVOICED:
            current = top if peak - settings.voicing_cost > rest else _UNVOICED
        else:
            low, high = max(current - reach, 0), min(current + reach + 1, bins)
            near = scores[t, low:high] + weights[low - current + reach : high - current + reach]
            nearest = int(near.argmax())
            options = (float(near[nearest]), peak - settings.jump_cost, rest - settings.voicing_cost)
            choice = options.index(max(options))
            current = (low + nearest, top, _UNVOICED)[choice]
        path[t] = current
    return path, tops
