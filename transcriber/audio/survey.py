"""First pass over a recording: what each channel holds, in bounded memory."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from transcriber.audio.limits import CLIP_LEVEL, CLIP_RUN_SAMPLES, SURVEY_BLOCK_S
from transcriber.audio.source import Source, read_blocks
from transcriber.errors import AudioError

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Survey:
    """Statistics of B blocks of `block_frames` frames (the last may be shorter) in C channels.

    Attributes
    ----------
    frames : int
        Frames really read.
    block_frames : int
    offset : ndarray, shape (C,)
        Mean of each channel, full scale at 1.0.
    peak : ndarray, shape (C,)
        Largest absolute sample.
    moments : ndarray of float32, shape (B, C, C)
        Mean product of each pair of channels in each block, offset removed.
    clipped : ndarray, shape (B, C)
        Samples of each block that lie in runs at full scale.
    """

    frames: int
    block_frames: int
    offset: FloatArray
    peak: FloatArray
    moments: npt.NDArray[np.float32]
    clipped: npt.NDArray[np.int64]

    @property
    def clipped_share(self) -> FloatArray:
        """Share of each channel's samples that lie in runs at full scale, shape (C,)."""
        share: FloatArray = self.clipped.sum(axis=0) / max(1, self.frames)
        return share

    def mix_power(self, weights: FloatArray) -> FloatArray:
        """Mean square of a mix in each block, shape (B,): w' M w of each block's moments M."""
        power: FloatArray = np.einsum("i,bij,j->b", weights, self.moments, weights)
        return np.maximum(power, 0.0)


def survey_source(source: Source, start: int, stop: int) -> Survey:
    """Read frames `start` to `stop` once.

    Raises
    ------
    AudioError
        If a sample is not a finite number, or nothing can be read.
    """
    block_frames = max(1, round(source.sample_rate_hz * SURVEY_BLOCK_S))
    floor, ceiling = _clip_levels(source)
    means, products, clipped, counts = [], [], [], []
    peak = np.zeros(source.channels)
    frames = 0
    for wide in read_blocks(source, start, stop):
        block = wide.astype(np.float64)
        if not np.isfinite(block).all():
            at_s = (start + frames + int(np.argmin(np.isfinite(block).all(axis=1)))) / source.sample_rate_hz
            raise AudioError(
                f"'{source.path}' holds samples that are not numbers (NaN or infinite), "
                f"the first at {at_s:.3f} s; export it again as 16 or 24 bit"
            )
        magnitude = np.abs(block)
        peak = np.maximum(peak, magnitude.max(axis=0))
        in_runs = _in_clip_runs((magnitude >= floor) & (magnitude <= ceiling))
        for first in range(0, len(block), block_frames):
            part = block[first : first + block_frames]
            counts.append(len(part))
            means.append(part.mean(axis=0))
            products.append(part.T @ part / len(part))
            clipped.append(in_runs[first : first + block_frames].sum(axis=0))
        frames += len(block)
    if not frames:
        raise AudioError(f"'{source.path}' holds no sound that can be decoded; export it again")
    mean = np.asarray(means)
    offset = np.average(mean, axis=0, weights=counts)
    return Survey(
        frames=frames,
        block_frames=block_frames,
        offset=offset,
        peak=peak,
        moments=_centred(np.asarray(products), mean, offset),
        clipped=np.asarray(clipped, dtype=np.int64),
    )


def _clip_levels(source: Source) -> tuple[float, float]:
    """Lowest and highest magnitude that counts as full scale."""
    if source.float_samples:
        # Floats go on past full scale; what was clipped before it was stored stays at it.
        return CLIP_LEVEL, 2.0 - CLIP_LEVEL
    if source.sample_bits is None:
        return CLIP_LEVEL, np.inf
    # The highest positive PCM value is one step under full scale: 127/128 with 8 bits.
    return min(CLIP_LEVEL, 1.0 - 1.5 / 2 ** (source.sample_bits - 1)), np.inf


def _in_clip_runs(at_full_scale: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
    """Keep the samples that lie in runs of at least `CLIP_RUN_SAMPLES`; runs end with the read block."""
    if not at_full_scale.any() or len(at_full_scale) < CLIP_RUN_SAMPLES:
        return np.zeros_like(at_full_scale)
    span = len(at_full_scale) - CLIP_RUN_SAMPLES + 1
    starts = np.logical_and.reduce([at_full_scale[i : i + span] for i in range(CLIP_RUN_SAMPLES)])
    kept = np.zeros_like(at_full_scale)
    for i in range(CLIP_RUN_SAMPLES):
        kept[i : i + span] |= starts
    return kept


def _centred(products: FloatArray, means: FloatArray, offset: FloatArray) -> npt.NDArray[np.float32]:
    """Mean products about the channels' offsets: E[(x-a)(y-b)] = E[xy] - a E[y] - b E[x] + ab."""
    crossed = means[:, :, None] * offset[None, None, :]
    centred = products - crossed - crossed.transpose(0, 2, 1) + np.outer(offset, offset)
    return centred.astype(np.float32)
