"""What an alignment comes to: where each wanted note was played, and at what pace each pass went."""

from __future__ import annotations

from dataclasses import dataclass

from transcriber.practice.pace import Pace


@dataclass(frozen=True)
class Found:
    """A wanted note as found: number of the played note (None: found by a second look), time and pass."""

    played: int | None
    onset_s: float
    passage: int


@dataclass(frozen=True)
class PassPace:
    """Wanted notes of one pass in order, and where they were due."""

    numbers: tuple[int, ...]
    pace: Pace

    def of(self, number: int) -> tuple[float, float]:
        """Time due and beat of one note, seconds."""
        place = self.numbers.index(number)
        return float(self.pace.due_s[place]), float(self.pace.beat_s[place])
