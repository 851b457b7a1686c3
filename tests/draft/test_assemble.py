"""Assembling a draft from the stages' records."""

from __future__ import annotations

from dataclasses import fields, replace
from fractions import Fraction

import numpy as np
import pytest

from transcriber.draft import AssembleSettings, MadeBy, assemble_draft, draft_bytes
from transcriber.draft.assemble import decimate_contour
from transcriber.records.heard import Heard, HeardNote, PitchTrack
from transcriber.records.phrased import PhraseFingering, PhrasePlaces
from transcriber.records.placed import Instrument, Place, Placed
from transcriber.records.problem import Problem
from transcriber.records.take import Take
from transcriber.records.technique import Technique
from transcriber.records.written import Meter, Written, WrittenNote

FRAME_S = 128 / 22050
NECK = Instrument("standard", (64, 59, 55, 50, 45, 40), frets=22)
MADE_BY = MadeBy("0.1.0", {}, "0" * 64)
EMPTY = np.zeros(0)


def heard_note(onset, end, pitch, **changes):
    times = onset + FRAME_S * np.arange(20)
    contour = np.where(np.arange(20) % 4 == 2, np.nan, 3.14159)
    note = HeardNote(onset, end, pitch, 88, (), times, contour, 0.98765, 0.9, 0.8)
    return replace(note, **changes)


def take():
    samples = np.zeros(22050 * 4, dtype=np.float32)
    return Take(samples, 22050, 0.0, "harbour.wav", "a" * 64, 48000, 4.0, (Problem("hum", "There is hum."),))


def heard(*notes):
    track = PitchTrack(*(EMPTY for _ in fields(PitchTrack)))
    return Heard(notes, 440.1234567, track, (Problem("noise", "A thump.", 1.02, 1.1),))


def written(*pairs, **changes):
    notes = tuple(WrittenNote(Fraction(start), Fraction(length), 0.75) for start, length in pairs)
    beats = tuple(0.5 + 0.5 * index for index in range(5))
    return replace(Written(notes, Meter(4, 4), 120.00049, beats, -1), **changes)


def placed(*places):
    return Placed(tuple(None if place is None else Place(*place) for place in places))


@pytest.fixture
def draft():
    bend = Technique("bend", start_s=1.1, end_s=1.30006, semitones=1.9876)
    return assemble_draft(
        take(),
        heard(
            heard_note(0.500049, 0.9, 64),
            heard_note(np.float64(1.0), 1.5, np.int64(67), techniques=(bend, Technique("grace"))),
            heard_note(1.6, 4.1, 38),
        ),
        written(("-1", "1/2"), ("0", "4/3"), ("3/2", "0")),
        placed((2, 5, 1, 0.6, ((1, 0), (3, 9))), (2, 8, None, 0.9), None),
        NECK,
        MADE_BY,
    )


def test_notes_carry_what_the_stages_found(draft):
    first, second, third = draft.notes
    assert [note.id for note in draft.notes] == ["n001", "n002", "n003"]
    assert (first.onset_s, first.end_s, first.pitch_midi, first.velocity) == (0.5, 0.9, 64, 88)
    assert (first.bar, first.beat, first.length) == (0, Fraction(4), Fraction(1, 2))
    assert (first.string, first.fret, first.finger) == (2, 5, 1)
    assert [(other.string, other.fret) for other in first.alternatives] == [(1, 0), (3, 9)]
    assert second.techniques == (Technique("bend", start_s=1.1, end_s=1.3001, semitones=1.99),)
    assert (third.string, third.fret, third.finger) == (None, None, None)


def test_document_is_valid_and_stable(draft):
    assert draft_bytes(draft) == draft_bytes(draft)
    assert draft.timing.tempo_bpm == 120.0
    assert (draft.timing.beats_s[0], draft.timing.first_beat) == (0.5, -1)
    assert draft.timing.downbeat_confidence == 1.0
    assert draft.instrument.reference_hz == 440.123
    assert draft.source.sample_rate_hz == 48000
    assert (draft.key, draft.chords, draft.phrases, draft.shapes) == (None, (), (), ())


def test_ends_stay_within_the_recording(draft):
    assert draft.notes[2].end_s == 4.0


def test_grace_follows_the_written_length(draft):
    """The rhythm stage decides: the second note was heard as a grace but written with a length."""
    assert [note.is_grace for note in draft.notes] == [False, False, True]
    assert [note.has("grace") for note in draft.notes] == [False, False, True]


def test_overall_confidence_is_the_product(draft):
    first = draft.notes[0].confidence
    assert (first.pitch, first.onset, first.place, first.rhythm, first.technique) == (
        0.988,
        0.9,
        0.6,
        0.75,
        0.8,
    )
    assert first.overall == round(0.988 * 0.9 * 0.6 * 0.75 * 0.8, 3)
    assert draft.notes[2].confidence.place == 0.0
    assert draft.notes[2].confidence.overall == 0.0


def test_problems_become_issues_with_the_notes_they_touch(draft):
    hum, thump = draft.issues[:2]
    assert (hum.code, hum.start_s, hum.end_s, hum.notes) == ("hum", None, None, ())
    assert (thump.code, thump.start_s, thump.end_s, thump.notes) == ("noise", 1.02, 1.1, ("n002",))


def test_unsure_notes_become_issues(draft):
    checks = [issue for issue in draft.issues if issue.code == "check_note"]
    unsure = [note.id for note in draft.notes if note.confidence.overall < 0.5]
    assert [issue.notes for issue in checks] == [(note_id,) for note_id in unsure]
    assert checks[0].message == (
        "Bar 0, beat 4, at 0.50 s: its place on the neck is the least sure (0.60 of 1); "
        "listen again and correct it if need be."
    )


def test_the_bound_of_unsure_notes_can_be_set():
    parts = (
        take(),
        heard(heard_note(0.5, 0.9, 64)),
        written(("0", "1")),
        placed((2, 5, 1, 0.9)),
        NECK,
        MADE_BY,
    )
    codes = {
        bound: [issue.code for issue in assemble_draft(*parts, AssembleSettings(check_below=bound)).issues]
        for bound in (0.0, 1.0)
    }
    assert codes == {0.0: ["hum", "noise"], 1.0: ["hum", "noise", "check_note"]}


@pytest.mark.parametrize(
    ("frame_s", "kept"), [(FRAME_S, 2), (FRAME_S / 2, 4), (0.012, 1), (0.006, 2), (0.02, 1)]
)
def test_contours_are_thinned_to_at_most_12_ms(frame_s, kept):
    times = 1.0 + frame_s * np.arange(40)
    contour = decimate_contour(times, np.arange(40.0), 0.012)
    assert contour.cents == tuple(float(value) for value in range(0, 40, kept))
    assert contour.times_s == tuple(round(float(time), 4) for time in times[::kept])
    if frame_s <= 0.012:
        assert 0.005 <= np.median(np.diff(contour.times_s)) <= 0.01201


def test_contours_keep_gaps_and_empty_ones(draft):
    assert draft.notes[0].contour.cents[:4] == (3.1, None, 3.1, None)
    assert decimate_contour(EMPTY, EMPTY, 0.012).times_s == ()


def test_gestures_without_times_take_the_notes():
    bends = (Technique("pre_bend", semitones=1.0), Technique("release", semitones=0.0))
    draft = assemble_draft(
        take(),
        heard(heard_note(0.5, 0.9, 64, techniques=bends)),
        written(("0", "1")),
        placed((2, 5, 1, 0.9)),
        NECK,
        MADE_BY,
    )
    times = [(technique.start_s, technique.end_s) for technique in draft.notes[0].techniques]
    assert times == [(0.5, 0.5), (0.5, 0.9)]
    assert draft_bytes(draft)


def test_stages_that_disagree_are_a_fault_of_the_program():
    with pytest.raises(ValueError, match="1 notes heard, 0 written, 1 placed"):
        assemble_draft(take(), heard(heard_note(0.5, 0.9, 64)), written(), placed(None), NECK, MADE_BY)


def test_no_notes_make_an_empty_draft():
    draft = assemble_draft(take(), heard(), written(), placed(), NECK, MADE_BY)
    assert b'"notes": []' in draft_bytes(draft)


def test_phrases_name_their_notes_by_id():
    other = PhraseFingering(((3, 9), None), 9, 1, 0.456, True, "the same line at fret 9 on string 3")
    draft = assemble_draft(
        take(),
        heard(heard_note(0.5, 0.9, 64), heard_note(1.0, 1.5, 20), heard_note(2.5, 3.0, 64)),
        written(("0", "1"), ("1", "1"), ("4", "1")),
        placed((2, 5, 1, 0.6), None, (2, 5, 1, 0.6)),
        NECK,
        MADE_BY,
        phrases=(PhrasePlaces(0, 2, (other,)), PhrasePlaces(2, 3, ())),
    )
    first, second = draft.phrases
    assert (first.id, first.name, first.start_s, first.end_s) == ("p1", "", 0.5, 1.5)
    assert (second.id, second.alternatives, second.start_s) == ("p2", (), 2.5)
    (alternative,) = first.alternatives
    assert [(note.id, note.string, note.fret) for note in alternative.notes] == [("n001", 3, 9)]
    assert (alternative.strings, alternative.extra_cost, alternative.toss_up) == ((3,), 0.46, True)
    assert draft_bytes(draft) == draft_bytes(draft)
