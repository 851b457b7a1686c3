"""Settings of the pitch tracker."""

from __future__ import annotations

import math
from dataclasses import dataclass

from transcriber.errors import UsageError


@dataclass(frozen=True)
class PitchSettings:
    """How the pitch tracker looks at the sound.

    Attributes
    ----------
    sample_rate_hz : int
    hop : int
        Samples between frames.
    window : int
        Samples over which a stretch is compared with its shifted self (YIN's integration window).
    lowest_hz, highest_hz : float
        Range of fundamental frequencies.
    bins_per_semitone : int
        Resolution of the decoder's pitch grid; the track itself is refined below it.
    threshold_mean : float
        Mean of the beta distribution over YIN thresholds, 0 to 1.
    threshold_shape : float
        First parameter of that beta distribution.
    octave_floor : float
        Share of the unassigned probability that goes to the deepest trough.
    glide_bins : int
        Widest step of the pitch between two frames, in bins, that is not a note change.
    glide_cost, jump_cost, voicing_cost : float
        Negative log probabilities: a glide of `glide_bins`, a jump to any other pitch, and a change
        between voiced and unvoiced.
    silence_db : float
        Frames quieter than this, against the take's loudest, have no pitch.
    """

    sample_rate_hz: int = 22_050
    hop: int = 128
    window: int = 664
    lowest_hz: float = 61.0
    highest_hz: float = 1_760.0
    bins_per_semitone: int = 10
    threshold_mean: float = 0.12
    threshold_shape: float = 2.0
    octave_floor: float = 0.02
    glide_bins: int = 5
    glide_cost: float = 1.5
    jump_cost: float = 6.0
    voicing_cost: float = 3.5
    silence_db: float = -58.0

    def __post_init__(self) -> None:
        if not 0 < self.lowest_hz < self.highest_hz:
            raise UsageError(
                f"pitch range {self.lowest_hz:g} to {self.highest_hz:g} Hz is empty; "
                "the lowest must be above 0 and below the highest"
            )
        if self.highest_hz > self.sample_rate_hz / 6:
            raise UsageError(
                f"highest pitch {self.highest_hz:g} Hz is too high for {self.sample_rate_hz} Hz sound; "
                f"at most {self.sample_rate_hz / 6:g} Hz works"
            )
        if self.hop < 1 or self.window < 16:
            raise UsageError(f"hop {self.hop} and window {self.window} must be at least 1 and 16 samples")

    @property
    def longest_lag(self) -> int:
        """Lag of the lowest pitch, in samples, with room for interpolation."""
        return math.ceil(self.sample_rate_hz / self.lowest_hz) + 2

    @property
    def shortest_lag(self) -> int:
        """Lag of the highest pitch, in samples."""
        return max(2, math.floor(self.sample_rate_hz / self.highest_hz))

    @property
    def bins(self) -> int:
        """Number of pitches on the decoder's grid."""
        return math.floor(12 * math.log2(self.highest_hz / self.lowest_hz) * self.bins_per_semitone) + 1
