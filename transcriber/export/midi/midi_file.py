"""Standard MIDI file (type 1): the draft as it was played or as it is written.

Conventions: SMF 1.0, MIDI 1.0, General MIDI, MPE 1.0 (lower zone). One track holds tempo, meter, key, phrases
and words, the other the guitar, which sounds at `pitch_midi` as it stands. Bends are pitch-wheel events whose
range is set by RPN 0,0; the wheel is put back just before the next note of the channel begins, not where a
note ends, so that no string is heard to slip back.
"""

from __future__ import annotations

import io
from dataclasses import dataclass

import mido

from transcriber.draft.document import Draft
from transcriber.export.midi.sounding import (
    CHANNELS,
    Clock,
    Sounding,
    channel_of,
    semitone_range_of,
    sounding_notes,
)
from transcriber.export.midi.time_map import TICKS_PER_QUARTER, TimeMap, played_map, written_map
from transcriber.export.pitch_names import fifths_of
from transcriber.export.plain_words import one_line
from transcriber.export.sound import midi_program
from transcriber.settings import MidiChannels, MidiSlurs, MidiTiming

MPE_RANGE = 48
"""Semitones that the wheel of a member channel covers, as MPE 1.0 has it unless told otherwise."""

MAJOR_KEYS = ("Cb", "Gb", "Db", "Ab", "Eb", "Bb", "F", "C", "G", "D", "A", "E", "B", "F#", "C#")
MINOR_KEYS = ("Ab", "Eb", "Bb", "F", "C", "G", "D", "A", "E", "B", "F#", "C#", "G#", "D#", "A#")
"""Keys by their signature, from seven flats to seven sharps."""

CLOCKS_IN_QUARTER = 24

_OFF, _CONTROL, _WHEEL, _ON = range(4)


@dataclass(frozen=True)
class MidiSettings:
    """How a MIDI file is written: see `ExportSettings`."""

    timing: MidiTiming = "played"
    channels: MidiChannels = "one"
    slurs: MidiSlurs = "struck"


@dataclass(frozen=True)
class _Timed:
    """A message with its tick; `order` sorts those on one tick."""

    tick: int
    order: int
    message: mido.Message


def midi_bytes(draft: Draft, settings: MidiSettings | None = None) -> bytes:
    """Write a draft as a standard MIDI file.

    Parameters
    ----------
    draft : Draft
    settings : MidiSettings, optional

    Returns
    -------
    bytes
        The same for the same draft. As played, time 0 of the file is the start of the recording; as written,
        the start of the first bar.
    """
    chosen = settings or MidiSettings()
    times = played_map(draft) if chosen.timing == "played" else written_map(draft)
    clock = Clock(draft, times, chosen.timing)
    span = MPE_RANGE if chosen.channels == "mpe" else semitone_range_of(draft, chosen.slurs)
    sounding = sounding_notes(draft, clock, chosen.channels, chosen.slurs, span)
    file = mido.MidiFile(type=1, ticks_per_beat=TICKS_PER_QUARTER, charset="utf-8")
    file.tracks.append(_conductor(draft, times, clock))
    file.tracks.append(_guitar(draft, sounding, chosen.channels, span))
    buffer = io.BytesIO()
    file.save(file=buffer)
    return buffer.getvalue()


def _conductor(draft: Draft, times: TimeMap, clock: Clock) -> mido.MidiTrack:
    """Name, meter, key, tempo map, phrases as markers, chords and remarks as texts."""
    meta = mido.MetaMessage
    timed = [_Timed(0, _OFF, meta("track_name", name=one_line(draft.source.file)))]
    click = min(255, CLOCKS_IN_QUARTER * 4 * draft.meter.tap // draft.meter.unit)
    for tick, beats in _meters(draft, times):
        signature = {"numerator": beats, "denominator": draft.meter.unit, "clocks_per_click": click}
        timed.append(_Timed(tick, _CONTROL, meta("time_signature", **signature)))
    if draft.key is not None:
        # MIDI knows major and minor only; another mode is written by its signature.
        place = fifths_of(draft.key) + len(MAJOR_KEYS) // 2
        name = MINOR_KEYS[place] + "m" if draft.key.mode == "minor" else MAJOR_KEYS[place]
        timed.append(_Timed(0, _WHEEL, meta("key_signature", key=name)))
    timed += [_Timed(one.tick, _WHEEL, meta("set_tempo", tempo=one.quarter_us)) for one in times.tempos]
    for phrase in draft.phrases:
        notes = draft.phrase_notes(phrase)
        if phrase.name and notes:
            timed.append(_Timed(clock.on(notes[0]), _ON, meta("marker", text=one_line(phrase.name))))
    for chord in draft.chords:
        tick = max(0, times.tick_of(chord.start(draft.meter)))
        timed.append(_Timed(tick, _ON, meta("text", text=one_line(chord.name))))
    for note in draft.notes:
        if note.remark:
            timed.append(_Timed(clock.on(note), _ON, meta("text", text=one_line(note.remark))))
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


def _guitar(
    draft: Draft, sounding: tuple[Sounding, ...], channels: MidiChannels, span: int
) -> mido.MidiTrack:
    timed = [_Timed(0, _OFF, mido.MetaMessage("track_name", name=one_line(draft.instrument.name)))]
    strings = len(draft.instrument.tuning_midi)
    used = sorted({CHANNELS[0], *(channel_of(note, channels, strings) for note in draft.notes)})
    if channels == "mpe":
        timed += _parameter(CHANNELS[0], 6, CHANNELS[min(strings + 1, len(CHANNELS) - 1)])
    for channel in used:
        program = mido.Message("program_change", program=midi_program(draft.instrument) - 1, channel=channel)
        timed.append(_Timed(0, _CONTROL, program))
        timed += _parameter(channel, 0, span)
    for one in sounding:
        keys = {"note": one.pitch, "channel": one.channel}
        timed.append(_Timed(one.on, _ON, mido.Message("note_on", velocity=one.notes[0].velocity, **keys)))
        timed.append(_Timed(one.off, _OFF, mido.Message("note_off", velocity=0, **keys)))
    for channel in used:
        timed += _wheel([one for one in sounding if one.channel == channel], channel)
    return _track(timed)


def _parameter(channel: int, number: int, value: int) -> list[_Timed]:
    """Set a registered parameter, closed by the null parameter (MIDI 1.0); 0: bend range, 6: MPE's zone."""
    controls = ((101, 0), (100, number), (6, value), (38, 0), (101, 127), (100, 127))
    return [
        _Timed(0, _CONTROL, mido.Message("control_change", control=control, value=set_to, channel=channel))
        for control, set_to in controls
    ]


def _wheel(sounding: list[Sounding], channel: int) -> list[_Timed]:
    """Wheel events of one channel, up to where its next note begins."""
    timed: list[_Timed] = []
    value = 0
    for place, one in enumerate(sounding):
        later = sounding[place + 1].on if place + 1 < len(sounding) else None
        for tick, wanted in one.wheel:
            if wanted != value and (later is None or tick < later or tick == one.on):
                message = mido.Message("pitchwheel", pitch=wanted, channel=channel)
                timed.append(_Timed(tick, _WHEEL, message))
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
