"""What the rhythm stage wrote: where each note stands in the bar and how long it is."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from transcriber.records.problem import Problem


@dataclass(frozen=True)
class Meter:
    """A time signature.

    Attributes
    ----------
    beats : int
        Upper figure: beats of the denominator in one bar.
    unit : int
        Lower figure: 4 for a quarter note, 8 for an eighth.
    """

    beats: int
    unit: int

    def __str__(self) -> str:
        return f"{self.beats}/{self.unit}"

    @property
    def compound(self) -> bool:
        """Whether three denominator beats make one tapped beat (6/8, 9/8, 12/8)."""
        return self.unit == 8 and self.beats % 3 == 0 and self.beats > 3

    @property
    def tap(self) -> int:
        """Denominator beats in one beat that people tap: 3 in compound meter, else 1."""
        return 3 if self.compound else 1


COMMON_TIME = Meter(4, 4)
"""What a line is taken to be in where nothing tells its meter."""


@dataclass(frozen=True)
class WrittenNote:
    """Position and length of one note, in denominator beats.

    Attributes
    ----------
    start : Fraction
        Beats from beat 1 of bar 1; negative in a pickup bar.
    length : Fraction
        Written length, ties added together, the rest after it not included; 0 for a grace.
    confidence : float
        0 to 1.
    """

    start: Fraction
    length: Fraction
    confidence: float

    def bar(self, meter: Meter) -> int:
        """Bar number: 1 is the first full bar, 0 a pickup bar."""
        return int(self.start // meter.beats) + 1

    def beat(self, meter: Meter) -> Fraction:
        """Beat within the bar, counted from 1."""
        return self.start % meter.beats + 1


@dataclass(frozen=True)
class Written:
    """Rhythm of a whole take.

    Attributes
    ----------
    notes : tuple of WrittenNote
        One for each heard note, in the same order.
    meter : Meter
    tempo_bpm : float
        Tapped beats a minute (dotted quarters in compound meter): the median over the take.
    beats_s : tuple of float
        Time of every denominator beat from `first_beat` on, seconds in the file, ascending.
    first_beat : int
        Beats from beat 1 of bar 1 of ``beats_s[0]`` (negative in a pickup bar).
    swing : float or None
        Long:short ratio, None where the eighths are straight.
    problems : tuple of Problem
    downbeat_confidence : float
        Probability that bars begin where they are written, 0 to 1.
    """

    notes: tuple[WrittenNote, ...]
    meter: Meter
    tempo_bpm: float
    beats_s: tuple[float, ...]
    first_beat: int
    swing: float | None = None
    problems: tuple[Problem, ...] = ()
    downbeat_confidence: float = 1.0
