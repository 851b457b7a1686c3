"""A draft under another rhythm: only the rhythm changes, and corrections that do not agree are named."""

from __future__ import annotations

import json
import time
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

from tests.export import export_drafts as lines
from transcriber.cli import run
from transcriber.draft import (
    AssembleSettings,
    Correction,
    NoteMark,
    append_correction,
    journal_path,
    read_draft,
    read_journal,
    write_draft,
)
from transcriber.draft.document import Draft
from transcriber.draft.retime import heard_again, retimed, rhythm_corrections, told_with
from transcriber.notation import write_rhythm
from transcriber.records.told import Told
from transcriber.records.written import Meter


@pytest.fixture(name="draft")
def fixture_draft() -> Draft:
    """Straight eighths at 120: what any tempo divides."""
    places = [(Fraction(step, 2), "1/2", 2, 5 + step % 4) for step in range(24)]
    return lines.build([*places, (Fraction(12), "4", 2, 5)])


@pytest.fixture(name="path")
def fixture_path(draft: Draft, tmp_path: Path) -> Path:
    path = tmp_path / "ferry.draft.json"
    write_draft(draft, path)
    return path


def anew(draft: Draft, told: Told) -> Draft:
    return retimed(draft, write_rhythm(heard_again(draft), told_with(draft, told)), {}, AssembleSettings())


def without_rhythm(draft: Draft) -> Draft:
    blank = [
        replace(note, bar=1, beat=Fraction(1), length=Fraction(1), confidence=lines.SURE)
        for note in draft.notes
    ]
    return replace(draft, notes=tuple(blank), timing=lines.straight_line().timing, issues=())


@pytest.mark.parametrize("factor", [Fraction(1, 2), Fraction(1), Fraction(2)])
def test_half_and_double_tempo_scale_every_position(draft: Draft, factor: Fraction) -> None:
    tempo = draft.timing.tempo_bpm * float(factor)
    written = anew(draft, Told(tempo_bpm=(tempo, tempo)))
    assert written.timing.tempo_bpm == pytest.approx(tempo, rel=0.01)
    first, last = written.notes[0], written.notes[-1]
    span = last.start(written.meter) - first.start(written.meter)
    assert span == 12 * factor
    assert without_rhythm(written) == without_rhythm(draft)


@pytest.mark.parametrize("pickup", ["1/2", "1", "2"])
def test_the_downbeat_moves_and_nothing_else(draft: Draft, pickup: str) -> None:
    written = anew(draft, Told(pickup=Fraction(pickup)))
    assert written.notes[0].start(written.meter) == -Fraction(pickup)
    assert written.meter == draft.meter
    assert without_rhythm(written) == without_rhythm(draft)


def test_a_pickup_may_be_as_long_as_the_bar_of_the_draft(path: Path, capsys) -> None:
    """The meter of the draft holds where none is told: 6/8 has room for five eighths, 3/4 for no three."""
    for meter in ("6/8", "3/4"):
        assert run(["retime", str(path), "--meter", meter, "--force", "-q"]) == 0
        assert run(["retime", str(path), "--pickup", "5", "--force", "-q"]) == (0 if meter == "6/8" else 2)
    assert "less than the 3 beats of a bar" in capsys.readouterr().err


def test_another_meter_cuts_the_same_notes_into_other_bars(draft: Draft) -> None:
    written = anew(draft, Told(meter=Meter(3, 4)))
    assert str(written.meter) == "3/4"
    assert [note.bar for note in written.notes[:7]] == [1, 1, 1, 1, 1, 1, 2]


def test_a_bar_begins_at_the_second_told(draft: Draft) -> None:
    onset = draft.notes[3].onset_s
    written = anew(draft, Told(downbeat_s=onset))
    assert written.notes[3].beat == 1


def test_corrections_of_rhythm_are_told_apart(path: Path) -> None:
    draft = read_draft(path)
    moved = Correction(
        "change_note", NoteMark.of(draft.notes[4]), values={"bar": 1, "beat": "3", "length": "1"}
    )
    fret = Correction("change_note", NoteMark.of(draft.notes[2]), values={"velocity": 70})
    append_correction(path, moved, seen=0)
    append_correction(path, fret, seen=1)
    journal = read_journal(journal_path(path))
    same = rhythm_corrections(anew(draft, Told(pickup=Fraction(0))), journal)
    assert [(one.revision, one.fits) for one in same] == [(1, True)]
    other = rhythm_corrections(anew(draft, Told(pickup=Fraction(1))), journal)
    assert [(one.revision, one.fits) for one in other] == [(1, False)]


def test_the_command_keeps_the_journal_and_names_what_does_not_agree(path: Path, capsys) -> None:
    draft = read_draft(path)
    moved = Correction(
        "change_note", NoteMark.of(draft.notes[4]), values={"bar": 1, "beat": "3", "length": "1/2"}
    )
    append_correction(path, moved, seen=0)
    journal = journal_path(path).read_bytes()
    assert run(["retime", str(path), "--tempo", "60", "--force", "--json"]) == 0
    (result,) = json.loads(capsys.readouterr().out)
    assert journal_path(path).read_bytes() == journal
    assert result["tempo_bpm"] == pytest.approx(60.0, rel=0.01)
    assert any("correction 1" in message for message in result["corrections_left_out"])
    assert read_draft(path).made_by.options["tempo_bpm"] == 60.0
    assert path.with_name("ferry.tab.txt").exists()


def test_the_same_command_gives_the_same_bytes(path: Path, tmp_path: Path) -> None:
    for place in ("one", "two"):
        assert run(["retime", str(path), "--meter", "3/4", "--out", str(tmp_path / place), "-q"]) == 0
    one, two = (sorted((tmp_path / place).iterdir()) for place in ("one", "two"))
    assert [file.read_bytes() for file in one] == [file.read_bytes() for file in two]


def test_a_draft_under_another_name_keeps_its_corrections(path: Path, tmp_path: Path) -> None:
    other = path.rename(tmp_path / "line.json")
    assert run(["retime", str(other), "--tempo", "60", "-q"]) == 0
    made = tmp_path / "line.draft.json"
    assert made.exists()
    assert journal_path(made) == journal_path(other)


@pytest.mark.parametrize(
    ("options", "code", "words"),
    [
        ([], 2, "nothing to change was told"),
        (["--tempo", "90"], 1, "use --force to replace it"),
        (["--tempo", "fast"], 2, "or a range: 90-110"),
        (["--tempo", "110-90"], 2, "give 90-110"),
        (["--tempo", "5"], 2, "out of 20 to 400"),
        (["--pickup", "4", "--force"], 2, "less than the 4 beats of a bar"),
        (["--pickup", "two"], 2, "write it like 1, 1/2 or 1+1/2"),
        (["--pickup", "7", "--meter", "6/8", "--force"], 2, "less than the 6 beats of a bar"),
        (["--pickup", "1/5", "--force"], 2, "the nearest that works is 1/6"),
        (["--downbeat", "-1"], 2, "is not a time in a file"),
        (["--downbeat", "99", "--force"], 2, "lies after the end of 'ferry_landing.wav'"),
        (["--beats", "no_such_file.txt"], 2, "cannot read the beats"),
        (["--temp", "90"], 2, "did you mean '--tempo'"),
    ],
)
def test_what_cannot_be_done_is_one_clear_line(
    path: Path, capsys, options: list[str], code: int, words: str
) -> None:
    before = path.read_bytes()
    assert run(["retime", str(path), *options]) == code
    said = capsys.readouterr().err
    assert words in said
    assert said.count("\n") == 1
    assert path.read_bytes() == before


def test_beats_in_a_file(path: Path, tmp_path: Path, capsys) -> None:
    beats = tmp_path / "taps.txt"
    first = read_draft(path).notes[0].onset_s
    beats.write_text("# tapped\n" + "".join(f"{first + 0.5 * beat:.3f}\n" for beat in range(14)))
    assert run(["retime", str(path), "--beats", str(beats), "--force", "-q"]) == 0
    assert read_draft(path).timing.tempo_bpm == pytest.approx(120.0, rel=0.01)
    beats.write_text("0.5\nlater\n")
    capsys.readouterr()
    assert run(["retime", str(path), "--beats", str(beats), "--force"]) == 2
    assert "line 2 of" in capsys.readouterr().err


@pytest.mark.benchmark
def test_it_takes_a_small_part_of_the_time_that_the_line_lasts(path: Path) -> None:
    run(["retime", str(path), "--tempo", "60", "--force", "-q"])
    began = time.perf_counter()
    assert run(["retime", str(path), "--tempo", "120", "--force", "-q"]) == 0
    taken_s = time.perf_counter() - began
    print(f"\nretimed in {taken_s:.2f} s")
    assert taken_s < read_draft(path).source.duration_s / 10
