"""MIDI: raw bytes against the standard, and the file re-read by pretty_midi against the draft."""

from __future__ import annotations

import io
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

import export_drafts as lines
import generated_drafts as generated
import mido
import pretty_midi
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from transcriber.draft import Contour, Draft, Key
from transcriber.export.midi import MidiSettings, midi_bytes
from transcriber.export.midi.pitch_wheel import STEP_S, steady_points, wheel_events, wheel_value
from transcriber.export.plain_words import one_line
from transcriber.records.written import Meter


def read(draft: Draft) -> pretty_midi.PrettyMIDI:
    return pretty_midi.PrettyMIDI(io.BytesIO(midi_bytes(draft)))


def messages(draft: Draft) -> list[mido.Message]:
    return list(mido.MidiFile(file=io.BytesIO(midi_bytes(draft))).tracks[1])


def humanised(draft: Draft, shifts: list[float]) -> Draft:
    """Move onsets off the beats, as a player does."""
    notes = []
    for place, note in enumerate(draft.notes):
        shift = shifts[place % len(shifts)]
        notes.append(
            replace(note, onset_s=round(note.onset_s + shift, 6), end_s=round(note.end_s + shift, 6))
        )
    return replace(draft, notes=tuple(notes))


@pytest.mark.parametrize(
    ("semitones", "span", "raw"),
    # Computed from MIDI 1.0: 14 bits, centre 8192; the highest value clips.
    [(1.0, 2, 12288), (2.0, 2, 16383), (2.0, 12, 9557), (0.0, 12, 8192), (-12.0, 12, 0), (-30.0, 12, 0)],
)
def test_wheel_values(semitones: float, span: int, raw: int) -> None:
    assert wheel_value(semitones, span) + 8192 == raw


def test_raw_bytes_of_header_range_and_program() -> None:
    data = midi_bytes(lines.techniques_line())
    assert data[:14] == b"MThd" + bytes([0, 0, 0, 6, 0, 1, 0, 2, 960 >> 8, 960 & 255])  # SMF 1.0, type 1
    assert bytes([0xC0, 27]) in data  # General MIDI: clean electric guitar is 28 counted from 1
    # RPN 0,0 (pitch-bend range), 12 semitones and 0 cents, then the null parameter (MIDI 1.0).
    controls = [one.bytes() for one in messages(lines.techniques_line()) if one.type == "control_change"]
    expected = [(101, 0), (100, 0), (6, 12), (38, 0), (101, 127), (100, 127)]
    assert controls == [[0xB0, number, value] for number, value in expected]


def test_wheel_bytes_are_least_significant_first() -> None:
    draft = lines.build([(0, "1", 2, 8, lines.tech("pre_bend", semitones=2.0))])
    wheel = next(one for one in messages(draft) if one.type == "pitchwheel")
    assert wheel.bytes() == [0xE0, 9557 & 127, 9557 >> 7]


@pytest.mark.parametrize(
    ("gap", "raw"),
    # SMF 1.0 (from memory): 0x80 -> 81 00, 0x3FFF -> FF 7F.
    [(0x80, bytes([0x81, 0x00])), (0x3FFF, bytes([0xFF, 0x7F]))],
)
def test_variable_length_numbers(gap: int, raw: bytes) -> None:
    """A note that ends so many ticks after it began: at one tick a millisecond."""
    draft = lines.build([(0, "1", 3, 5)], tempo_bpm=62.5)  # 960 ms a beat: a tick is a millisecond
    note = replace(draft.notes[0], end_s=draft.notes[0].onset_s + gap / 1000)
    data = midi_bytes(replace(draft, notes=(note,)))
    on = data.index(bytes([0x90, 60, 90]))
    assert data[on + 3 : on + 3 + len(raw)] == raw
    assert data[on + 3 + len(raw)] == 0x80


@pytest.mark.parametrize("name", sorted(lines.DRAFTS))
@pytest.mark.parametrize("shifts", [[0.0], [0.012, -0.021, 0.005, -0.003, 0.03, -0.027, 0.018]])
def test_notes_sound_when_they_were_played(name: str, shifts: list[float]) -> None:
    draft = humanised(lines.DRAFTS[name](), shifts)
    notes = sorted(read(draft).instruments[0].notes, key=lambda note: (note.start, note.pitch))
    wanted = sorted(draft.notes, key=lambda note: (note.onset_s, note.pitch_midi))
    assert [note.pitch for note in notes] == [note.pitch_midi for note in wanted]
    for note, want in zip(notes, wanted, strict=True):
        assert note.start == pytest.approx(want.onset_s, abs=0.002)
        assert note.velocity == want.velocity
        again = [one for one in wanted if one.pitch_midi == want.pitch_midi and one.onset_s > want.onset_s]
        end = min([want.end_s, *(one.onset_s for one in again)])
        assert note.end == pytest.approx(end, abs=0.002)


@settings(max_examples=40, deadline=None)
@given(st.lists(st.floats(-0.03, 0.03), min_size=1, max_size=12))
def test_as_written_notes_stand_on_the_grid_at_one_tempo(shifts: list[float]) -> None:
    draft = humanised(lines.straight_line(), shifts)
    written = midi_bytes(draft, MidiSettings("written"))
    ons = [tick for tick, one in ticked(written) if one.type == "note_on"]
    offs = [tick for tick, one in ticked(written) if one.type == "note_off"]
    assert ons == [note.start(draft.meter) * 960 for note in draft.notes]
    assert offs == [note.end(draft.meter) * 960 for note in draft.notes]
    conductor = mido.MidiFile(file=io.BytesIO(written)).tracks[0]
    tempos = [one.tempo for one in conductor if one.type == "set_tempo"]
    assert tempos == [round(60e6 / draft.timing.tempo_bpm)]


def ticked(data: bytes) -> list[tuple[int, mido.Message]]:
    here, found = 0, []
    for message in mido.MidiFile(file=io.BytesIO(data)).tracks[1]:
        here += message.time
        found.append((here, message))
    return found


@settings(max_examples=40, deadline=None)
@given(st.lists(st.floats(-0.03, 0.03), min_size=1, max_size=12))
def test_as_played_tempo_follows_the_beats_and_not_the_notes(shifts: list[float]) -> None:
    even, uneven = lines.straight_line(), humanised(lines.straight_line(), shifts)
    tempos = [list(read(draft).get_tempo_changes()[1]) for draft in (even, uneven)]
    assert tempos[0] == pytest.approx(tempos[1])
    for note, want in zip(read(uneven).instruments[0].notes, uneven.notes, strict=True):
        assert note.start == pytest.approx(want.onset_s, abs=0.001)


def test_a_tempo_that_wanders_has_its_events_at_beats() -> None:
    draft = lines.build([(step, "1/2", 3, 5) for step in range(12)], tempo_bpm=90.0)
    beats = [0.5]
    for place in range(12):
        beats.append(round(beats[-1] + 60 / 90 * (1 + 0.06 * (-1) ** (place // 4)), 4))
    timing = replace(draft.timing, beats_s=tuple(beats))
    notes = tuple(
        replace(note, onset_s=beat, end_s=beat + 0.2) for note, beat in zip(draft.notes, beats, strict=False)
    )
    file = mido.MidiFile(file=io.BytesIO(midi_bytes(replace(draft, timing=timing, notes=notes))))
    here, ticks = 0, []
    for message in file.tracks[0]:
        here += message.time
        ticks += [here] if message.type == "set_tempo" else []
    assert all(tick % 960 == 0 for tick in ticks)
    assert len(ticks) == 4  # the lead-in, and three stretches of an even tempo


def test_an_even_take_has_one_tempo_after_the_lead_in() -> None:
    draft = lines.build([(step, "1", 3, 5) for step in range(8)], tempo_bpm=90.0, lead_s=2 * 60 / 90)
    times, tempos = read(draft).get_tempo_changes()
    assert tempos == pytest.approx([90.0], abs=0.01)
    assert times == pytest.approx([0.0])


def test_meter_with_lead_in_and_pickup() -> None:
    draft = lines.pickup_line()
    found = [(one.numerator, one.denominator) for one in read(draft).time_signature_changes]
    assert found == [(1, 4), (2, 4), (3, 4)]
    downbeat = draft.timing.time_of(Fraction(0))
    assert read(draft).time_signature_changes[-1].time == pytest.approx(downbeat, abs=0.002)


def test_compound_meter_counts_eighths() -> None:
    notes = [(step, "1", 3, 5) for step in range(12)]
    draft = lines.build(notes, meter=Meter(6, 8), tempo_bpm=60.0, lead_s=1.0)
    midi = read(draft)
    assert (midi.time_signature_changes[-1].numerator, midi.time_signature_changes[-1].denominator) == (6, 8)
    assert midi.get_tempo_changes()[1][-1] == pytest.approx(
        90.0, abs=0.01
    )  # quarters, from 60 dotted quarters


def test_swung_notes_stand_straight_and_sound_swung() -> None:
    notes = [(Fraction(step, 2), "1/2", 3, 5) for step in range(8)]
    draft = lines.build(notes, swing=2.0, tempo_bpm=60.0, lead_s=1.0)
    starts = [note.start for note in read(draft).instruments[0].notes]
    assert starts[1] - starts[0] == pytest.approx(2 / 3, abs=0.002)


def test_key_and_phrases_are_named() -> None:
    draft = replace(lines.techniques_line(), key=Key("A", "minor"))
    midi = read(draft)
    assert pretty_midi.key_number_to_key_name(midi.key_signature_changes[0].key_number) == "A minor"
    track = mido.MidiFile(file=io.BytesIO(midi_bytes(draft))).tracks[0]
    assert [one.text for one in track if one.type == "marker"] == ["Call", "Answer"]


def sounding_semitones(draft: Draft, time_s: float) -> float:
    bends = [bend for bend in read(draft).instruments[0].pitch_bends if bend.time <= time_s]
    return bends[-1].pitch / 8192 * 12 if bends else 0.0


def test_bends_follow_the_contour() -> None:
    draft = lines.techniques_line()
    followed = [note for note in draft.notes if note.has("bend", "pre_bend", "release", "vibrato")]
    assert len(followed) == 5
    for note in followed:
        for share in (0.05, 0.2, 0.45, 0.7, 0.95):
            time = note.onset_s + share * (note.end_s - note.onset_s)
            # Contour steps are 10 ms; a bend may move by its slope in two steps.
            around = [lines.height(note.techniques, time + shift) for shift in (-0.02, -0.01, 0.0, 0.01)]
            got = sounding_semitones(draft, time)
            assert min(around) - 0.05 <= got <= max(around) + 0.05


def test_wheel_goes_back_just_before_the_next_note() -> None:
    bend = lines.tech("bend", start_s=0.1, end_s=0.4, semitones=2.0)
    draft = lines.build([(0, "1/2", 2, 8, bend), (1, "1", 2, 5)])
    kinds, here, at = [], 0, {}
    for message in messages(draft):
        here += message.time
        kinds.append(message.type)
        at.setdefault(message.type, []).append(here)
    second = [place for place, kind in enumerate(kinds) if kind == "note_on"][1]
    assert kinds[second - 1] == "pitchwheel"
    assert messages(draft)[second - 1].pitch == 0
    assert at["pitchwheel"][-1] == at["note_on"][1]
    assert at["pitchwheel"][-2] <= at["note_off"][0]


def test_a_wide_slide_widens_the_range() -> None:
    draft = lines.build([(0, "1", 2, 1), (1, "1", 2, 16, lines.tech("slide", picked=False))])
    first = draft.notes[0]
    cents = (*[0.0] * (len(first.contour.times_s) - 15), *(100.0 * step for step in range(1, 16)))
    first = replace(first, contour=replace(first.contour, cents=cents))
    draft = replace(draft, notes=(first, draft.notes[1]))
    data = [one for one in messages(draft) if one.type == "control_change" and one.control == 6]
    assert data[0].value == 24
    assert max(one.pitch for one in messages(draft) if one.type == "pitchwheel") == wheel_value(15.0, 24)


def test_a_stray_value_of_the_pitch_tracker_is_left_out() -> None:
    times = tuple(0.01 * step for step in range(8))
    stray = (-1200.0, 0.0, 10.0, 1200.0, 30.0, None, 40.0, 900.0)
    assert [cents for _, cents in steady_points(Contour(times, stray))] == [
        0, 0, 10, 30, 40, 40, 40,
    ]  # fmt: skip
    rising = tuple(40.0 * step for step in range(8))
    assert [cents for _, cents in steady_points(Contour(times, rising))] == list(rising)


def test_plain_notes_leave_the_wheel_alone() -> None:
    assert not [one for one in messages(lines.low_line()) if one.type == "pitchwheel"]


def test_wheel_events_are_no_denser_than_needed() -> None:
    draft = lines.techniques_line()
    contour = next(note.contour for note in draft.notes if note.has("vibrato"))
    events = wheel_events(contour, 99.0, 12)
    gaps = [later.time_s - event.time_s for event, later in pairwise(events)]
    assert min(gaps) >= STEP_S - 1e-9
    still = sum(cents == before for before, cents in pairwise(contour.cents))
    assert still > 20
    assert len(events) <= 2 * (len(contour.times_s) - still)


def test_dead_note_without_pitch_is_heard_at_its_place() -> None:
    draft = lines.build([(0, "1", 5, 3, lines.tech("dead_note"))])
    draft = replace(draft, notes=(replace(draft.notes[0], pitch_midi=None),))
    assert [note.pitch for note in read(draft).instruments[0].notes] == [48]


def test_no_notes_gives_an_empty_file() -> None:
    assert read(replace(lines.straight_line(), notes=())).get_end_time() >= 0


def test_same_draft_same_bytes() -> None:
    assert midi_bytes(lines.techniques_line()) == midi_bytes(lines.techniques_line())


@pytest.mark.parametrize("channels", ["string", "mpe"])
def test_each_string_has_its_channel_and_its_own_bends(channels: str) -> None:
    draft = lines.techniques_line()
    data = midi_bytes(draft, MidiSettings(channels=channels))
    shift = 0 if channels == "string" else 1
    ons = [one for _, one in ticked(data) if one.type == "note_on"]
    assert [one.channel for one in ons] == [note.string - 1 + shift for note in draft.notes]
    kinds = ("bend", "pre_bend", "vibrato", "slide")
    bent = {note.string - 1 + shift for note in draft.notes if note.has(*kinds)}
    assert {one.channel for _, one in ticked(data) if one.type == "pitchwheel"} <= bent
    ranges = [one for _, one in ticked(data) if one.type == "control_change" and one.control == 6]
    used = {0} | {one.channel for one in ons}
    if channels == "mpe":
        # MPE 1.0: RPN 0,6 on the manager (channel 1) tells the member channels, seven for six strings here.
        assert (ranges[0].channel, ranges[0].value) == (0, 7)
        assert {(one.channel, one.value) for one in ranges[1:]} == {(channel, 48) for channel in used}
    else:
        assert {(one.channel, one.value) for one in ranges} == {(channel, 12) for channel in used}


def test_many_strings_leave_the_percussion_channel_alone() -> None:
    tuning = tuple(range(70, 46, -2))
    draft = lines.build([(step, "1", step + 1, 0) for step in range(12)], tuning=tuning)
    for channels in ("string", "mpe"):
        data = midi_bytes(draft, MidiSettings(channels=channels))
        ons = [one.channel for _, one in ticked(data) if one.type == "note_on"]
        assert 9 not in ons  # channel 10 counted from 1: General MIDI
        assert len(set(ons)) == 12


def test_joined_slurs_are_not_struck_and_the_wheel_reaches_them() -> None:
    notes = [
        (0, "1/2", 3, 5),
        ("1/2", "1/2", 3, 7, lines.tech("hammer_on")),
        (1, "1/2", 3, 5, lines.tech("pull_off")),
        ("3/2", "1/2", 3, 9, lines.tech("slide", picked=False)),
        (2, "1/2", 3, 7, lines.tech("slide", picked=True)),
        (3, "1/2", 3, 9, lines.tech("hammer_on")),
    ]
    draft = lines.build(notes)
    data = midi_bytes(draft, MidiSettings(slurs="joined"))
    ons = [one.note for _, one in ticked(data) if one.type == "note_on"]
    assert ons == [60, 62, 64]  # the last does not ring on from the one before: it is struck
    midi = pretty_midi.PrettyMIDI(io.BytesIO(data))
    assert midi.instruments[0].notes[0].end == pytest.approx(draft.notes[3].end_s, abs=0.002)
    for note, semitones in zip(draft.notes[:4], (0, 2, 0, 4), strict=True):
        bends = [bend.pitch for bend in midi.instruments[0].pitch_bends if bend.time <= note.onset_s + 0.05]
        assert (bends[-1] if bends else 0) / 8192 * 12 == pytest.approx(semitones, abs=0.01)
    assert len([one for _, one in ticked(midi_bytes(draft)) if one.type == "note_on"]) == 6


def test_a_grace_is_written_before_its_note_and_staccato_short() -> None:
    notes = [(1, 0, 2, 7), (1, "1", 2, 8), (2, "1", 2, 8, lines.tech("staccato"))]
    data = midi_bytes(lines.build(notes), MidiSettings("written"))
    ons = [tick for tick, one in ticked(data) if one.type == "note_on"]
    offs = [tick for tick, one in ticked(data) if one.type == "note_off"]
    assert ons == [960 - 120, 960, 1920]
    assert offs == [960, 1920, 2400]


@generated.quick
@given(
    generated.written_drafts(),
    st.builds(
        MidiSettings,
        st.sampled_from(["played", "written"]),
        st.sampled_from(["one", "string", "mpe"]),
        st.sampled_from(["struck", "joined"]),
    ),
)
def test_any_draft_is_read_by_a_second_library(draft: Draft, chosen: MidiSettings) -> None:
    midi = pretty_midi.PrettyMIDI(io.BytesIO(midi_bytes(draft, chosen)))
    notes = [note for instrument in midi.instruments for note in instrument.notes]
    assert all(note.end > note.start >= 0 for note in notes)
    assert all(-8192 <= bend.pitch <= 8191 for one in midi.instruments for bend in one.pitch_bends)
    meter = midi.time_signature_changes[-1]
    assert (meter.numerator, meter.denominator) == (draft.meter.beats, draft.meter.unit)
    if chosen == MidiSettings("played", "string", "struck"):
        wanted = sorted((round(note.onset_s, 2), note.pitch_midi) for note in draft.notes if note.pitch_midi)
        found = [(note.start, note.pitch) for note in notes]
        for onset, pitch in wanted:
            assert any(abs(start - onset) < 0.02 and pitch == sounding for start, sounding in found)


@generated.quick
@given(generated.written_drafts())
def test_words_survive_as_one_line(draft: Draft) -> None:
    conductor, guitar = mido.MidiFile(file=io.BytesIO(midi_bytes(draft)), charset="utf-8").tracks
    assert conductor.name == one_line(draft.source.file)
    assert guitar.name == one_line(draft.instrument.name)
    texts = [one.text for one in conductor if one.type == "text"]
    for note in draft.notes:
        assert note.remark is None or one_line(note.remark) in texts or not note.remark


def test_as_written_bends_keep_their_share_of_the_note() -> None:
    """A bend that reaches its height at 40 % of a note of another length than it was played."""
    bend = lines.tech("bend", start_s=0.2, end_s=0.4, semitones=2.0)
    draft = lines.build([(0, "2", 2, 8, bend)], tempo_bpm=90.0)
    late = replace(draft, timing=replace(draft.timing, tempo_bpm=60.0))
    data = midi_bytes(late, MidiSettings("written"))
    reached = next(tick for tick, one in ticked(data) if one.type == "pitchwheel" and one.pitch > 1350)
    assert reached == pytest.approx(0.4 * 2 * 960, abs=25)  # two semitones of twelve are 1365 steps
