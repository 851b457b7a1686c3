"""The gate: a recording goes in, one mono `Take` at the working rate comes out.

The file is read twice in blocks, so that memory does not grow with its rate or channels: once to survey
levels, offset, clipping and how the channels agree, once to mix and resample. What is wrong with the
recording but can be lived with is reported as `Problem`; the rest is refused with `AudioError`.
"""

from transcriber.audio.reading import read_take
from transcriber.audio.whole import read_whole

__all__ = ["read_take", "read_whole"]
