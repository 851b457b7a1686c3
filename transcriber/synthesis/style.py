"""How a player plays: everything that stands between a written line and its performance."""

from __future__ import annotations

from dataclasses import dataclass, fields

from transcriber.errors import UsageError

# Bounds of every single-valued setting; outside them the result would not be playing any more.
_BOUNDS: dict[str, tuple[float, float]] = {
    "timing_sd_s": (0.0, 0.1),
    "tempo_drift": (0.0, 0.1),
    "lag_s": (-0.2, 0.2),
    "articulation": (0.2, 1.2),
    "vibrato_rate_hz": (2.0, 9.0),
    "vibrato_depth_semitones": (0.1, 2.0),
    "slide_s_per_fret": (0.005, 0.2),
    "slide_longest_s": (0.02, 1.0),
    "slur_s": (0.002, 0.03),
    "grace_s": (0.03, 0.15),
    "velocity_sd": (0.0, 40.0),
    "intonation_cents": (0.0, 30.0),
    "bend_error_cents": (0.0, 60.0),
    "lead_in_s": (0.0, 10.0),
}
_BEND_BOUNDS_S = (0.04, 1.5)


@dataclass(frozen=True)
class PlayingStyle:
    """Habits of a player. Spreads are standard deviations.

    Attributes
    ----------
    timing_sd_s : float
        Spread of each onset around its place, seconds.
    tempo_drift : float
        Relative spread of the slow walk of the tempo.
    lag_s : float
        Constant distance of the player behind (positive) or ahead of the beat, seconds.
    articulation : float
        Share of the written length that sounds before the note is damped.
    bend_s : tuple of float
        Shortest and longest time from the start of a bend or release to its target, seconds.
    vibrato_rate_hz, vibrato_depth_semitones : float
        Used where the line names none; depth is peak to peak.
    slide_s_per_fret, slide_longest_s : float
        Time a slide takes for each fret, and in all, seconds.
    slur_s : float
        Time a hammer-on or pull-off takes to change the pitch, seconds.
    grace_s : float
        Time a grace note sounds before the note it decorates, seconds.
    velocity_sd : float
        Spread of the velocity.
    intonation_cents : float
        Spread of fretted notes around their pitch.
    bend_error_cents : float
        Spread of bends around their target; no bend is further off than twice this.
    lead_in_s : float
        Silence before the beat in which the first note stands.

    Raises
    ------
    UsageError
        If a value is outside its bounds.
    """

    timing_sd_s: float = 0.008
    tempo_drift: float = 0.008
    lag_s: float = 0.0
    articulation: float = 0.95
    bend_s: tuple[float, float] = (0.12, 0.25)
    vibrato_rate_hz: float = 5.3
    vibrato_depth_semitones: float = 0.5
    slide_s_per_fret: float = 0.03
    slide_longest_s: float = 0.15
    slur_s: float = 0.008
    grace_s: float = 0.07
    velocity_sd: float = 6.0
    intonation_cents: float = 3.0
    bend_error_cents: float = 5.0
    lead_in_s: float = 0.4

    def __post_init__(self) -> None:
        for field in fields(self):
            if field.name in _BOUNDS:
                low, high = _BOUNDS[field.name]
                value = getattr(self, field.name)
                if not low <= value <= high:
                    raise UsageError(f"style: {field.name} is {value}; give {low:g} to {high:g}")
        low, high = _BEND_BOUNDS_S
        if len(self.bend_s) != 2 or not low <= self.bend_s[0] <= self.bend_s[1] <= high:
            raise UsageError(
                f"style: bend_s is {self.bend_s}; give shortest and longest, {low:g} to {high:g} s"
            )


EXACT = PlayingStyle(
    timing_sd_s=0.0,
    tempo_drift=0.0,
    velocity_sd=0.0,
    intonation_cents=0.0,
    bend_error_cents=0.0,
)
"""Plays every note where it is written; for tests and for hearing a draft."""
