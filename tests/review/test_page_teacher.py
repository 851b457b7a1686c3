"""A scripted teacher, who knows the line by heart, corrects a draft with twenty planted errors.

Each key pressed and each click is a gesture. The teacher answers the questions first, by the reading that is
written as the line should be; then looks through the sheet for what the draft was sure of, and corrects it
by a click on the note and keys.
"""

from __future__ import annotations

import pytest
from browsers import settled
from planted import differences, right, with_errors
from review_samples import write

from transcriber.draft import read_corrected, read_journal
from transcriber.draft.journal import journal_path
from transcriber.review.labels import labelled_lines, summary_of

PLANTED = 20
MOST_GESTURES = 45


class Teacher:
    """Hands on the page, counted."""

    def __init__(self, page, path) -> None:
        self.page, self.path, self.gestures = page, path, 0

    def press(self, key: str) -> None:
        self.gestures += 1
        self.page.keyboard.press(key)

    def pick(self, note_id: str) -> None:
        self.gestures += 1
        self.page.locator(f"#sheet [data-note={note_id}] .hit").first.click()

    def draft(self):
        return read_corrected(self.path).draft

    def kept(self, act) -> None:
        """Do something and wait until the page shows that it was kept."""
        seen = self.page.evaluate("page.store.sheet.revision")
        act()
        settled(self.page, self.path, revision=seen + 1)

    def answer_questions(self) -> int:
        asked = 0
        self.press("n")
        while self.page.evaluate("page.store.sheet.questions.length"):
            self.page.wait_for_selector("#inset")
            question = self.page.evaluate("page.look.question")
            number = self.right_reading(question)
            asked += 1
            if question["alike"] and self.alike_are_the_same(question):
                self.press("a")
            self.kept(lambda number=number: self.press(str(number)))
        return asked

    def right_reading(self, question) -> int:
        wanted = {note.id: note for note in right().notes}
        for number, reading in enumerate(question["readings"], start=1):
            notes = {note["id"]: note for note in reading["notes"]}
            about = question["about"]
            if about.endswith("b"):
                # Never struck: right is the reading that holds the note before on.
                if about not in notes:
                    return number
                continue
            truth = wanted[about]
            shown = notes[about]
            place = (shown["pitch_midi"], shown["string"], shown["fret"])
            rhythm = (shown["bar"], shown["beat"], shown["length"])
            kinds = [(one["kind"], _rounded(one.get("semitones"))) for one in shown["techniques"]]
            own = [(one.kind, _rounded(one.semitones)) for one in truth.techniques]
            fits = {
                "place": place == (truth.pitch_midi, truth.string, truth.fret),
                "pitch": place == (truth.pitch_midi, truth.string, truth.fret),
                "rhythm": rhythm == (truth.bar, str(truth.beat), str(truth.length)),
                "technique": kinds == own,
            }
            if fits[question["aspect"]]:
                return number
        raise AssertionError(f"no right reading: {question['words']}")

    def alike_are_the_same(self, question) -> bool:
        """Of a place that is wrong in the same way each time, a teacher knows that it always is."""
        return question["aspect"] == "place"


def _rounded(semitones):
    return None if semitones is None else round(2 * semitones) / 2


@pytest.mark.accuracy
def test_a_teacher_corrects_twenty_errors_in_few_gestures(tmp_path, served, opened):
    path = write(with_errors(), tmp_path, "planted")
    assert len({note for note, _ in differences(with_errors(), right())}) >= PLANTED - 2
    teacher = Teacher(opened(served(path).address), path)
    asked = teacher.answer_questions()
    by_questions = teacher.gestures
    left = differences(teacher.draft(), right())
    assert [wrong for _, wrong in left] == ["technique", "rhythm", "missing"], left
    teacher.pick("n029")
    teacher.kept(lambda: teacher.press("v"))
    teacher.pick("n060")
    teacher.kept(lambda: teacher.press("+"))
    teacher.pick("n069")
    teacher.kept(lambda: teacher.press("i"))
    teacher.kept(lambda: teacher.press("ArrowDown"))
    teacher.kept(lambda: teacher.press("ArrowDown"))
    assert differences(teacher.draft(), right()) == []
    print(
        f"\n{PLANTED} planted errors, {asked} questions: {by_questions} gestures for the questions, "
        f"{teacher.gestures - by_questions} for the rest, {teacher.gestures} in all"
    )
    assert teacher.gestures <= MOST_GESTURES
    totals = summary_of(path)
    assert totals.corrections <= PLANTED + 3
    assert totals.minutes > 0
    assert totals.still_unsure == 0
    labels = [line for line in labelled_lines(path) if '"label": "right"' not in line]
    assert sum('"label": "not_looked_at"' not in line for line in labels) >= PLANTED - 1
    assert read_journal(journal_path(path)).problems == ()
