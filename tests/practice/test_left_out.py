"""Who plays a part of the line has left the rest out, and missed nothing of it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.practice.test_fair import LINE, answer, draft, played
from transcriber.attempts import Answer, answer_words
from transcriber.practice.passages import LEAST_LEFT_OUT, passages_left_out
from transcriber.practice.phrase_reports import phrase_reports
from transcriber.practice.report import NoteReport, Stop
from transcriber.practice.wanted import wanted_notes
from transcriber.practice.words import check_text, progress_of, summary_of, words_of_notes


def notes_of(*bars):
    """Notes bar by bar, ``x`` for one that was missed."""
    return tuple(
        NoteReport(f"n{bar}{number}", bar, "missed" if sign == "x" else "played")
        for bar, signs in enumerate(bars, start=1)
        for number, sign in enumerate(signs)
    )


@pytest.mark.parametrize(
    ("bars", "lengths"),
    [
        (("....", "...x", "...."), []),
        (("....", "xxxx", "...."), [4]),
        (("...x", "xxxx", "x..."), [6]),
        ((".....xxx", "xx......"), []),  # no whole bar of it
        (("....", "xxx", "...."), []),  # too few
        (("xxxx....", "........"), [4]),
        (("........", "....xxxx"), [4]),
        (("xxx.....", ".....xxx"), []),
        (("xxxx", "....", "xxxx", "...."), [4, 4]),
        (("xxxx", "xxxx"), [8]),
        ((), []),
    ],
)
def test_a_passage_left_out_is_a_bar_or_the_beginning_or_the_end(bars, lengths):
    assert LEAST_LEFT_OUT == 4
    assert [len(passage) for passage in passages_left_out(notes_of(*bars))] == lengths


def first_bars(count):
    """An attempt that stops after so many bars of four beats."""
    kept = tuple(note for note in LINE.notes if note.start < 4 * count)
    last = replace(kept[-1], techniques=())
    return answer(played(replace(LINE, notes=(*kept[:-1], last))))


def test_half_a_line_is_told_as_half_and_advice_is_about_what_was_played():
    report = first_bars(2)
    gone = [note for note in report.notes if note.bar == 3]
    assert len(gone) >= LEAST_LEFT_OUT
    assert {note.verdict for note in gone} == {"missed"}
    text = check_text(draft(), report, [])
    assert f" missed, {len(gone)} left out, " in text.splitlines()[0]
    told = [line for line in text.splitlines() if line.startswith("  bar 3, ")]
    assert len(told) == 1
    assert told[0].endswith(f": left out ({len(gone)} notes)")
    assert " to bar 3, " in told[0]
    assert not {note.id for note in gone} & {each for advice in report.advice for each in advice.notes}
    assert summary_of(report)["left_out"] == len(gone)
    assert report.phrases[2].verdict == "left out"


@pytest.mark.parametrize(
    ("stops", "restarts", "said"),
    [
        (0, 1, "Began a passage again once; what was played last counts."),
        (2, 0, "Stopped twice."),
        (1, 3, "Stopped once, began a passage again 3 times; what was played last counts."),
    ],
)
def test_only_stops_and_restarts_that_were_are_told(stops, restarts, said):
    report = replace(first_bars(2), stops=(Stop("n1", 2.0),) * stops, restarts=restarts)
    assert said in check_text(draft(), report, []).splitlines()


def test_progress_says_what_an_attempt_left_out():
    report = first_bars(2)
    gone = summary_of(report)["left_out"]
    before = {**progress_of(report), "file": "half.check.json"}
    older = {key: value for key, value in before.items() if key != "left_out"}
    half, old, now = check_text(draft(), report, [before, older]).splitlines()[-3:]
    assert f" notes as written ({gone} left out) at " in half
    assert f" notes as written ({gone} left out) at " in now
    assert "left out" not in old


def test_a_phrase_left_out_in_part_counts_what_was_missed_apart():
    known = replace(draft(), phrases=())
    wanted = wanted_notes(known)
    count = len(wanted)
    notes = tuple(
        NoteReport(each.note.id, each.note.bar, "missed" if n in (0, *range(count - 5, count)) else "played")
        for n, each in enumerate(wanted)
    )
    (whole,) = phrase_reports(known, wanted, notes, (), {}, 0.5)
    assert whole.verdict == "1 missed, 5 left out"


def test_the_page_has_one_remark_for_a_passage_and_a_mark_for_each_of_its_notes():
    report = first_bars(2)
    gone = [note.id for note in report.notes if note.bar == 3]
    assert [each for each in gone if each in words_of_notes(draft(), report)] == gone[:1]
    notes = answer_words(draft(), Answer(report, None, "", "half.wav", ()))["notes"]
    assert {notes[each]["verdict"] for each in gone} == {"missed"}
    assert [bool(notes[each]["words"]) for each in gone] == [True] + [False] * (len(gone) - 1)


def test_an_attempt_that_hardly_fits_gets_no_advice():
    """Another line altogether: what to work on cannot be told."""
    moved = (0, 3, -2, 5, 1, 4, -1, 2)
    other = tuple(
        replace(note, fret=(note.fret + moved[n % len(moved)]) % 12, techniques=())
        for n, note in enumerate(LINE.notes[::-1])
    )
    starts = [note.start for note in LINE.notes]
    lengths = [note.length for note in LINE.notes]
    other = tuple(
        replace(note, start=start, length=length)
        for note, start, length in zip(other, starts, lengths, strict=True)
    )
    report = answer(played(replace(LINE, notes=other)))
    text = check_text(draft(), report, [])
    assert "do not rely on what follows" in text
    assert report.advice == ()
    assert "Work on this first" not in text
