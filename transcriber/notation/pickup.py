"""A pickup whose length the player tells, but that is played freely: it says nothing about the beat."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np

from transcriber.notation.bars import RESOLUTION, Rival
from transcriber.notation.hypotheses import Reading
from transcriber.notation.line import Line
from transcriber.notation.vocabulary import FloatArray, IntArray

_STRETCH_SD = 0.25  # of the pickup's tempo about the line's, natural log
_PLACE_SD = 0.08  # tapped beats by which its notes are off an even pace
_FINER = 1.0  # nats a note for each finer grid
_CERTAINTY = 0.8
_HALVED = (2, 4, 3, 6)  # parts of a beat that divides in two, the usual first
_THIRDED = (3, 6, 9)


@dataclass(frozen=True)
class Lead:
    """The free notes before the beat sets in.

    Attributes
    ----------
    notes : int
        How many; the note after them is the first in tempo.
    seconds : float
        From the first of them to the first note in tempo.
    pickup : Fraction
        Denominator beats from the first of them to bar 1.
    """

    notes: int
    seconds: float
    pickup: Fraction

    @classmethod
    def before(cls, line: Line, notes: int, pickup: Fraction) -> Lead:
        """The first notes of a line."""
        return cls(notes, float(line.onsets_s[notes] - line.onsets_s[0]), pickup)

    def likelihood(self, rival: Rival, place: IntArray, tempo_bpm: float) -> float:
        """How well the free notes fit before a count of those in tempo, 0 to 1."""
        taps = max(rival.meter.beats // rival.meter.tap, 1)
        first = float(place[0]) / RESOLUTION
        return max(
            self._fit(bar_one - first, rival.meter.tap, 60.0 / tempo_bpm)
            for bar_one in (rival.shift, rival.shift - taps)
        )

    def bar_one(self, reading: Reading, shift: int, taps: int, tap: int, period_s: float) -> int:
        """Tapped beat on which bar 1 begins, of those a whole number of bars from `shift`."""
        first = float(reading.position[0])
        choices = [shift + bars * taps for bars in (0, -1, 1)]
        return max(choices, key=lambda beat: self._fit(beat - first, tap, period_s))

    def _fit(self, ahead: float, tap: int, period_s: float) -> float:
        """Likelihood of the pace at which the free notes reach a note so many beats before bar 1."""
        written = float(self.pickup) / tap - ahead
        if written <= 0:
            return 0.0
        return float(np.exp(-0.5 * (np.log(self.seconds / period_s / written) / _STRETCH_SD) ** 2))

    def joined(self, line: Line, body: Reading, bar_one: int, tap: int, ticks: int) -> Reading:
        """Put the free notes before the reading of those in tempo, the first as far from bar 1 as told.

        Those between are put where an even pace has them, on the plainest grid that fits.
        """
        first = round((bar_one - self.pickup / tap) * ticks)
        last = int(body.beat[0]) * ticks + int(body.tick[0])
        onsets = line.onsets_s[: self.notes + 1]
        even = first + (last - first) * (onsets - onsets[0]) / max(onsets[-1] - onsets[0], 1e-9)
        at, crowded = _placed(even, ticks)
        beat, tick = np.divmod(at, ticks)

        def after(head: np.ndarray, rest: np.ndarray) -> np.ndarray:
            return np.concatenate([head, rest])

        return replace(
            body,
            beat=after(beat, body.beat),
            tick=after(tick, body.tick),
            position=after(at / ticks, body.position),
            extra=after(crowded, body.extra),
            certainty=after(np.full(len(at), _CERTAINTY), body.certainty),
            free_notes=self.notes,
        )


def _placed(even: FloatArray, ticks: int) -> tuple[IntArray, np.ndarray]:
    """Ticks of all but the last of some places, ascending, and which of them find no room of their own."""
    best: tuple[float, IntArray] | None = None
    for number, parts in enumerate(_HALVED if ticks % 4 == 0 and ticks % 9 else _THIRDED):
        grid = ticks // parts
        at = np.rint(even[:-1] / grid).astype(np.int64) * grid
        at[0] = round(even[0])
        apart = np.diff(np.append(at, round(even[-1])))
        cost = 0.5 * float((((even[:-1] - at) / ticks / _PLACE_SD) ** 2).sum())
        cost += _FINER * number * len(at) + 100.0 * int((apart <= 0).sum())
        if best is None or cost < best[0]:
            best = cost, at
    assert best is not None
    at = np.maximum.accumulate(best[1])
    return at, np.diff(at, prepend=at[0] - 1) <= 0
