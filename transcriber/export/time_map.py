"""The tempo map of a MIDI file: where written positions and played times meet.

Written positions are ticks, played times seconds in the recording. Between two knots (a tick and its time)
the tempo is constant. Every event is a knot, so that it stands where it is written and sounds when it was
played; beats without an event are knots too where they fit between. Time 0 is the start of the recording:
the time before the first written beat is filled by a lead-in bar of as many beats as come nearest to the
tempo.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from math import ceil, floor

from transcriber.draft.document import Draft
from transcriber.export.score import Event

TICKS_PER_QUARTER = 960

LONGEST_TEMPO_US = 0xFFFFFF
SHORTEST_TEMPO_US = 2000
"""Bounds of microseconds in a quarter: what a tempo event can hold, and a guard against a jump."""

TOLERANCE_S = 0.0002
"""A tempo is kept as long as it meets the next knot this exactly."""

BEAT_TEMPO_RATIO = 3.0
"""A beat without an event is left out where it would need a tempo this many times off its neighbours'."""


@dataclass(frozen=True)
class Knot:
    """A tick and the time in seconds at which it sounds."""

    tick: int
    time_s: float


@dataclass(frozen=True)
class TimeMap:
    """Tempo map of one draft.

    Attributes
    ----------
    knots : tuple of Knot
        Ascending in both; the first is tick 0 at time 0.
    lead_in_beats : int
        Beats of the bar before the first written beat, 0 for none.
    first_beat : int
        Written beat (denominator beats from beat 1 of bar 1) at which the score begins.
    ticks_per_beat : Fraction
        Ticks in one denominator beat.
    """

    knots: tuple[Knot, ...]
    lead_in_beats: int
    first_beat: int
    ticks_per_beat: Fraction

    def tick_of(self, start: Fraction) -> int:
        """Tick of a written position."""
        return round((start - self.first_beat + self.lead_in_beats) * self.ticks_per_beat)

    def tick_at(self, time_s: float) -> int:
        """Tick at a played time; never less than 0."""
        place = bisect_right([knot.time_s for knot in self.knots], time_s) - 1
        place = min(max(place, 0), len(self.knots) - 2)
        here, there = self.knots[place], self.knots[place + 1]
        pace = (there.tick - here.tick) / (there.time_s - here.time_s)
        return max(0, round(here.tick + (time_s - here.time_s) * pace))

    def tempos(self) -> tuple[tuple[int, int], ...]:
        """Tempo events as (tick, microseconds in a quarter), each only where the tempo must change."""
        found: list[tuple[int, int]] = []
        reached = 0.0
        tempo = 0
        for here, there in pairwise(self.knots):
            quarters = (there.tick - here.tick) / TICKS_PER_QUARTER
            if abs(reached + quarters * tempo * 1e-6 - there.time_s) > TOLERANCE_S:
                tempo = round((there.time_s - reached) * 1e6 / quarters)
                found.append((here.tick, tempo))
            reached += quarters * tempo * 1e-6
        return tuple(found)


def time_map(draft: Draft, events: tuple[Event, ...]) -> TimeMap:
    """Build the tempo map of a draft.

    Parameters
    ----------
    draft : Draft
    events : tuple of Event
        What is written, in order.

    Returns
    -------
    TimeMap
    """
    timing = draft.timing
    beat_s = 60.0 / (timing.tempo_bpm * timing.meter.tap)
    first = _first_beat(draft, events)
    begins_s = timing.time_of(Fraction(first))
    lead = max(1, round(begins_s / beat_s)) if begins_s > 0 else 0
    shell = TimeMap((), lead, first, Fraction(4 * TICKS_PER_QUARTER, timing.meter.unit))
    played = _played(shell, events)
    last_written = max([first + 1, *(ceil(event.start + event.length) for event in events)])
    beats = [
        Knot(shell.tick_of(Fraction(beat)), timing.time_of(Fraction(beat)))
        for beat in range(first, last_written + 1)
    ]
    knots = _merge([Knot(0, 0.0), *played], beats, beat_s / float(shell.ticks_per_beat))
    if len(knots) == 1:
        knots.append(Knot(TICKS_PER_QUARTER, beat_s * TICKS_PER_QUARTER / float(shell.ticks_per_beat)))
    return TimeMap(tuple(knots), lead, first, shell.ticks_per_beat)


def _first_beat(draft: Draft, events: tuple[Event, ...]) -> int:
    """Beat at which the score begins: bar 1, or the first event if that is earlier or bar 1 is cut off."""
    if not events:
        return 0
    own = floor(events[0].start)
    return 0 if own >= 0 and draft.timing.time_of(Fraction(0)) > 0 else own


def _played(shell: TimeMap, events: tuple[Event, ...]) -> list[Knot]:
    """Knots of the events, leaving out any that would need an impossible tempo."""
    kept = [Knot(0, 0.0)]
    for event in events:
        knot = Knot(shell.tick_of(event.start), min(note.onset_s for note in event.notes))
        if _possible(kept[-1], knot):
            kept.append(knot)
    return kept[1:]


def _possible(here: Knot, there: Knot) -> bool:
    if there.tick <= here.tick or there.time_s <= here.time_s:
        return False
    tempo = (there.time_s - here.time_s) * 1e6 * TICKS_PER_QUARTER / (there.tick - here.tick)
    return SHORTEST_TEMPO_US <= tempo <= LONGEST_TEMPO_US


def _merge(played: list[Knot], beats: list[Knot], pace: float) -> list[Knot]:
    """Add the beats that fit between the events; `pace` is seconds a tick at the draft's tempo."""
    merged = list(played)
    for beat in beats:
        place = bisect_right([knot.tick for knot in merged], beat.tick)
        before = merged[place - 1]
        after = merged[place] if place < len(merged) else None
        if before.tick < beat.tick and _steady(before, beat, pace) and _steady(beat, after, pace):
            merged.insert(place, beat)
    return merged


def _steady(here: Knot, there: Knot | None, pace: float) -> bool:
    if there is None:
        return True
    own = (there.time_s - here.time_s) / (there.tick - here.tick)
    return pace / BEAT_TEMPO_RATIO <= own <= pace * BEAT_TEMPO_RATIO
