"""What is no mistake must not be called one: each promise of fairness by itself, from sound to answer."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
import soundfile

from tests.accuracy.handwritten import handwritten
from tests.accuracy.note_bank import SAMPLE_RATE_HZ
from tests.accuracy.playing import play
from tests.accuracy.splice import splice
from tests.practice.attempts import reference
from tests.practice.surroundings import SURROUNDINGS, surrounded
from transcriber.attempts import EARS
from transcriber.cli import run
from transcriber.draft import Phrase, draft_bytes
from transcriber.practice.tolerance import SOURCE, TOLERANCES

LINE = handwritten()[8].line
BEAT_S = 60 / LINE.tempo_bpm
LEAD_S = 4 * BEAT_S
GUITAR = "green"


@pytest.fixture(scope="module")
def draft(tmp_path_factory):
    path = tmp_path_factory.mktemp("fair") / "line.draft.json"
    known = reference(LINE, 1)
    starts = [min(note.onset_s for note in known.notes if note.bar == bar) for bar in (1, 2, 3)]
    ends = [*starts[1:], known.source.duration_s]
    phrases = tuple(
        Phrase(f"p{n + 1}", "", None, start, end)
        for n, (start, end) in enumerate(zip(starts, ends, strict=True))
    )
    path.write_bytes(draft_bytes(replace(known, phrases=phrases)))
    return path


def answer(draft, sound, capsys, *options):
    """What the command says of a sound, as a document."""
    attempt = draft.parent / "attempt.wav"
    soundfile.write(attempt, sound, SAMPLE_RATE_HZ)
    words = ["check", str(attempt), str(draft), "--force", "--json", "-q", *options]
    assert run(words) == 0
    return json.loads(capsys.readouterr().out)


def played(line=LINE, seed=5):
    return splice(play(line, seed), GUITAR)


def frets(line, change):
    return replace(line, notes=tuple(change(note) for note in line.notes))


def wrong(told):
    """Everything that was called a wrong or a missing note, or one too many."""
    return [note for note in told["notes"] if note["verdict"] != "played"] + told["extra"]


def remarks(told):
    return [remark for note in told["notes"] for remark in note["remarks"]]


@pytest.mark.parametrize("semitones", [12, 3])
def test_an_attempt_in_another_octave_or_key_is_judged_there_and_told(draft, capsys, semitones):
    higher = frets(LINE, lambda note: replace(note, fret=note.fret + semitones))
    assert max(note.fret for note in higher.notes) <= 24
    told = answer(draft, played(higher), capsys)
    assert told["transposed_semitones"] == semitones
    assert wrong(told) == []
    assert run(["check", str(draft.parent / "attempt.wav"), str(draft), "--force", "-q"]) == 0
    words = {12: "1 octave higher", 3: "3 semitones higher"}[semitones]
    assert f"Played {words} than the take; judged there." in capsys.readouterr().out


def elsewhere(note, following):
    """The same pitch a string lower, where the neck has it and no gesture ties the note to its string."""
    steps = 4 if note.string == 2 else 5
    free = not note.techniques and not following.techniques and note.string < 6
    return replace(note, string=note.string + 1, fret=note.fret + steps) if free else note


def test_another_fingering_is_no_mistake(draft, capsys):
    notes = tuple(elsewhere(*pair) for pair in zip(LINE.notes, [*LINE.notes[1:], LINE.notes[0]], strict=True))
    assert sum(note not in LINE.notes for note in notes) >= 5
    told = answer(draft, played(replace(LINE, notes=notes)), capsys)
    assert wrong(told) == []
    as_drafted = answer(draft, played(), capsys)
    for note, other in zip(told["notes"], as_drafted["notes"], strict=True):
        assert set(note["remarks"]) - {"ringing"} == set(other["remarks"]) - {"ringing"}


@pytest.mark.parametrize("kind", SURROUNDINGS)
def test_what_else_sounds_is_no_wrong_note(draft, capsys, kind):
    sound = np.concatenate([np.zeros(round(LEAD_S * SAMPLE_RATE_HZ)), played()])
    first_s = LEAD_S + play(LINE, 5).notes[0].onset_s
    told = answer(draft, surrounded(sound, first_s, kind, BEAT_S, 3), capsys)
    assert wrong(told) == []


def test_half_speed_is_judged_by_the_rhythm_within(draft, capsys):
    told = answer(draft, played(replace(LINE, tempo_bpm=0.5 * LINE.tempo_bpm)), capsys)
    assert told["tempo_ratio"] == pytest.approx(0.5, abs=0.01)
    assert wrong(told) == []
    assert not set(remarks(told)) & {"early", "late", "short", "long", "bend_slow"}


def test_a_skipped_bar_is_told_as_left_out_and_makes_nothing_late(draft, capsys):
    """Bar 2 (the second phrase) is not played, and what follows goes on at once."""
    gone = [note for note in LINE.notes if 4 <= note.start < 8]
    kept = tuple(
        replace(note, start=note.start - (4 if note.start >= 8 else 0), techniques=())
        for note in LINE.notes
        if note not in gone
    )
    bare = json.loads(draft.read_text())
    for note in bare["notes"]:
        note["techniques"] = []
    path = draft.with_name("bare.draft.json")
    path.write_text(json.dumps(bare))
    told = answer(path, played(replace(LINE, notes=kept)), capsys)
    assert sum(note["verdict"] == "missed" for note in told["notes"]) == len(gone)
    assert [phrase["verdict"] for phrase in told["phrases"]].count("left out") == 1
    assert not set(remarks(told)) & {"early", "late"}
    assert told["stops"] == []


def test_each_ear_states_its_bounds_and_their_source(draft, capsys):
    sound = played()
    bounds = []
    for ear in EARS:
        stated = answer(draft, sound, capsys, "--ear", ear)["tolerance"]
        assert stated["source"] == SOURCE
        bounds.append((stated["timing_ms"], stated["cents"]))
    assert bounds == [(80.0, 50.0), (50.0, 35.0), (30.0, 25.0)]
    assert set(EARS) == set(TOLERANCES)


def test_a_beginners_ear_lets_pass_what_a_strict_one_does_not(draft, capsys):
    """One note 60 ms late: within 80 ms, beyond 50 and 30."""
    performance = play(LINE, 5)
    number = next(
        n
        for n in range(4, len(LINE.notes) - 1)
        if not LINE.notes[n].techniques
        and not LINE.notes[n + 1].techniques
        and performance.notes[n].end_s - performance.notes[n].onset_s > 0.25
    )
    notes = list(performance.notes)
    late = notes[number]
    notes[number] = replace(late, onset_s=late.onset_s + 0.065, curve_times_s=late.curve_times_s + 0.065)
    sound = splice(replace(performance, notes=tuple(notes)), GUITAR)
    said = {ear: answer(draft, sound, capsys, "--ear", ear)["notes"][number]["remarks"] for ear in EARS}
    assert said["beginner"] == []
    assert "late" in said["strict"]
