"""Every correction made on the page in a real browser, and undone; what is kept is on the disk."""

from dataclasses import replace
from fractions import Fraction

import pytest
from browsers import Program, becomes, settled, until
from review_samples import drafted, sureness, with_note, write

from transcriber.draft import read_corrected, read_draft, read_journal
from transcriber.draft.apply_note import changed_note
from transcriber.draft.journal import journal_path


@pytest.fixture
def path(tmp_path):
    draft = with_note(drafted(), "n003", confidence=sureness(technique=0.2))
    return write(with_note(draft, "n007", confidence=sureness(place=0.3)), tmp_path)


@pytest.fixture
def page(path, served, opened):
    return opened(served(path).address)


def now(path):
    return read_corrected(path).draft


def revision(path):
    return read_journal(journal_path(path)).revision


def choose(page, note_id):
    page.evaluate(f"page.choose('{note_id}', true)")


def look(page, note_id):
    choose(page, note_id)
    page.locator("#closer").click()
    page.wait_for_selector("#inset")
    page.locator("#further > summary").click()


KEYS = {
    "ArrowUp": lambda old, new: new.pitch_midi == old.pitch_midi + 1,
    "ArrowDown": lambda old, new: new.pitch_midi == old.pitch_midi - 1,
    "Shift+ArrowDown": lambda old, new: new.string != old.string and new.pitch_midi == old.pitch_midi,
    "v": lambda old, new: new.has("vibrato") != old.has("vibrato"),
    "b": lambda old, new: new.has("bend") != old.has("bend"),
    "p": lambda old, new: new.has("pull_off"),
    "h": lambda old, new: new.has("hammer_on"),
    "l": lambda old, new: new.has("slide"),
    "-": lambda old, new: new.length == old.length / 2,
    ",": lambda old, new: (new.bar, new.beat) == (old.bar, old.beat - Fraction(1, 4)),
    "y": lambda old, new: new.confidence.overall == 1.0,
    "Delete": lambda old, new: new is None,
}


def test_each_key_makes_its_correction_and_z_takes_it_back(page, path):
    note_id, count = "n010", len(drafted().notes)
    for key, made in KEYS.items():
        old, seen = now(path).note(note_id), revision(path)
        choose(page, note_id)
        page.keyboard.press(key)
        settled(page, path, revision=seen + 1)
        assert made(old, now(path).note(note_id)), key
        page.keyboard.press("z")
        settled(page, path, revision=seen + 2)
        assert now(path) == read_draft(path), key
        assert page.evaluate("page.store.sheet.can_redo")
        assert page.evaluate("page.store.sheet.notes.length") == count


def test_another_string_keeps_the_pitch_when_the_take_is_drafted_with_a_capo(page, path):
    old = now(path).note("n010")
    choose(page, "n010")
    page.keyboard.press("Shift+ArrowDown")
    until(lambda: now(path).note("n010").string != old.string)
    moved = now(path).note("n010")
    values = read_journal(journal_path(path)).entries[-1].correction.values
    again = replace(drafted(), instrument=replace(drafted().instrument, capo=1))
    found = changed_note(again, replace(old, fret=old.fret - 1), values)
    assert (found.pitch_midi, found.string, found.fret) == (old.pitch_midi, moved.string, moved.fret - 1)


def test_notes_are_parted_joined_and_inserted(page, path):
    before = drafted().note("n010")
    choose(page, "n010")
    page.keyboard.press("s")
    settled(page, path, revision=1)
    first, second = now(path).note("n010"), now(path).note("c1")
    assert (first.length, second.length) == (before.length / 2, before.length / 2)
    assert first.end_s == second.onset_s
    assert second.start(now(path).meter) == before.start(now(path).meter) + before.length / 2
    page.keyboard.press("j")
    settled(page, path, revision=2)
    joined = now(path).note("n010")
    assert now(path).note("c1") is None
    assert (joined.length, joined.end_s) == (before.length, before.end_s)
    page.keyboard.press("i")
    settled(page, path, revision=3)
    # There was a rest behind the note: the new one stands in it.
    inserted = now(path).note("c3")
    assert len(now(path).notes) == len(drafted().notes) + 1
    assert inserted.start(now(path).meter) == before.end(now(path).meter)
    page.keyboard.press("z")
    settled(page, path, revision=4)
    assert len(now(path).notes) == len(drafted().notes)


def test_what_has_fields_is_corrected_by_them(page, path):
    look(page, "n010")
    page.locator("#remark").fill("Lean <b>into</b> this one")
    page.locator("#set-remark").click()
    until(lambda: now(path).note("n010").remark == "Lean <b>into</b> this one")
    settled(page, path)
    until(lambda: page.locator("#sheet .remarks li").first.inner_text().endswith("Lean <b>into</b> this one"))
    becomes(lambda: page.locator("#sheet .remarks li b").count(), 1)
    page.locator("#phrase-name").fill("Rain on the roof")
    page.locator("#phrase-remark").fill("slowly first")
    page.locator("#set-phrase").click()
    until(lambda: any(phrase.name == "Rain on the roof" for phrase in now(path).phrases))
    settled(page, path)
    becomes(lambda: page.locator("#sheet text.phrase").first.text_content(), "Rain on the roof")
    page.locator("#chord").fill("Am7")
    page.locator("#set-chord").click()
    until(lambda: [chord.name for chord in now(path).chords] == ["Am7"])
    settled(page, path)
    page.locator("#add-technique").select_option("bend")
    until(lambda: now(path).note("n010").has("bend"))
    settled(page, path)
    page.locator("#inset").get_by_label("optional").first.check()
    until(lambda: now(path).note("n010").techniques[0].optional)
    settled(page, path)
    page.get_by_label("Remove bend").click()
    until(lambda: not now(path).note("n010").has("bend"))
    settled(page, path)
    page.get_by_label("Beat, such as").fill("2")
    page.locator("#length").select_option("1/2")
    page.locator("#around-rhythm").check()
    page.locator("#set-rhythm").click()
    until(lambda: now(path).note("n010").length == Fraction(1, 2))
    settled(page, path)
    assert now(path).note("n010").beat == 2
    other = page.locator("[data-place][aria-pressed=false]").first
    string, fret = map(int, other.get_attribute("data-place").split("/"))
    page.locator("#around-place").check()
    other.click()
    until(lambda: (now(path).note("n010").string, now(path).note("n010").fret) == (string, fret))
    settled(page, path)
    assert read_journal(journal_path(path)).entries[-1].correction.action == "refinger"


def test_the_whole_take_is_corrected_tempo_meter_key_and_downbeat(page, path):
    page.locator("#take-details > summary").click()
    page.locator("#tonic").select_option("A")
    page.locator("#mode").select_option("minor")
    page.locator("#set-key").click()
    settled(page, path, revision=1)
    assert (now(path).key.tonic, now(path).key.mode) == ("A", "minor")
    until(lambda: "A minor" in page.locator("#facts").inner_text())
    page.locator("#new-meter").fill("6/8")
    page.locator("#new-tempo").fill("112")
    page.locator("#set-timing").click()
    settled(page, path, revision=2)
    assert str(now(path).meter) == "6/8"
    until(lambda: "6/8" in page.locator("#facts").inner_text())
    page.locator("#undo").click()
    settled(page, path, revision=3)
    assert now(path).timing == drafted().timing
    second = drafted().timing.time_of(Fraction(1))
    # Slowly, so that a late key still falls on the beat.
    page.evaluate(f"page.player.setRate(0.07), page.player.play({second - 0.05})")
    until(lambda: page.evaluate("page.player.playing"))
    page.locator("#title").click()
    until(lambda: page.evaluate("page.player.time") > second - 0.02)
    page.keyboard.press("t")
    page.keyboard.press("Space")
    page.locator("#set-downbeat").click()
    settled(page, path, revision=4)
    assert now(path).timing.first_beat == drafted().timing.first_beat - 1


def test_questions_are_answered_with_one_key_each(page, path):
    until(lambda: page.locator("#asked").inner_text().startswith("2 questions left"))
    page.keyboard.press("n")
    page.wait_for_selector("#inset")
    until(lambda: page.locator("#question-words").inner_text().startswith("Bar 1, beat 2"))
    page.keyboard.press("2")
    until(lambda: page.locator("#asked").inner_text().startswith("1 question left"))
    page.wait_for_selector("#question-words:has-text('on string')")
    settled(page, path)
    until(
        lambda: (
            page.locator(".readings .reading svg").count() == page.locator(".readings .reading").count() >= 2
        )
    )
    page.keyboard.press("1")
    until(lambda: page.locator("#asked").inner_text().startswith("No questions left"))
    becomes(lambda: page.locator("#inset").count(), 0)
    assert read_journal(journal_path(path)).entries[-1].correction.action == "confirm_note"


def test_a_reading_and_the_moment_of_the_take_are_heard(page):
    page.keyboard.press("n")
    page.wait_for_selector("#inset")
    page.keyboard.press("0")
    until(lambda: page.evaluate("page.player.short && page.player.short.currentTime > 0.1"))
    until(lambda: "moment" in page.evaluate("page.player.short.src"))
    page.keyboard.press("Shift+2")
    until(lambda: "reading" in page.evaluate("page.player.short.src"))
    until(lambda: page.evaluate("page.player.short.currentTime > 0.1"))
    assert page.evaluate("page.player.short.volume") <= 0.3


def test_two_windows_on_one_draft_do_not_lose_each_others_work(path, served, opened):
    address = served(path).address
    one, other = opened(address), opened(address)
    other.evaluate("page.refresh = () => undefined")
    choose(one, "n006")
    one.keyboard.press("v")
    until(lambda: revision(path) == 1)
    choose(other, "n012")
    other.keyboard.press("Delete")
    button = other.get_by_role("button", name="Make my change all the same")
    button.wait_for()
    assert revision(path) == 1
    other.faults.clear()
    button.click()
    until(lambda: revision(path) == 2)
    settled(other, path, revision=2)
    until(lambda: one.evaluate("page.refresh(), page.store.sheet.revision") == 2)
    for window in (one, other):
        sheet = window.evaluate("page.store.sheet")
        assert "n012" not in [note["id"] for note in sheet["notes"]]
        assert "vibrato" in next(note["how"] for note in sheet["notes"] if note["id"] == "n006")


def test_a_killed_server_and_a_closed_window_lose_nothing(path, opened):
    program = Program(path)
    page = opened(program.address)
    choose(page, "n006")
    page.keyboard.press("v")
    settled(page, path, revision=1)
    program.kill()
    choose(page, "n012")
    page.keyboard.press("Delete")
    page.get_by_text("The server does not answer").wait_for()
    assert revision(path) == 1
    with journal_path(path).open("ab") as file:
        file.write(b'{"format_version": 2, "revis')
    again = Program(path, program.port)
    page.goto("about:blank")
    page.faults.clear()
    page.goto(again.address)
    page.wait_for_selector("body[data-ready]")
    page.get_by_role("button", name="Make it now").click()
    until(lambda: revision(path) == 2)
    assert now(path).note("n006").has("vibrato")
    assert now(path).note("n012") is None
    page.context.close()
    assert again.interrupt() == 130
    assert now(path).note("n012") is None


def test_the_keyboard_alone_reaches_notes_questions_and_buttons(page):
    page.keyboard.press("Tab")
    becomes(lambda: page.evaluate("document.activeElement.className"), "skip")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")
    becomes(lambda: page.evaluate("document.activeElement.dataset.note"), "n002")
    until(lambda: page.locator("#spoken").text_content().startswith("bar 1, beat"))
    page.keyboard.press("Enter")
    page.wait_for_selector("#inset")
    becomes(lambda: page.evaluate("document.activeElement.id"), "inset")
    page.keyboard.press("Tab")
    until(lambda: "Close" in page.evaluate("document.activeElement.innerText"))
    page.keyboard.press("Escape")
    until(lambda: page.locator("#inset").count() == 0)
    unnamed = page.evaluate(
        """[...document.querySelectorAll('button, input, select, textarea, [role=button]')].filter(e =>
        !e.textContent.trim() && !e.getAttribute('aria-label') && !(e.labels && e.labels.length)).length"""
    )
    assert unnamed == 0


def test_the_keyboards_place_is_kept_when_the_sheet_is_drawn_anew(page, path):
    page.keyboard.press("ArrowRight")
    page.keyboard.press("v")
    settled(page, path, revision=1)
    becomes(lambda: page.evaluate("document.activeElement.dataset.note"), "n001")
    look(page, "n005")
    higher = page.get_by_role("button", name="half-tone higher")
    higher.focus()
    for count in (2, 3):
        page.keyboard.press("Enter")
        settled(page, path, revision=count)
    becomes(lambda: page.evaluate("document.activeElement.textContent"), "half-tone higher")
    assert now(path).note("n005").pitch_midi == drafted().note("n005").pitch_midi + 2


def test_the_question_asked_for_last_is_the_one_that_is_shown(page):
    page.evaluate("page.look.show('n005'), page.look.show('n009')")
    page.wait_for_selector("#inset")
    until(lambda: page.evaluate("page.look.question.about") == "n009")
    becomes(lambda: page.locator("#inset").count(), 1)
