"""A recording as it sounds, at its own rate: for hearing it again, not for listening stages."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from transcriber.audio.source import open_source, read_blocks
from transcriber.records.recording import WholeRecording


def read_whole(path: str | Path) -> WholeRecording:
    """Read all of a recording.

    Raises
    ------
    AudioError
        If it is missing, not sound, or out of the bounds of rate and channels.
    """
    source = open_source(path)
    blocks = [block.mean(axis=1, dtype=np.float32) for block in read_blocks(source, 0, source.frames)]
    samples = np.concatenate(blocks)
    samples.flags.writeable = False
    return WholeRecording(samples, source.sample_rate_hz, source.sha256)
