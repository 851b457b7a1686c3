"""A recording as it sounds, for hearing it again."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt


@dataclass(frozen=True)
class WholeRecording:
    """A recording, its channels averaged.

    Attributes
    ----------
    samples : ndarray of float32, shape (n,), read-only
        Full scale at 1.0.
    sample_rate_hz : int
    sha256 : str
        Digest of the file.
    """

    samples: npt.NDArray[np.float32]
    sample_rate_hz: int
    sha256: str

    def part(self, start_s: float, end_s: float) -> npt.NDArray[np.float32]:
        """Return the samples from one time to another; zeros where they lie outside the recording."""
        first, stop = round(start_s * self.sample_rate_hz), round(end_s * self.sample_rate_hz)
        out = np.zeros(max(1, stop - first), dtype=np.float32)
        low, high = max(first, 0), min(stop, len(self.samples))
        if low < high:
            out[low - first : high - first] = self.samples[low:high]
        return out
