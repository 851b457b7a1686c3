"""Standard MIDI file (type 1): the written rhythm, sounding as it was played.

Conventions: SMF 1.0, General MIDI. One track holds tempo, meter, key and phrases, the other the guitar, which
sounds at `pitch_midi` as it stands. Bends are pitch-wheel events whose range is set by RPN 0,0; the wheel is
put back just before the next note begins, not where a note ends, so that no string is heard to slip back.
A note lasts as long as it sounded.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass

import mido

from transcriber.draft.document import Draft, DraftNote
from transcriber.export.pitch_wheel import WheelEvent, bend_range, bending_notes, wheel_events
from transcriber.export.score import score_of
from transcriber.export.time_map import TICKS_PER_QUARTER, TimeMap, time_map

PROGRAM_CLEAN_GUITAR = 28
"""General MIDI, counted from 1."""

CHANNEL = 0

MAJOR_KEYS = ("C", "G", "D", "A", "E", "B", "F#", "C#", "F", "Bb", "Eb", "Ab", "Db", "Gb", "Cb")
MINOR_KEYS = ("A", "E", "B", "F#", "C#", "G#", "D#", "A#", "D", "G", "C", "F", "Bb", "Eb", "Ab")
KEYS = frozenset(MAJOR_KEYS + tuple(f"{tonic}m" for tonic in MINOR_KEYS))
"""Key signatures that a MIDI file can hold."""

_OFF, _CONTROL, _WHEEL, _ON = range(4)


@dataclass(frozen=True)
class _Timed:
    """A message with its tick; `order` sorts those on one tick."""

    tick: int
    order: int
    message: mido.Message


@dataclass(frozen=True)
class _Sounding:
    note: DraftNote
    pitch: int
    on: int
    off: int


def midi_bytes(draft: Draft) -> bytes:
    """Write a draft as a standard MIDI file.

    Parameters
    ----------
    draft : Draft

    Returns
    -------
    bytes
        The same for the same draft. Time 0 of the file is the start of the recording.

    Raises
    ------
    DraftError
        If a position or length of the draft cannot be written.
    """
    events = score_of(draft).events
    times = time_map(draft, events)
    written = {note.id: times.tick_of(event.start) for event in events for note in event.notes}
    file = mido.MidiFile(type=1, ticks_per_beat=TICKS_PER_QUARTER, charset="utf-8")
    file.tracks.append(_conductor(draft, times))
    file.tracks.append(_guitar(draft, times, written))
    buffer = io.BytesIO()
    file.save(file=buffer)
    return buffer.getvalue()


def _conductor(draft: Draft, times: TimeMap) -> mido.MidiTrack:
    """Name, meter, key, tempo map and phrases."""
    meta = mido.MetaMessage
    timed = [_Timed(0, _OFF, meta("track_name", name=_text(draft.source.file)))]
    timed += [
        _Timed(tick, _CONTROL, meta("time_signature", numerator=beats, denominator=draft.meter.unit))
        for tick, beats in _meters(draft, times)
    ]
    if draft.key is not None:
        name = draft.key.tonic + ("m" if draft.key.mode == "minor" else "")
        if draft.key.mode in ("major", "minor") and name in KEYS:
            timed.append(_Timed(0, _WHEEL, meta("key_signature", key=name)))
    timed += [_Timed(tick, _WHEEL, meta("set_tempo", tempo=tempo)) for tick, tempo in times.tempos()]
    timed += [
        _Timed(times.tick_at(phrase.start_s), _ON, meta("marker", text=_text(phrase.name)))
        for phrase in draft.phrases
        if phrase.name
    ]
    return _track(timed)


def _meters(draft: Draft, times: TimeMap) -> list[tuple[int, int]]:
    """Meters as (tick, beats): the lead-in bar, an incomplete first bar, then the meter itself."""
    beats = draft.meter.beats
    found = []
    tick = 0
    for part in (times.lead_in_beats, -times.first_beat % beats):
        if part:
            found.append((tick, min(part, 255)))
            tick += round(part * times.ticks_per_beat)
    return [*found, (tick, beats)]


def _guitar(draft: Draft, times: TimeMap, written: dict[str, int]) -> mido.MidiTrack:
    bending = bending_notes(draft)
    span = bend_range([note for note in draft.notes if note.id in bending])
    timed = [_Timed(0, _OFF, mido.MetaMessage("track_name", name=_text(draft.instrument.name)))]
    timed += [_Timed(0, _CONTROL, message) for message in _setup(span)]
    sounding = _cut([_sound(draft, note, times, written) for note in draft.notes])
    for one in sounding:
        on = {"note": one.pitch, "velocity": one.note.velocity, "channel": CHANNEL}
        timed.append(_Timed(one.on, _ON, mido.Message("note_on", **on)))
        off = {"note": one.pitch, "velocity": 0, "channel": CHANNEL}
        timed.append(_Timed(one.off, _OFF, mido.Message("note_off", **off)))
    timed += _wheel(sounding, times, bending, span)
    return _track(timed)


def _setup(span: int) -> list[mido.Message]:
    """Program, and pitch-bend range by registered parameter 0,0 (MIDI 1.0), closed by the null parameter."""
    controls = ((101, 0), (100, 0), (6, span), (38, 0), (101, 127), (100, 127))
    program = mido.Message("program_change", program=PROGRAM_CLEAN_GUITAR - 1, channel=CHANNEL)
    return [program] + [
        mido.Message("control_change", control=number, value=value, channel=CHANNEL)
        for number, value in controls
    ]


def _sound(draft: Draft, note: DraftNote, times: TimeMap, written: dict[str, int]) -> _Sounding:
    """Place a note: at its written tick where the tempo map meets its onset there, else where it sounded."""
    played = times.tick_at(note.onset_s)
    on = written.get(note.id, played)
    if abs(on - played) > 1:
        on = played
    return _Sounding(note, _pitch(draft, note), on, max(on + 1, times.tick_at(note.end_s)))


def _pitch(draft: Draft, note: DraftNote) -> int:
    """Pitch to play; a dead note without one is played at its place, or on the lowest string."""
    if note.pitch_midi is not None:
        return note.pitch_midi
    guitar = draft.instrument.fretted
    return guitar.open_midi(note.string or len(guitar.tuning_midi)) + (note.fret or 0)


def _cut(sounding: list[_Sounding]) -> list[_Sounding]:
    """End a note where the same pitch begins again: one channel cannot hold it twice."""
    cut: list[_Sounding] = []
    following: dict[int, int] = {}
    for one in sorted(sounding, key=lambda one: (one.on, one.note.id), reverse=True):
        off = min(one.off, following.get(one.pitch, one.off))
        if off > one.on:
            cut.append(_Sounding(one.note, one.pitch, one.on, off))
            following[one.pitch] = one.on
    return cut[::-1]


def _wheel(sounding: list[_Sounding], times: TimeMap, bending: frozenset[str], span: int) -> list[_Timed]:
    timed: list[_Timed] = []
    value = 0
    for place, one in enumerate(sounding):
        later = sounding[place + 1].on if place + 1 < len(sounding) else None
        events: Sequence[WheelEvent] = ()
        if one.note.id in bending:
            events = wheel_events(one.note.contour, one.note.end_s, span)
        start = events[0].value if events else 0
        moves = [(one.on, start)]
        moves += [(max(one.on, times.tick_at(event.time_s)), event.value) for event in events[1:]]
        for tick, wanted in moves:
            if wanted != value and (later is None or tick < later or tick == one.on):
                timed.append(_Timed(tick, _WHEEL, mido.Message("pitchwheel", pitch=wanted, channel=CHANNEL)))
                value = wanted
    return timed


def _track(timed: list[_Timed]) -> mido.MidiTrack:
    """Sort messages and turn ticks into waiting times."""
    track = mido.MidiTrack()
    here = 0
    for one in sorted(timed, key=lambda one: (one.tick, one.order)):
        track.append(one.message.copy(time=one.tick - here))
        here = one.tick
    track.append(mido.MetaMessage("end_of_track", time=0))
    return track


def _text(words: str) -> str:
    return "".join(char if char.isprintable() else " " for char in words)
