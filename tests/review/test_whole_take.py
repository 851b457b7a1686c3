"""Questions about the whole take: how fast the beat is tapped, and where the bars begin."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from types import SimpleNamespace

import numpy as np
import pytest
from browsers import becomes, settled, until
from review_samples import drafted, write

from transcriber.draft import Issue, read_corrected, read_journal
from transcriber.draft.journal import journal_path
from transcriber.errors import DraftError
from transcriber.notation.rhythm import _problems
from transcriber.records.problem import Problem
from transcriber.records.told import Told
from transcriber.review.desk import Desk
from transcriber.review.desk import _with as applied
from transcriber.review.questions import AS_DRAFTED, open_questions, question_about
from transcriber.review.sheet import sheet_of
from transcriber.review.totals import totals_of
from transcriber.review.whole_take import DOWNBEAT, TEMPO

TEMPO_ISSUE = Issue("tempo_unsure", "168 beats a minute explain the take about as well; …", None, None, ())
DOWNBEAT_ISSUE = Issue("downbeat_unsure", "beat 1 may be elsewhere; …", None, None, ())


def unsure(*issues):
    return replace(drafted(), issues=issues or (TEMPO_ISSUE, DOWNBEAT_ISSUE))


def test_what_the_draft_is_unsure_of_as_a_whole_is_asked_first_and_not_listed():
    draft = unsure()
    assert [(one.about, one.aspect) for one in open_questions(draft)] == [(TEMPO, "take"), (DOWNBEAT, "take")]
    assert sheet_of(draft)["issues"] == []
    assert open_questions(drafted()) == ()
    tempo, downbeat = open_questions(draft)
    assert tempo.words == "The whole take: are 84 beats a minute tapped?"
    assert [one.words for one in tempo.readings] == ["yes, 84", "no, 168: the rhythm written anew"]
    assert [one.words for one in downbeat.readings] == [
        "yes, as drawn",
        "one beat later",
        "one beat earlier",
        "two beats later",
    ]


def test_the_other_tempo_is_read_off_what_the_rhythm_stage_says():
    """The stage's own words, not a copy of them."""

    decision = SimpleNamespace(other_tempo_bpm=112.4, downbeat_confidence=1.0)
    parameters = SimpleNamespace(bars=SimpleNamespace(sure_from=0.5))
    (problem,) = _problems(decision, np.zeros(0, dtype=bool), None, Told(), parameters)
    assert isinstance(problem, Problem)
    draft = unsure(Issue(problem.code, problem.message, None, None, ()))
    assert [one.key for one in open_questions(draft)[0].readings] == [AS_DRAFTED, "tempo_112"]


@pytest.mark.parametrize("about", [TEMPO, DOWNBEAT])
def test_any_reading_answers_the_question_and_only_that(about):
    draft = unsure()
    question = question_about(draft, about)
    for reading in question.readings:
        after = applied(draft, reading.worked_out())
        assert [one.about for one in open_questions(after)] == [{TEMPO: DOWNBEAT, DOWNBEAT: TEMPO}[about]]
        if reading.key == AS_DRAFTED:
            told = draft.timing.downbeat_confidence if about == TEMPO else None
            assert after.timing.downbeat_confidence == told
            assert replace(after, issues=draft.issues, timing=draft.timing) == draft
            assert replace(after.timing, downbeat_confidence=0.5) == replace(
                draft.timing, downbeat_confidence=0.5
            )


def test_the_other_tempo_writes_the_rhythm_anew():
    draft = unsure()
    after = applied(draft, question_about(draft, TEMPO).reading("tempo_168").worked_out())
    assert after.timing.tempo_bpm == pytest.approx(168, rel=0.04)
    # The same line in beats half as long: twice as many of them between first note and last.
    before, now = ([note.start(one.meter) for note in one.notes] for one in (draft, after))
    assert float(now[-1] - now[0]) == pytest.approx(2 * float(before[-1] - before[0]), rel=0.05)


@pytest.mark.parametrize(("key", "late"), [("late_1", 1), ("late_2", 2), ("late_3", -1)])
def test_bar_lines_move_and_notes_stay_in_time(key, late):
    draft = unsure()
    after = applied(draft, question_about(draft, DOWNBEAT).reading(key).worked_out())
    for old, new in zip(draft.notes, after.notes, strict=True):
        assert (new.start(after.meter) - old.start(draft.meter)) % 4 == Fraction(-late) % 4
        assert new.onset_s == old.onset_s


def test_taps_or_a_tempo_that_a_person_gives_answer_too():
    from transcriber.draft import Correction
    from transcriber.review import changes

    draft = unsure()
    tapped = applied(draft, changes.downbeat(draft, [draft.timing.time_of(Fraction(1))]))
    assert [one.about for one in open_questions(tapped)] == [TEMPO]
    told = applied(draft, (Correction("change_timing", values={"tempo_bpm": 84.0}),))
    assert [one.about for one in open_questions(told)] == [DOWNBEAT]


def test_what_was_found_right_does_not_settle_another_tempo():
    from transcriber.draft import Correction

    draft = unsure()
    right = question_about(draft, TEMPO).reading(AS_DRAFTED).corrections
    faster = replace(draft, timing=replace(draft.timing, tempo_bpm=2 * draft.timing.tempo_bpm))
    with pytest.raises(DraftError, match="was found right"):
        applied(faster, right)
    with pytest.raises(DraftError, match="was found right"):
        applied(draft, (Correction("confirm_timing", values={"first_beat": "x"}),))


def test_readings_of_the_whole_take_are_told_and_heard_with_the_beat(tmp_path):
    path = write(unsure(), tmp_path)
    desk = Desk(path, path.with_name(drafted().source.file))
    told = desk.question(TEMPO, None)
    assert [one["key"] for one in told["readings"]] == [AS_DRAFTED, "tempo_168"]
    assert all(one["bars"] for one in told["readings"])
    sounds = [desk.reading(TEMPO, None, key) for key in (AS_DRAFTED, "tempo_168")]
    plain = desk.moment(TEMPO)
    take, once, twice = (np.frombuffer(one[44:], dtype="<i2").astype(float) for one in (plain, *sounds))
    assert len(take) == len(once) == len(twice)
    # Clicks stand where the beats are, and twice as many at twice the tempo.
    added = [np.abs(one - take) > 300 for one in (once, twice)]
    starts = [int(np.sum(np.diff(np.flatnonzero(one), prepend=-(10**6)) > 4000)) for one in added]
    assert starts[0] >= 3
    assert abs(starts[1] - 2 * starts[0]) <= 1


def test_a_question_about_the_take_is_answered_by_one_key_on_the_page(tmp_path, served, opened):
    path = write(unsure(), tmp_path)
    page = opened(served(path).address)
    until(lambda: page.locator("#asked").inner_text().startswith("2 questions left"))
    page.keyboard.press("n")
    page.wait_for_selector("#question-words:has-text('84 beats a minute')")
    becomes(lambda: page.locator(".readings .reading svg").count(), 2)
    page.keyboard.press("2")
    page.wait_for_selector("#question-words:has-text('bars begin')")
    settled(page, path, revision=1)
    assert read_corrected(path).draft.timing.tempo_bpm == pytest.approx(168, rel=0.04)
    page.keyboard.press("1")
    page.locator("#asked:has-text('No questions left')").wait_for()
    settled(page, path, revision=2)
    corrected = read_corrected(path)
    assert corrected.problems == ()
    journal = read_journal(journal_path(path))
    assert journal.entries[-1].correction.action == "confirm_timing"
    # Having found something right is no correction.
    assert totals_of(drafted(), corrected.draft, journal).corrections == 1
