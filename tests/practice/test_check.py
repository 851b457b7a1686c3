"""An attempt held against a draft: what must be said, and what must not."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
import soundfile

from tests.accuracy.handwritten import handwritten
from tests.accuracy.playing import play
from tests.accuracy.splice import splice
from tests.practice.attempts import reference
from transcriber.attempts import _of_an_attempt
from transcriber.cli import run
from transcriber.draft import draft_bytes
from transcriber.practice.align import align
from transcriber.practice.pace import pace_of
from transcriber.practice.passes import counting_pass, passes_of
from transcriber.practice.wanted import wanted_notes
from transcriber.records.heard import HeardNote
from transcriber.records.problem import Problem

LINE = handwritten()[1].line
DRAFT = reference(LINE, 1)
WANTED = wanted_notes(DRAFT)
EMPTY = np.zeros(0)


def heard(pitch, onset_s, length_s=0.2, techniques=()):
    return HeardNote(onset_s, onset_s + length_s, pitch, 90, techniques, EMPTY, EMPTY, 1.0, 1.0, 1.0)


def played(order, beat_s, shift=0):
    """The wanted notes of these numbers one after the other, at a tempo; a fall back waits a second."""
    notes, clock, before = [], 0.0, None
    for number in order:
        if before is not None:
            step = WANTED[number].at - WANTED[before].at
            clock += beat_s * step if step > 0 else 1.0
        notes.append(heard(WANTED[number].pitch + shift, clock))
        before = number
    return notes


@pytest.mark.parametrize("share", [0.5, 0.8, 1.1])
def test_notes_are_found_at_any_tempo(share):
    beat_s = 60 / LINE.tempo_bpm
    found = align(played(range(len(WANTED)), beat_s / share), WANTED, beat_s)
    assert found.pairs == tuple((n, n) for n in range(len(WANTED)))
    assert found.beat_s == pytest.approx(beat_s / share, rel=1e-6)


@pytest.mark.parametrize("shift", [12, -12, 5, 0])
def test_a_transposed_attempt_is_recognised(shift):
    found = align(played(range(len(WANTED)), 0.5, shift), WANTED, 0.5)
    assert found.shift == shift
    assert len(found.pairs) == len(WANTED)


def test_a_passage_begun_again_counts_as_it_was_played_last():
    order = [*range(12), *range(6, len(WANTED))]
    found = align(played(order, 0.6), WANTED, 0.5)
    assert [j for _, j in found.pairs] == order
    passes = passes_of(found.pairs)
    assert [(each.first, each.last) for each in passes] == [(0, 11), (6, len(WANTED) - 1)]
    counts = counting_pass(passes, len(WANTED))
    assert counts == [0] * 6 + [1] * (len(WANTED) - 6)


def test_a_note_left_out_and_one_too_many_are_told_apart():
    notes = played([n for n in range(len(WANTED)) if n != 8], 0.5)
    notes.insert(4, heard(40, notes[3].onset_s + 0.06, 0.05))
    found = align(notes, WANTED, 0.5)
    assert {j for _, j in found.pairs} == set(range(len(WANTED))) - {8}
    assert 4 not in {i for i, _ in found.pairs}


def test_lateness_is_against_the_students_own_tempo():
    """A steady slowing is nobody's lateness; one note 90 ms behind is, within a few ms."""
    beats = np.arange(0, 16, 0.5)
    onsets = 1.0 + 0.7 * beats * (1 + 0.002 * beats)
    late = onsets.copy()
    late[13] += 0.09
    assert np.abs(onsets - pace_of(beats, onsets, 0.7).due_s).max() < 0.02
    off = late - pace_of(beats, late, 0.7).due_s
    assert off[13] == pytest.approx(0.09, abs=0.008)
    assert np.abs(np.delete(off, 13)).max() < 0.02


def test_what_follows_a_stop_is_not_late():
    beats = np.arange(0, 12, 0.5)
    onsets = 0.5 * beats + np.where(beats >= 6, 1.2, 0.0)
    pace = pace_of(beats, onsets, 0.5)
    assert pace.stops == ((12, 1.2),)
    assert np.abs(onsets - pace.due_s).max() < 1e-6


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A reference whose bend and first slur are optional, and an attempt without them at 70 %."""
    place = tmp_path_factory.mktemp("attempt")
    bare = tuple(replace(note, techniques=()) for note in LINE.notes)
    slow = replace(LINE, notes=bare, tempo_bpm=0.7 * LINE.tempo_bpm)
    soundfile.write(place / "try1.wav", splice(play(slow, 3), "strat"), 44100)
    notes = tuple(
        replace(note, techniques=tuple(replace(each, optional=True) for each in note.techniques))
        for note in DRAFT.notes
    )
    (place / "line.draft.json").write_bytes(draft_bytes(replace(DRAFT, notes=notes)))
    return place


def test_optional_techniques_are_no_mistakes(folder, capsys):
    assert run(["check", str(folder / "try1.wav"), str(folder / "line.draft.json"), "--json", "-q"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["tempo_ratio"] == pytest.approx(0.7, abs=0.01)
    assert told["summary"]["played"] == len(LINE.notes)
    assert told["extra"] == []
    assert not [note for note in told["notes"] if set(note["remarks"]) & {"slur_picked", "vibrato_missing"}]
    left = [each["verdict"] for note in told["notes"] for each in note["techniques"]]
    assert "left_out" in left
    assert "missing" not in left


def test_the_next_attempt_tells_of_the_one_before(folder, capsys):
    again = folder / "try2.wav"
    again.write_bytes((folder / "try1.wav").read_bytes())
    draft = str(folder / "line.draft.json")
    run(["check", str(folder / "try1.wav"), draft, "--force", "-q"])
    capsys.readouterr()
    assert run(["check", str(again), draft, "-q"]) == 0
    text = capsys.readouterr().out
    assert "Earlier attempts here" in text
    line = next(line for line in text.split("\n") if "try1.check.json" in line)
    assert line.endswith("of the tempo, intermediate ear")
    written = json.loads((folder / "try2.check.json").read_text())
    assert [each["file"] for each in written["earlier"]] == ["try1.check.json"]
    keys = {"summary", "tempo_ratio", "notes", "extra", "phrases"}
    assert keys <= set(written)
    assert {"id", "verdict", "attempt_onset_s", "timing_ms", "pitch_cents", "techniques"} <= set(
        written["notes"][0]
    )


def test_an_answer_that_is_there_is_kept(folder, capsys):
    draft = str(folder / "line.draft.json")
    run(["check", str(folder / "try1.wav"), draft, "--force", "-q"])
    capsys.readouterr()
    assert run(["check", str(folder / "try1.wav"), draft, "-q"]) == 1
    assert "--force" in capsys.readouterr().err


def test_arguments_the_wrong_way_round_are_told(folder, capsys):
    assert run(["check", str(folder / "line.draft.json"), str(folder / "try1.wav")]) == 2
    assert "ATTEMPT DRAFT" in capsys.readouterr().err


def test_an_attempt_at_something_else_is_not_taken_for_a_bad_one(folder, capsys):
    """Another line of the bench: what little of it fits by chance is told as such."""
    other = handwritten()[3].line
    bare = tuple(replace(note, techniques=()) for note in other.notes)
    soundfile.write(folder / "other.wav", splice(play(replace(other, notes=bare), 3), "strat"), 44100)
    assert run(["check", str(folder / "other.wav"), str(folder / "line.draft.json"), "-q"]) == 0
    assert "this may be an attempt at another line" in capsys.readouterr().out
    assert run(["check", str(folder / "try1.wav"), str(folder / "line.draft.json"), "--force", "-q"]) == 0
    assert "this may be an attempt at another line" not in capsys.readouterr().out


def test_strings_that_sound_together_are_told_without_asking_to_write_them():
    many = [Problem("chord", "write it by hand", time_s, time_s) for time_s in np.arange(8.0)]
    told = _of_an_attempt((Problem("clipping", "too loud"), *many))
    assert [each.code for each in told] == ["clipping", "strings_together"]
    assert told[1].message.startswith("several strings sound together at 0.0, 1.0, 2.0, 3.0, 4.0, 5.0, ... s")
    assert "by hand" not in told[1].message
