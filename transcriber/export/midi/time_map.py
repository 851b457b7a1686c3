"""The tempo map of a MIDI file: ticks for seconds in the recording, or for written positions.

As played, time 0 is the start of the recording, and the beats found stand on the beats of the file: tempo
events at beats, and only where the tempo has left the beats by more than a few milliseconds. Notes lie where
they were played, early or late. The time before the first written beat is a lead-in bar of as many beats as
come nearest to the tempo. As written, there is one tempo, the first bar begins at tick 0 and notes lie where
they are written.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from itertools import pairwise
from math import ceil, floor

from transcriber.draft.document import Draft

TICKS_PER_QUARTER = 960

LONGEST_TEMPO_US = 0xFFFFFF
SHORTEST_TEMPO_US = 2000
"""Bounds of microseconds in a quarter: what a tempo event can hold, and a guard against a jump."""

TOLERANCE_S = 0.003
"""A tempo is kept as long as it meets the next beat this closely; notes are placed by the map."""

SPARE_BEATS = 1
"""Beats of the map after the last note has ended."""


@dataclass(frozen=True)
class Tempo:
    """From `tick`, reached at `time_s`, a quarter lasts `quarter_us` microseconds."""

    tick: int
    time_s: float
    quarter_us: int


@dataclass(frozen=True)
class TimeMap:
    """Tempo map of one draft.

    Attributes
    ----------
    tempos : tuple of Tempo
        Ascending; the first is tick 0 at time 0.
    lead_in_beats : int
        Beats of the bar before the first written beat, 0 for none.
    first_beat : int
        Written beat (denominator beats from beat 1 of bar 1) at which the score begins.
    ticks_per_beat : Fraction
        Ticks in one denominator beat.
    """

    tempos: tuple[Tempo, ...]
    lead_in_beats: int
    first_beat: int
    ticks_per_beat: Fraction

    @cached_property
    def _times_s(self) -> list[float]:
        return [tempo.time_s for tempo in self.tempos]

    def tick_of(self, start: Fraction) -> int:
        """Tick of a written position."""
        return round((start - self.first_beat + self.lead_in_beats) * self.ticks_per_beat)

    def tick_at(self, time_s: float) -> int:
        """Tick at a time of the file; never less than 0."""
        place = max(0, bisect_right(self._times_s, time_s) - 1)
        tempo = self.tempos[place]
        ticks = (time_s - tempo.time_s) * 1e6 / tempo.quarter_us * TICKS_PER_QUARTER
        return max(0, round(tempo.tick + ticks))


def written_map(draft: Draft) -> TimeMap:
    """One tempo, and the first bar at tick 0."""
    per_beat = _ticks_per_beat(draft)
    quarter_us = _bounded(_beat_s(draft) * 1e6 * TICKS_PER_QUARTER / float(per_beat))
    first = min([0, *(floor(note.start(draft.meter)) for note in draft.notes)])
    return TimeMap((Tempo(0, 0.0, quarter_us),), 0, first, per_beat)


def played_map(draft: Draft) -> TimeMap:
    """Map the recording's seconds so that the beats found are the file's beats."""
    timing = draft.timing
    first = _first_beat(draft)
    begins_s = timing.time_of(Fraction(first))
    lead = max(1, round(begins_s / _beat_s(draft))) if begins_s > 0 else 0
    shell = TimeMap((), lead, first, _ticks_per_beat(draft))
    ends_s = max([begins_s, timing.beats_s[-1], *(note.end_s for note in draft.notes)])
    beats = max(1, ceil((ends_s - begins_s) / _beat_s(draft)) + SPARE_BEATS)
    knots = [(0, 0.0)]
    for beat in range(first, first + beats + 1):
        tick, time_s = shell.tick_of(Fraction(beat)), timing.time_of(Fraction(beat))
        if _possible(knots[-1], (tick, time_s)):
            knots.append((tick, time_s))
    return TimeMap(_tempos(knots, draft), lead, first, shell.ticks_per_beat)


def _tempos(knots: list[tuple[int, float]], draft: Draft) -> tuple[Tempo, ...]:
    """Tempo events through the knots, each only where the one before would miss the next knot."""
    found: list[Tempo] = []
    reached = 0.0
    for (here, _), (there, due) in pairwise(knots):
        quarters = (there - here) / TICKS_PER_QUARTER
        if not found or abs(reached + quarters * found[-1].quarter_us * 1e-6 - due) > TOLERANCE_S:
            found.append(Tempo(here, reached, _bounded((due - reached) * 1e6 / quarters)))
        reached += quarters * found[-1].quarter_us * 1e-6
    return tuple(found) or written_map(draft).tempos


def _first_beat(draft: Draft) -> int:
    """Beat at which the score begins: bar 1, or the first note if that is earlier or bar 1 is cut off."""
    if not draft.notes:
        return 0
    own = floor(min(note.start(draft.meter) for note in draft.notes))
    return 0 if own >= 0 and draft.timing.time_of(Fraction(0)) > 0 else own


def _possible(here: tuple[int, float], there: tuple[int, float]) -> bool:
    if there[0] <= here[0] or there[1] <= here[1]:
        return False
    tempo = (there[1] - here[1]) * 1e6 * TICKS_PER_QUARTER / (there[0] - here[0])
    return SHORTEST_TEMPO_US <= tempo <= LONGEST_TEMPO_US


def _bounded(quarter_us: float) -> int:
    return min(max(round(quarter_us), SHORTEST_TEMPO_US), LONGEST_TEMPO_US)


def _beat_s(draft: Draft) -> float:
    """Seconds in a denominator beat at the draft's tempo."""
    return 60.0 / (draft.timing.tempo_bpm * draft.meter.tap)


def _ticks_per_beat(draft: Draft) -> Fraction:
    return Fraction(4 * TICKS_PER_QUARTER, draft.meter.unit)
