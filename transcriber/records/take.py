"""A recording, decoded."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from transcriber.records.problem import Problem


@dataclass(frozen=True)
class Take:
    """The part of a recording that is to be drafted.

    Attributes
    ----------
    samples : ndarray of float32, shape (n,), read-only
        Mono sound at `sample_rate_hz`, DC removed, full scale at 1.0.
    sample_rate_hz : int
        Rate of `samples` (the working rate, 22,050 Hz).
    start_s : float
        Time in the file of ``samples[0]``, in seconds.
    file : str
        Name of the file, without its folder.
    sha256 : str
        Digest of the file's bytes.
    source_sample_rate_hz : int
        Rate at which the file was recorded.
    source_duration_s : float
        Length of the whole file in seconds.
    problems : tuple of Problem
        Clipping, hum, DC, silence and the like, as seen by the audio stage.
    """

    samples: npt.NDArray[np.float32]
    sample_rate_hz: int
    start_s: float
    file: str
    sha256: str
    source_sample_rate_hz: int
    source_duration_s: float
    problems: tuple[Problem, ...] = ()

    @property
    def end_s(self) -> float:
        """Time in the file just after the last sample, in seconds."""
        return self.start_s + len(self.samples) / self.sample_rate_hz
