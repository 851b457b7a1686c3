"""What sounds when, on which channel: the notes of a draft as a MIDI instrument plays them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from transcriber.draft import Draft, DraftNote
from transcriber.export.layers import links
from transcriber.export.midi.pitch_wheel import (
    RANGES,
    WheelEvent,
    bending_notes,
    steady_points,
    wheel_events,
    wheel_value,
)
from transcriber.export.midi.time_map import TimeMap
from transcriber.settings import MidiChannels, MidiSlurs, MidiTiming

CHANNELS = (0, 1, 2, 3, 4, 5, 6, 7, 8, 10, 11, 12, 13, 14, 15)
"""Channels that are not General MIDI's percussion."""

GRACE_BEATS = Fraction(1, 8)
"""As written, a grace sounds for so many denominator beats before the note it decorates."""

STACCATO = Fraction(1, 2)
"""As written, a staccato note sounds for this share of its length."""

HELD_GAP_S = 0.06
"""A slurred note is joined to the one before only if that one stopped no earlier than this before it."""


@dataclass(frozen=True)
class Sounding:
    """One struck note and those that follow it without a new attack.

    Attributes
    ----------
    notes : tuple of DraftNote
        The struck note first.
    channel, pitch : int
    on, off : int
        Ticks.
    wheel : tuple of (int, int)
        Ticks and wheel positions, -8192 to 8191; the first is where the note begins.
    """

    notes: tuple[DraftNote, ...]
    channel: int
    pitch: int
    on: int
    off: int
    wheel: tuple[tuple[int, int], ...] = ((0, 0),)


class Clock:
    """Ticks of a note's beginning, end and of any time in it, as played or as written."""

    def __init__(self, draft: Draft, times: TimeMap, timing: MidiTiming) -> None:
        self._draft = draft
        self._times = times
        self._timing = timing
        self._before = _graces_left(draft)

    def on(self, note: DraftNote) -> int:
        """Tick at which a note begins."""
        if self._timing == "played":
            return self._times.tick_at(note.onset_s)
        start = note.start(self._draft.meter) - GRACE_BEATS * self._before.get(note.id, 0)
        return max(0, self._times.tick_of(start))

    def off(self, note: DraftNote) -> int:
        """Tick at which it stops, at least one after it began."""
        if self._timing == "played":
            return max(self.on(note) + 1, self._times.tick_at(note.end_s))
        length = note.length * (STACCATO if note.has("staccato") else 1) or GRACE_BEATS
        return self.on(note) + max(1, round(length * self._times.ticks_per_beat))

    def at(self, note: DraftNote, time_s: float) -> int:
        """Tick of a time in a note; as written, the note's time is stretched to its written length."""
        if self._timing == "played":
            return max(self.on(note), self._times.tick_at(time_s))
        share = (time_s - note.onset_s) / (note.end_s - note.onset_s)
        return self.on(note) + round(min(max(share, 0.0), 1.0) * (self.off(note) - self.on(note)))


def _graces_left(draft: Draft) -> dict[str, int]:
    """For each grace, how many graces (itself too) still come before its main note."""
    at_once: dict[Fraction, list[str]] = {}
    for note in draft.notes:
        if note.is_grace:
            at_once.setdefault(note.start(draft.meter), []).append(note.id)
    return {one: len(ids) - place for ids in at_once.values() for place, one in enumerate(ids)}


def sounding_notes(
    draft: Draft, clock: Clock, channels: MidiChannels, slurs: MidiSlurs, semitone_range: int
) -> tuple[Sounding, ...]:
    """All that sounds, in order of beginning."""
    bending = bending_notes(draft)
    found = []
    for chain in chains(draft, slurs, semitone_range):
        struck = chain[0]
        pitch = midi_pitch(draft, struck)
        wheel: list[tuple[int, int]] = []
        for note in chain:
            offset = midi_pitch(draft, note) - pitch
            wheel += _moves(note, offset, note.id in bending, clock, semitone_range)
        channel = channel_of(struck, channels, len(draft.instrument.tuning_midi))
        off = max(clock.off(chain[-1]), clock.on(struck) + 1)
        found.append(Sounding(chain, channel, pitch, clock.on(struck), off, tuple(wheel)))
    return tuple(_cut(sorted(found, key=lambda one: (one.on, one.notes[0].id))))


def _moves(
    note: DraftNote, offset: int, bent: bool, clock: Clock, semitone_range: int
) -> list[tuple[int, int]]:
    """Wheel positions of one note that sounds `offset` semitones over the struck pitch."""
    events: Sequence[WheelEvent] = ()
    if bent:
        events = wheel_events(note.contour, note.end_s, semitone_range, offset)
    if not events:
        return [(clock.on(note), wheel_value(offset, semitone_range))]
    first, *others = events
    return [(clock.on(note), first.value), *((clock.at(note, one.time_s), one.value) for one in others)]


def chains(draft: Draft, slurs: MidiSlurs, semitone_range: int) -> list[tuple[DraftNote, ...]]:
    """Notes by the attack they share: each alone, or slurred notes joined to the one they come from."""
    if slurs == "struck":
        return [(note,) for note in draft.notes]
    before = links(draft)
    by_last: dict[str, list[DraftNote]] = {}
    found: list[list[DraftNote]] = []
    for note in draft.notes:
        chain = by_last.pop(before.get(note.id, ""), None)
        if chain is None or not _joins(draft, chain, note, semitone_range):
            chain = []
            found.append(chain)
        chain.append(note)
        by_last[note.id] = chain
    return [tuple(chain) for chain in found]


def _joins(draft: Draft, chain: list[DraftNote], note: DraftNote, semitone_range: int) -> bool:
    """Whether a note is sounded by the left hand alone, and the wheel can reach it from the struck pitch."""
    slide = note.technique("slide")
    slurred = note.has("hammer_on", "pull_off") or (slide is not None and not slide.picked)
    rings = note.onset_s - chain[-1].end_s <= HELD_GAP_S
    away = abs(midi_pitch(draft, note) - midi_pitch(draft, chain[0]))
    return slurred and rings and away + _widest(note) <= semitone_range


def semitone_range_of(draft: Draft, slurs: MidiSlurs) -> int:
    """Smallest usual bend range, in semitones, that holds every contour and every joined slur."""
    bending = bending_notes(draft)
    widest = 0.0
    for chain in chains(draft, slurs, RANGES[-1]):
        struck = midi_pitch(draft, chain[0])
        for note in chain:
            away = abs(midi_pitch(draft, note) - struck)
            widest = max(widest, away + (_widest(note) if note.id in bending else 0.0))
    return next((one for one in RANGES if widest <= one), RANGES[-1])


def _widest(note: DraftNote) -> float:
    return max((abs(cents) / 100 for _, cents in steady_points(note.contour)), default=0.0)


def channel_of(note: DraftNote, channels: MidiChannels, strings: int) -> int:
    """Channel of a note, from 0: its string's own; a note without a place has one beside the strings."""
    if channels == "one":
        return CHANNELS[0]
    place = (note.string or strings + 1) - 1
    return CHANNELS[min(place + (channels == "mpe"), len(CHANNELS) - 1)]


def midi_pitch(draft: Draft, note: DraftNote) -> int:
    """Pitch to play; a dead note without one is played at its place, or on the lowest string."""
    if note.pitch_midi is not None:
        return note.pitch_midi
    guitar = draft.instrument.fretted
    return guitar.open_midi(note.string or len(guitar.tuning_midi)) + (note.fret or 0)


def _cut(sounding: list[Sounding]) -> list[Sounding]:
    """End a note where the same pitch begins again on its channel: one channel cannot hold it twice."""
    cut: list[Sounding] = []
    following: dict[tuple[int, int], int] = {}
    for one in reversed(sounding):
        key = (one.channel, one.pitch)
        off = min(one.off, following.get(key, one.off))
        if off > one.on:
            cut.append(replace(one, off=off))
            following[key] = one.on
    return cut[::-1]
