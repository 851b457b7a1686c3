"""Corrections of several notes, strokes, and a draft kept open: the same guarantees as the plain journal."""

from __future__ import annotations

import json
from dataclasses import replace
from fractions import Fraction

import pytest
from draft_samples import sample_note

from transcriber.draft import (
    Contour,
    Correction,
    Draft,
    NoteMark,
    append_correction,
    journal_path,
    read_corrected,
    read_journal,
    write_draft,
)
from transcriber.draft.open_draft import OpenDraft, redo_of, strokes, undo_of
from transcriber.errors import DraftError
from transcriber.records.technique import Technique
from transcriber.records.written import Meter

# E4 at fret 5 of the B string and so on: strings by common practice, as in `draft_samples`.
PLACES = ((2, 5), (2, 8), (1, 5), (2, 8), (2, 5), (3, 7))


def line() -> Draft:
    from draft_samples import sample_draft

    notes = []
    for number, (string, fret) in enumerate(PLACES):
        onset = 0.5 * number + 0.5
        contour = Contour((onset, round(onset + 0.2, 4)), (0.0, 10.0))
        notes.append(sample_note(number + 1, onset, string, fret, Fraction(number), contour=contour))
    draft = sample_draft()
    timing = replace(
        draft.timing, meter=Meter(4, 4), beats_s=tuple(0.5 * beat + 0.5 for beat in range(8)), first_beat=0
    )
    source = replace(draft.source, duration_s=10.0)
    draft = replace(draft, source=source)
    return replace(draft, notes=tuple(notes), phrases=(), issues=(), chords=(), shapes=(), timing=timing)


@pytest.fixture
def path(tmp_path):
    path = tmp_path / "quay.draft.json"
    write_draft(line(), path)
    return path


def mark(note_id, draft=None):
    return NoteMark.of((draft or line()).note(note_id))


def listed(note_id, **values):
    return {**vars(mark(note_id)), **values}


def test_a_note_is_parted_and_its_contour_with_it(path):
    values = {"at_s": 0.7, "bar": 1, "beat": "3/2"}
    append_correction(path, Correction("split_note", note=mark("n001"), values=values), 0)
    draft = read_corrected(path).draft
    first, second = draft.note("n001"), draft.note("c1")
    assert (first.end_s, first.length) == (0.7, Fraction(1, 2))
    assert (second.onset_s, second.end_s, second.length) == (0.7, 0.9, Fraction(1, 2))
    assert (second.pitch_midi, second.string, second.fret) == (64, 2, 5)
    assert first.contour.times_s == (0.5,)
    assert second.contour.times_s == (0.7,)
    assert second.confidence.overall == 1.0


def test_the_second_half_may_have_a_pitch_of_its_own(path):
    values = {"at_s": 0.6, "bar": 1, "beat": "5/4", "string": 2, "fret": 6}
    append_correction(path, Correction("split_note", note=mark("n001"), values=values), 0)
    second = read_corrected(path).draft.note("c1")
    assert second.pitch_midi == 65
    # Cents are counted from the new pitch: what was 10 above E4 is 90 below F4.
    assert second.contour.cents == (-90.0,)


@pytest.mark.parametrize(
    "values",
    [
        {"at_s": 0.5, "bar": 1, "beat": "3/2"},
        {"at_s": 2.0, "bar": 1, "beat": "3/2"},
        {"at_s": "soon", "bar": 1, "beat": "3/2"},
        {"at_s": 0.7, "bar": 1, "beat": "1"},
        {"at_s": 0.7, "bar": 1, "beat": "2"},
        {"at_s": 0.7, "bar": 1, "beat": "0"},
        {"at_s": 0.7, "bar": 1},
    ],
)
def test_a_note_is_not_parted_outside_itself(path, values):
    with pytest.raises(DraftError):
        append_correction(path, Correction("split_note", note=mark("n001"), values=values), 0)
    assert not journal_path(path).exists()


def test_parting_and_joining_give_the_note_back(path):
    values = {"at_s": 0.7, "bar": 1, "beat": "3/2"}
    append_correction(path, Correction("split_note", note=mark("n001"), values=values), 0)
    second = read_corrected(path).draft.note("c1")
    join = Correction("merge_notes", note=mark("n001"), values={"notes": [dict(vars(NoteMark.of(second)))]})
    append_correction(path, join, 1)
    merged, drafted = read_corrected(path).draft.note("n001"), line().note("n001")
    assert replace(merged, confidence=drafted.confidence) == drafted


def test_a_merge_keeps_bends_drops_slurs_and_measures_from_the_first_pitch(path):
    draft = line()
    slurred = replace(
        draft.note("n002"),
        techniques=(Technique("hammer_on"), Technique("vibrato", 1.0, 1.4, None, 5.0, 0.3)),
    )
    draft = replace(draft, notes=tuple(slurred if note.id == "n002" else note for note in draft.notes))
    write_draft(draft, path, force=True)
    join = Correction("merge_notes", note=mark("n001"), values={"notes": [listed("n002")]})
    append_correction(path, join, 0)
    merged = read_corrected(path).draft.note("n001")
    assert [one.kind for one in merged.techniques] == ["vibrato"]
    assert merged.length == Fraction(2)
    assert merged.contour.cents[-1] == 310.0


@pytest.mark.parametrize("notes", [[], ["n001"], "n002", [{"id": "n002"}]])
def test_a_merge_needs_later_notes(path, notes):
    given = (
        [listed(one) if isinstance(one, str) else one for one in notes] if isinstance(notes, list) else notes
    )
    with pytest.raises(DraftError):
        append_correction(path, Correction("merge_notes", note=mark("n001"), values={"notes": given}), 0)


def test_several_notes_are_fingered_anew_in_one_line(path):
    values = {"notes": [listed("n001", string=3, fret=9, finger=1), listed("n002", string=3, fret=12)]}
    append_correction(path, Correction("refinger", values=values), 0)
    draft = read_corrected(path).draft
    assert [(note.string, note.fret) for note in draft.notes[:3]] == [(3, 9), (3, 12), (1, 5)]
    assert draft.note("n001").finger == 1
    assert draft.note("n001").confidence.place == 1.0
    assert len(read_journal(journal_path(path)).entries) == 1


@pytest.mark.parametrize(
    ("action", "item"),
    [
        ("refinger", {"string": 3, "fret": 8}),
        ("refinger", {"bar": 2}),
        ("rewrite_rhythm", {"fret": 3}),
        ("rewrite_rhythm", {"beat": "9"}),
    ],
)
def test_what_does_not_fit_several_notes_is_refused(path, action, item):
    with pytest.raises(DraftError):
        append_correction(path, Correction(action, values={"notes": [listed("n001", **item)]}), 0)


def test_a_rhythm_is_written_in_another_meter_with_all_its_notes(path):
    values = {
        "notes": [listed("n001", bar=1, beat="1", length="1"), listed("n002", bar=1, beat="3", length="2")],
        "timing": {"meter": "6/8", "beats_s": [0.5, 0.75, 1.0], "first_beat": 0, "tempo_bpm": 80.0},
    }
    append_correction(path, Correction("rewrite_rhythm", values=values), 0)
    draft = read_corrected(path).draft
    assert str(draft.meter) == "6/8"
    # Notes that are not named keep their place: beat 3 of 4/4 is the fifth eighth.
    third = draft.note("n003")
    assert (third.bar, third.beat, third.length) == (1, Fraction(5), Fraction(2))
    assert draft.note("n002").beat == 3


def test_one_aspect_confirmed_leaves_the_others_unsure(path):
    draft = line()
    unsure = replace(
        draft.note("n001").confidence, place=0.3, technique=0.3, overall=round(0.3 * 0.3 * 0.9**3, 3)
    )
    notes = tuple(replace(note, confidence=unsure) if note.id == "n001" else note for note in draft.notes)
    write_draft(replace(draft, notes=notes), path, force=True)
    append_correction(path, Correction("confirm_note", note=mark("n001"), values={"aspects": ["place"]}), 0)
    note = read_corrected(path).draft.note("n001")
    assert (note.confidence.place, note.confidence.technique) == (1.0, 0.3)
    for wrong in ([], ["colour"], "place"):
        with pytest.raises(DraftError):
            append_correction(
                path, Correction("confirm_note", note=mark("n001"), values={"aspects": wrong}), 1
            )


def test_drafted_again_what_fits_of_a_line_is_kept_and_the_rest_reported(path):
    values = {"notes": [listed("n001", string=3, fret=9), listed("n002", string=3, fret=12)]}
    append_correction(path, Correction("refinger", values=values), 0)
    again = line()
    moved = tuple(
        replace(note, onset_s=1.3, id="n007") if note.id == "n002" else replace(note, id=f"m{note.id}")
        for note in again.notes
    )
    moved = tuple(replace(note, contour=Contour((), ())) for note in moved)
    write_draft(replace(again, notes=moved), path, force=True)
    corrected = read_corrected(path)
    assert (corrected.draft.note("mn001").string, corrected.draft.note("mn001").fret) == (3, 9)
    assert corrected.draft.note("n007").string == 2
    assert [problem.code for problem in corrected.problems] == ["correction_does_not_fit"]
    assert "n002" in corrected.problems[0].message


def test_a_stroke_is_kept_whole_or_not_at_all(path):
    opened = OpenDraft(path)
    good = Correction("remove_note", note=mark("n001"))
    with pytest.raises(DraftError):
        opened.append([good, Correction("remove_note", note=mark("n001"))], 0)
    assert not journal_path(path).exists()
    entries = opened.append([good, Correction("remove_note", note=mark("n002"))], 0, took_s=3.14159)
    assert [(entry.revision, entry.gesture, entry.took_s) for entry in entries] == [(1, 1, 3.1), (2, 1, None)]
    assert len(opened.read().draft.notes) == 4
    assert opened.read() == replace(read_corrected(path), problems=())


def test_an_open_draft_sees_what_another_program_wrote(path):
    opened = OpenDraft(path)
    assert opened.read().revision == 0
    append_correction(path, Correction("remove_note", note=mark("n003")), 0)
    assert opened.read().revision == 1
    assert opened.read().draft.note("n003") is None
    with pytest.raises(DraftError, match="at revision 1"):
        opened.append([Correction("remove_note", note=mark("n004"))], 0)


def test_strokes_are_undone_and_redone_as_one(path):
    opened = OpenDraft(path)
    opened.append(
        [Correction("remove_note", note=mark("n001")), Correction("remove_note", note=mark("n002"))], 0
    )
    opened.append([Correction("remove_note", note=mark("n003"))], 2)
    assert [len(stroke) for stroke in strokes(opened.journal)] == [2, 1]
    for left in (4, 6):
        opened.append(undo_of(opened.journal), opened.read().revision)
        assert len(opened.read().draft.notes) == left
    assert undo_of(opened.journal) == ()
    for left in (4, 3):
        opened.append(redo_of(opened.journal), opened.read().revision)
        assert len(opened.read().draft.notes) == left
    assert redo_of(opened.journal) == ()
    for left in (4, 6):
        opened.append(undo_of(opened.journal), opened.read().revision)
        assert len(opened.read().draft.notes) == left
    assert read_corrected(path).draft == line()


def test_lines_of_the_first_journal_version_are_still_read(path):
    append_correction(path, Correction("remove_note", note=mark("n001")), 0)
    entry = json.loads(journal_path(path).read_text())
    assert entry["format_version"] == 2
    entry["format_version"] = 1
    journal_path(path).write_text(json.dumps(entry) + "\n")
    assert read_corrected(path).draft.note("n001") is None


def test_a_rhythm_written_anew_tells_which_notes_of_a_line_no_longer_agree(path):
    from transcriber.draft.retime import rhythm_corrections

    values = {
        "notes": [listed("n001", bar=1, beat="1", length="1"), listed("n002", bar=2, beat="1", length="1")]
    }
    append_correction(path, Correction("rewrite_rhythm", values=values), 0)
    found = rhythm_corrections(line(), read_journal(journal_path(path)))
    assert [(one.note, one.fits) for one in found] == [("n001", True), ("n002", False)]
