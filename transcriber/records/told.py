"""What a player says about the rhythm of a take before it is written."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from transcriber.records.written import Meter


@dataclass(frozen=True)
class Told:
    """What is known; None is found by listening, or left alone.

    Attributes
    ----------
    tempo_bpm : (float, float) or None
        Lowest and highest tempo in tapped beats a minute; twice the same for one number.
    meter : Meter or None
    pickup : Fraction or None
        Denominator beats from the first note to bar 1; 0 for a line that begins in bar 1, be it after a rest.
    downbeat_s : float or None
        Time in the file at which a bar begins.
    count_in : int or None
        Clicks that lead to bar 1, one for each tapped beat.
    beats_s : tuple of float
        Times of tapped beats, ascending, seconds in the file.
    click : bool
        Whether a metronome sounds through the take, one click for each tapped beat.
    """

    tempo_bpm: tuple[float, float] | None = None
    meter: Meter | None = None
    pickup: Fraction | None = None
    downbeat_s: float | None = None
    count_in: int | None = None
    beats_s: tuple[float, ...] = ()
    click: bool = False
