"""What a note means (degree, chord, shape) is true right after a correction, on the page as in an export."""

from __future__ import annotations

import time
from dataclasses import replace

import pytest
from browsers import settled
from review_samples import drafted, repeated, write

from transcriber.draft import read_corrected
from transcriber.explain import explained
from transcriber.review.desk import Desk
from transcriber.review.meanings import meaning_words


@pytest.fixture
def desk(tmp_path):
    return Desk(write(drafted(), tmp_path, take=False), None)


def keep(desk, *corrections):
    told = desk.revision()
    return desk.keep({"seen": told["revision"], "draft": told["draft"], "corrections": list(corrections)})


def note_with(degree):
    return next(note for note in drafted().notes if note.meaning.degree == degree and not note.techniques)


def meaning(desk, note):
    return desk.question(note.id, None)["meaning"]


def test_pitch_key_and_chords_say_anew_what_a_note_is(desk):
    # A natural minor's third, by the interval: A to C.
    note = note_with("b3")
    assert meaning(desk, note).startswith("C: ♭3 in A minor")
    keep(desk, {"action": "set_key", "values": {"key": {"tonic": "C", "mode": "major"}}})
    assert meaning(desk, note).startswith("C: 1 in C major")
    whole = [{"name": "F", "bar": 1, "beat": "1", "length": "400"}]
    keep(desk, {"action": "set_chords", "values": {"chords": whole}})
    assert "5 over F (chord tone)" in meaning(desk, note)
    places = {"pitch_midi": note.pitch_midi + 2, "string": note.string, "fret": note.fret + 2}
    sheet = keep(desk, {"action": "change_note", "note": note.id, "values": places})
    assert meaning(desk, note).startswith("D: 2 in C major")
    assert "13 over F (extension)" in meaning(desk, note)
    # What the page shows is what an export of the same draft shows.
    corrected = explained(read_corrected(desk._open.path).draft)
    assert meaning(desk, note) == meaning_words(corrected, corrected.note(note.id))
    assert sheet["key"]["tonic"] == "C"


def test_every_note_means_something_after_every_kind_of_correction(desk):
    first, second = drafted().notes[3], drafted().notes[8]
    keep(desk, {"action": "remove_note", "note": second.id})
    keep(desk, {"action": "replace_techniques", "note": first.id, "values": {"techniques": []}})
    keep(desk, {"action": "set_remark", "note": first.id, "values": {"remark": "lean"}})
    shown = desk._explained(desk.draft()[0])
    assert all(note.meaning is not None for note in shown.notes)
    assert {each for shape in shown.shapes for each in shape.notes} <= {note.id for note in shown.notes}


def test_a_key_that_was_taken_away_is_not_found_again(desk):
    sheet = keep(desk, {"action": "set_key", "values": {"key": None}})
    assert sheet["key"] is None
    assert meaning(desk, drafted().notes[0]) is None


def test_the_page_shows_it_after_a_key_press(tmp_path, served, opened):
    path = write(drafted(), tmp_path)
    page = opened(served(path).address)
    note = note_with("b3")
    page.evaluate(f"page.look.show('{note.id}')")
    page.wait_for_selector("#inset")
    assert page.locator("#meaning").inner_text().startswith("C: ♭3 in A minor")
    page.keyboard.press("ArrowUp")
    settled(page, path, revision=1)
    assert page.locator("#meaning").inner_text().startswith("C♯: 3 in A")


def test_notes_that_mean_the_same_stay_the_same_records(tmp_path):
    draft = repeated(replace(drafted(), shapes=()), 8)
    desk = Desk(write(draft, tmp_path, take=False), None)
    keep(desk, {"action": "set_remark", "note": draft.notes[0].id, "values": {"remark": "a"}})
    before = desk._explained(desk.draft()[0])
    began = time.perf_counter()
    keep(desk, {"action": "set_remark", "note": draft.notes[1].id, "values": {"remark": "b"}})
    print(f"\n{len(draft.notes)} notes: a correction kept in {time.perf_counter() - began:.2f} s")
    after = desk._explained(desk.draft()[0])
    same = sum(old is new for old, new in zip(before.notes, after.notes, strict=True))
    assert same == len(draft.notes) - 1
