"""What somebody is typing is never overwritten: the server's answer is held back while they type."""

import pytest
from browsers import Held, settled, until
from review_samples import drafted, write

from transcriber.draft import read_corrected


@pytest.fixture
def path(tmp_path):
    return write(drafted(), tmp_path)


@pytest.fixture
def page(path, served, opened):
    return opened(served(path).address)


def look(page, note_id):
    page.evaluate(f"page.choose('{note_id}', true)")
    page.locator("#closer").click()
    page.wait_for_selector("#inset")
    page.locator("#further > summary").click()


def standing(page):
    """The id of the field with the keyboard."""
    return page.evaluate("document.activeElement.id")


def test_tempo_and_meter_typed_while_the_key_is_being_kept_stand_and_are_taken(page, path):
    page.locator("#take-details > summary").click()
    page.locator("#tonic").select_option("A")
    page.locator("#mode").select_option("minor")
    with Held(page, "**/api/keep") as held:
        page.locator("#set-key").click()
        page.locator("#new-tempo").fill("112")
        page.locator("#new-meter").press("End")
        page.keyboard.type("x")
        page.keyboard.press("ArrowLeft")
        held.let_go()
    settled(page, path)
    assert read_corrected(path).draft.key.tonic == "A"
    assert page.locator("#new-tempo").input_value() == "112"
    # The keyboard is where it was, between the meter and the letter.
    assert standing(page) == "new-meter"
    page.keyboard.press("Delete")
    page.keyboard.press("Home")
    page.keyboard.press("Delete")
    page.keyboard.type("6")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Delete")
    page.keyboard.type("8")
    assert page.locator("#new-meter").input_value() == "6/8"
    page.locator("#set-timing").click()
    settled(page, path, revision=2)
    assert str(read_corrected(path).draft.meter) == "6/8"
    # What was typed was taken: what the draft says stands there again, also when it is taken back.
    page.locator("#undo").click()
    settled(page, path, revision=3)
    assert page.locator("#new-meter").input_value() == "4/4"
    own = drafted().timing.tempo_bpm
    assert float(page.locator("#new-tempo").input_value()) == pytest.approx(own, abs=0.06)


def test_what_the_server_refuses_stays_in_the_fields(page, path):
    page.locator("#take-details > summary").click()
    page.locator("#new-meter").fill("4/5")
    page.locator("#set-timing").click()
    page.locator("#notices .bad").wait_for()
    page.faults.clear()
    page.evaluate("page.choose('n006', true)")
    page.keyboard.press("v")
    settled(page, path, revision=1)
    assert page.locator("#new-meter").input_value() == "4/5"


def test_the_tempo_of_playing_is_not_overwritten_while_it_is_typed(page, path):
    page.evaluate("page.choose('n006', true)")
    with Held(page, "**/api/keep") as held:
        page.keyboard.press("v")
        held.wait()
        page.locator("#tempo").select_text()
        page.keyboard.type("6")
        held.let_go()
        settled(page, path, revision=1)
    page.keyboard.type("0")
    page.keyboard.press("Enter")
    assert page.locator("#tempo").input_value() == "60"
    own = drafted().timing.tempo_bpm
    until(lambda: page.evaluate("page.player.rate") == pytest.approx(60 / own, rel=1e-3))


def test_taps_that_were_taken_are_not_taken_again(page, path):
    second = drafted().timing.beats_s[1]
    page.evaluate(f"page.player.taps = [{second}]; page.take.showTaps()")
    page.locator("#take-details > summary").click()
    assert page.locator("#taps").inner_text() == "1 tapped"
    page.locator("#set-downbeat").click()
    settled(page, path, revision=1)
    until(lambda: page.locator("#taps").inner_text() == "no taps yet")
    assert page.evaluate("page.player.taps.length") == 0


def test_keys_pressed_before_the_first_was_answered_go_on_from_it(page, path):
    before = drafted().note("n006")
    page.evaluate("page.choose('n006', true)")
    with Held(page, "**/api/keep") as held:
        for key in ("ArrowUp", "ArrowUp", "ArrowUp", "v", "h"):
            page.keyboard.press(key)
        held.let_go()
    settled(page, path, revision=5)
    note = read_corrected(path).draft.note("n006")
    assert note.pitch_midi == before.pitch_midi + 3
    assert note.has("vibrato")
    assert note.has("hammer_on")


def test_a_remark_typed_while_another_change_is_being_kept_goes_on_unbroken(page, path):
    look(page, "n010")
    with Held(page, "**/api/keep") as kept, Held(page, "**/api/question*") as asked:
        page.get_by_role("button", name="half-tone higher").click()
        kept.wait()
        page.locator("#remark").click()
        page.keyboard.type("let it ring")
        kept.let_go()
        asked.wait()
        for _ in range(4):
            page.keyboard.press("ArrowLeft")
        page.keyboard.type("really ")
        asked.let_go()
        settled(page, path, revision=1)
    assert standing(page) == "remark"
    page.keyboard.type("not ")
    assert page.locator("#remark").input_value() == "let it really not ring"
    # What stands around the remark is told anew: the note is higher now.
    higher = drafted().note("n010").pitch_midi + 1
    assert page.evaluate("page.store.notes.get('n010').pitch_midi") == higher
    shown = page.evaluate("page.store.notes.get('n010').name")
    assert page.locator("#further fieldset").first.locator("span").first.inner_text() == shown
    page.locator("#set-remark").click()
    settled(page, path, revision=2)
    assert read_corrected(path).draft.note("n010").remark == "let it really not ring"


@pytest.mark.parametrize(("field", "typed"), [("bar", "2"), ("beat-place", "5/2"), ("at-fret", "9")])
def test_a_field_of_the_closer_look_stands_while_the_note_is_changed(page, path, field, typed):
    look(page, "n010")
    with Held(page, "**/api/keep") as held:
        page.get_by_role("button", name="half-tone higher").click()
        held.wait()
        page.locator(f"#{field}").fill(typed)
        page.locator("#chord").fill("Am7")
        page.locator("#around-rhythm").check()
        page.locator("#length").select_option("1/2")
        page.locator(f"#{field}").focus()
        held.let_go()
        settled(page, path, revision=1)
    assert standing(page) == field
    assert page.locator(f"#{field}").input_value() == typed
    assert page.locator("#chord").input_value() == "Am7"
    assert page.locator("#around-rhythm").is_checked()
    assert page.locator("#length").input_value() == "1/2"


def test_a_field_that_was_only_stood_in_shows_what_changed_once_it_is_left(page, path):
    look(page, "n010")
    page.locator("#beat-place").focus()
    page.evaluate("page.edits.shift(page.store.notes.get('n010'), -1, 16)")
    settled(page, path, revision=1)
    note = read_corrected(path).draft.note("n010")
    assert note.beat != drafted().note("n010").beat
    assert standing(page) == "beat-place"
    page.locator("#remark").focus()
    assert page.locator("#beat-place").input_value() == str(note.beat)


def test_typing_goes_on_while_another_window_changes_the_draft(page, path, opened, served):
    look(page, "n010")
    page.locator("#remark").click()
    page.keyboard.type("soft")
    other = opened(served(path).address)
    other.evaluate("page.choose('n006', true)")
    other.keyboard.press("v")
    settled(other, path, revision=1)
    page.evaluate("page.refresh()")
    settled(page, path, revision=1)
    page.keyboard.type("er")
    assert page.locator("#remark").input_value() == "softer"
    until(lambda: page.evaluate("page.look.question.revision") == 1)
    assert page.locator("#remark").input_value() == "softer"


def test_whoever_goes_on_before_a_look_is_there_is_not_called_back(page, path):
    page.evaluate("page.choose('n005', true)")
    with Held(page, "**/api/question*") as held:
        page.keyboard.press("Enter")
        held.wait()
        page.keyboard.press("ArrowRight")
        held.let_go()
        page.wait_for_selector("#inset")
    assert page.evaluate("[page.chosen, document.activeElement.dataset.note]") == ["n006", "n006"]
    page.keyboard.press("v")
    settled(page, path, revision=1)
    assert read_corrected(path).draft.note("n006").has("vibrato")
    assert not read_corrected(path).draft.note("n005").has("vibrato")
    assert page.locator("#inset").count() == 1


def test_an_inserted_note_does_not_take_the_keyboard_from_a_field(page, path):
    page.evaluate("page.choose('n010', true)")
    page.locator("#take-details > summary").click()
    page.evaluate("page.choose('n010', true)")
    with Held(page, "**/api/keep") as held:
        page.keyboard.press("i")
        held.wait()
        page.locator("#new-meter").select_text()
        page.keyboard.type("3")
        held.let_go()
        settled(page, path, revision=1)
    page.keyboard.type("/4")
    assert page.locator("#new-meter").input_value() == "3/4"


def test_looking_for_other_windows_changes_does_not_take_our_own_for_one(page, path):
    """The look comes while our answer is under way: the page goes on to the next question all the same."""
    page.evaluate("page.look.show('n005', 'technique')")
    page.wait_for_selector("#inset")
    before = page.evaluate("page.store.sheet.revision")
    with Held(page, "**/api/revision") as asked:
        page.evaluate("void page.refresh()")
        asked.wait()
        page.evaluate("page.choose('n006', false)")
        page.keyboard.press("v")
        settled(page, path, revision=before + 1)
        page.evaluate("page.looked = 0; page.store.onChange(() => { page.looked += 1; })")
        asked.let_go()
        page.wait_for_timeout(400)
    assert page.evaluate("page.looked") == 0
    assert "changed elsewhere" not in page.locator("#spoken").text_content()
    # An old sheet that arrives late does not take the place of a newer one.
    with Held(page, "**/api/sheet") as asked:
        page.evaluate("page.store.sheet.revision = 0, void page.store.refresh()")
        asked.wait()
        page.evaluate("page.store.sheet.revision = 1")
        page.keyboard.press("h")
        settled(page, path, revision=before + 2)
        page.evaluate("page.looked = 0")
        asked.let_go()
        page.wait_for_timeout(400)
    assert page.evaluate("[page.looked, page.store.sheet.revision]") == [0, before + 2]


def test_the_amount_of_a_technique_typed_while_another_change_is_kept_stands_and_is_taken(page, path):
    look(page, "n010")
    at = [one.kind for one in read_corrected(path).draft.note("n010").techniques].index("vibrato")
    depth = page.locator(f"#vibrato-{at}-depth")
    with Held(page, "**/api/keep") as held:
        page.get_by_role("button", name="half-tone higher").click()
        held.wait()
        depth.select_text()
        page.keyboard.type("0.")
        held.let_go()
        settled(page, path, revision=1)
    page.keyboard.type("9")
    page.keyboard.press("Enter")
    settled(page, path, revision=2)
    note = read_corrected(path).draft.note("n010")
    assert note.technique("vibrato").depth_semitones == 0.9
    assert note.pitch_midi == drafted().note("n010").pitch_midi + 1
    assert depth.input_value() == "0.9"
    # A tick shows what the draft says, also when it is taken back.
    optional = page.locator(f"#vibrato-{at}-optional")
    optional.check()
    settled(page, path, revision=3)
    assert read_corrected(path).draft.note("n010").technique("vibrato").optional
    page.locator("#undo").click()
    settled(page, path, revision=4)
    assert not optional.is_checked()
