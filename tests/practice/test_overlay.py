"""An attempt laid over its line: times turned into the line's, pitches at the line's height."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.accuracy.handwritten import handwritten
from tests.practice.attempts import reference
from transcriber.errors import DraftError
from transcriber.practice.answer_file import read_answer, read_pitches
from transcriber.practice.overlay import Knots, knots_of, played_pitches, traces_of
from transcriber.practice.report import (
    Advice,
    CheckReport,
    ExtraNote,
    NoteReport,
    PhraseReport,
    PlayedPitch,
    Stop,
)
from transcriber.practice.words import check_bytes, check_document
from transcriber.records.heard import HeardNote

DRAFT = reference(handwritten()[1].line, 1)


def answer(ratio=0.5, late_ms=(), delay_s=1.0, **fields):
    """A report of an attempt at a share of the tempo that begins late, some of its notes late as well."""
    late = dict(late_ms)
    notes = tuple(
        NoteReport(
            note.id,
            note.bar,
            "played",
            attempt_onset_s=delay_s + note.onset_s / ratio + late.get(index, 0.0) / 1000,
            timing_ms=late.get(index, 0.0),
        )
        for index, note in enumerate(DRAFT.notes)
    )
    bare = CheckReport("strict", 50.0, ratio, 0, 0.0, notes, (), (), 0, ())
    return replace(bare, **fields)


def test_half_the_tempo_is_taken_out_and_what_was_late_stays_late():
    knots = knots_of(DRAFT, answer(0.5, {3: 80.0}))
    for index, note in enumerate(DRAFT.notes):
        late_s = 0.08 if index == 3 else 0.0
        at = knots.to_line(1.0 + note.onset_s / 0.5 + late_s)
        assert at == pytest.approx(note.onset_s + 0.5 * late_s, abs=1e-3)


@settings(max_examples=100, deadline=None)
@given(st.floats(0.3, 1.2), st.floats(0.0, 5.0), st.floats(0.0, 1.0))
def test_time_is_turned_by_the_attempts_own_tempo_everywhere(ratio, delay_s, share):
    knots = knots_of(DRAFT, answer(ratio, delay_s=delay_s))
    time_s = share * (DRAFT.notes[-1].end_s + 1.0)
    assert knots.to_line(delay_s + time_s / ratio) == pytest.approx(time_s, abs=1e-3)


def test_a_halt_and_a_retry_are_left_out():
    knots = Knots((0.0, 1.0, 9.0, 10.0), (0.0, 1.0, 2.0, 3.0), 1.0)
    # Eight seconds for one: the first is played, then nothing counts until the passage that does.
    assert knots.to_line(1.5) == pytest.approx(1.5)
    assert knots.to_line(2.5) is None
    assert knots.to_line(9.5) == pytest.approx(2.5)
    assert knots.to_line(12.0) == pytest.approx(5.0)


def test_notes_out_of_order_leave_the_most_that_are_in_order():
    notes = list(answer(1.0).notes)
    notes[2] = replace(notes[2], attempt_onset_s=99.0)
    knots = knots_of(DRAFT, answer(1.0, notes=tuple(notes)))
    assert len(knots.line_s) == len(DRAFT.notes) - 1
    assert list(knots.attempt_s) == sorted(knots.attempt_s)
    assert knots_of(DRAFT, answer(notes=())) is None


def test_pitch_lies_at_the_lines_height_though_the_attempt_is_an_octave_higher():
    note = DRAFT.notes[0]
    times = np.arange(10) * 0.01 + 1.0 + note.onset_s / 0.5
    cents = np.array([0.0, np.nan, *np.full(8, 12.0)])
    played = HeardNote(times[0], times[-1], note.pitch_midi + 12, 90, (), times, cents, 1.0, 1.0, 1.0)
    heard = played_pitches((played,))
    higher = answer(0.5, transposed=12)
    (trace,) = traces_of(DRAFT, higher, heard, knots_of(DRAFT, higher))
    assert trace.times_s[0] == pytest.approx(note.onset_s, abs=1e-3)
    assert trace.times_s[-1] - trace.times_s[0] == pytest.approx(0.045, abs=1e-3)
    assert trace.midi[:3] == (note.pitch_midi, None, pytest.approx(note.pitch_midi + 0.12))


def test_a_note_found_played_as_written_stands_in_its_octave():
    note = DRAFT.notes[0]
    times = np.arange(10) * 0.01 + 1.0 + note.onset_s
    played = HeardNote(times[0], times[-1], note.pitch_midi - 12, 90, (), times, np.zeros(10), 1.0, 1.0, 1.0)
    heard = played_pitches((played,))
    right = answer(1.0)
    (trace,) = traces_of(DRAFT, right, heard, knots_of(DRAFT, right))
    assert set(trace.midi) == {note.pitch_midi}
    wrong = replace(right, notes=(replace(right.notes[0], verdict="wrong_pitch"), *right.notes[1:]))
    (trace,) = traces_of(DRAFT, wrong, heard, knots_of(DRAFT, wrong))
    assert set(trace.midi) == {note.pitch_midi - 12}


FULL = answer(
    0.8,
    extra=(ExtraNote(3.0, 64, DRAFT.notes[0].id),),
    stops=(Stop(DRAFT.notes[4].id, 1.2),),
    restarts=1,
    phrases=(PhraseReport("p1", "Rain", 50.0, 0.8, 3, 4, 2, "as written"),),
    advice=(Advice(1, (DRAFT.notes[0].id,), "it was late", "count"),),
)


def written(tmp_path, document):
    path = tmp_path / "a.check.json"
    path.write_bytes(check_bytes(document))
    return path


def test_an_answer_is_read_back_as_it_was(tmp_path):
    document = check_document(FULL, ("a.flac", "0" * 64), ("b.flac", "1" * 64), [])
    report, read = read_answer(written(tmp_path, document))
    assert report == FULL
    assert read["reference"] == {"file": "b.flac", "sha256": "1" * 64}


@pytest.mark.parametrize(
    ("damage", "said"),
    [
        (lambda one: one.update(format_version=99), "reads up to 1; use a newer one"),
        (lambda one: one.pop("notes"), r"is not the answer to an attempt \('notes'\)"),
        (lambda one: one["notes"].append(3), "is not the answer to an attempt"),
        (lambda one: one["notes"][0].update(colour=1), "is not the answer to an attempt"),
        (lambda one: one["notes"][0].update(attempt_onset_s="x"), "is not the answer to an attempt"),
        (lambda one: one.update(tempo_ratio=[]), "is not the answer to an attempt"),
        (lambda one: one["attempt"].update(file=None), "is not the answer to an attempt"),
    ],
)
def test_a_damaged_answer_is_refused_in_one_line(tmp_path, damage, said):
    document = json.loads(check_bytes(check_document(FULL, ("a.flac", "0" * 64), ("b.flac", "1" * 64), [])))
    damage(document)
    with pytest.raises(DraftError, match=said) as caught:
        read_answer(written(tmp_path, document))
    assert "\n" not in str(caught.value)


def test_what_was_heard_is_kept_with_the_answer_and_read_back(tmp_path):
    times, cents = np.arange(4) * 0.0058 + 1.0, np.array([np.nan, 3.4, -12.6, 0.0])
    pitches = played_pitches((HeardNote(1.0, 1.02, 64, 90, (), times, cents, 1.0, 1.0, 1.0),))
    assert pitches == (PlayedPitch(1.0, 64, (1.0, 1.006, 1.012, 1.017), (None, 3, -13, 0)),)
    document = check_document(FULL, ("a.flac", "0" * 64), ("b.flac", "1" * 64), [], pitches)
    _, read = read_answer(written(tmp_path, document))
    assert read_pitches(read) == pitches
    older = {key: value for key, value in read.items() if key != "pitches"}
    assert read_pitches(older) == ()


@pytest.mark.parametrize("damage", [{"times_s": [1.0]}, {"cents": ["x"]}, {"pitch_midi": None}])
def test_damaged_pitches_are_refused_in_one_line(damage):
    pitch = {"onset_s": 1.0, "pitch_midi": 64, "times_s": [1.0, 1.1], "cents": [0, None], **damage}
    with pytest.raises(DraftError, match=r"the pitches in the answer to 'a\.flac' are damaged") as caught:
        read_pitches({"attempt": {"file": "a.flac"}, "pitches": [pitch]})
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("text", ["", "[]", "3", "{", '"x"', "\ud800".encode("utf-8", "surrogatepass")])
def test_what_is_no_answer_is_refused(tmp_path, text):
    path = tmp_path / "a.check.json"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    with pytest.raises(DraftError, match="is not the answer to an attempt"):
        read_answer(path)
    with pytest.raises(DraftError, match="cannot be read"):
        read_answer(tmp_path / "nowhere.check.json")
