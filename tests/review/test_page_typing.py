"""What somebody is typing is never overwritten: the server's answer is held back while they type."""

import pytest
from browsers import Held, becomes, settled, until
from review_samples import drafted, write

from transcriber.draft import read_corrected


@pytest.fixture
def path(tmp_path):
    return write(drafted(), tmp_path)


@pytest.fixture
def page(path, served, opened):
    return opened(served(path).address)


def choose(page, note_id):
    page.evaluate(f"page.choose('{note_id}', true)")


def look(page, note_id):
    choose(page, note_id)
    page.locator("#closer").click()
    page.wait_for_selector("#inset")
    page.locator("#further > summary").click()


def press(page, *keys):
    for key in keys:
        page.keyboard.press(key)


def higher(page):
    page.get_by_role("button", name="half-tone higher").click()


def keeping(page):
    """Hold back what the page sends to be kept."""
    return Held(page, "/api/keep")


def shown(page, field):
    """What a field shows."""
    return page.locator(f"#{field}").input_value()


def note_of(path, note_id):
    """A note as it is on the disk."""
    return read_corrected(path).draft.note(note_id)


def standing(page):
    """The id of the field with the keyboard."""
    return page.evaluate("document.activeElement.id")


def test_tempo_and_meter_typed_while_the_key_is_being_kept_stand_and_are_taken(page, path):
    page.locator("#take-details > summary").click()
    page.locator("#tonic").select_option("A")
    page.locator("#mode").select_option("minor")
    with keeping(page) as held:
        page.locator("#set-key").click()
        page.locator("#new-tempo").fill("112")
        page.locator("#new-meter").press("End")
        page.keyboard.type("x")
        press(page, "ArrowLeft")
        held.let_go()
    settled(page, path)
    assert read_corrected(path).draft.key.tonic == "A"
    becomes(lambda: shown(page, "new-tempo"), "112")
    # The keyboard is where it was, between the meter and the letter.
    becomes(lambda: standing(page), "new-meter")
    press(page, "Delete", "Home", "Delete")
    page.keyboard.type("6")
    press(page, "ArrowRight", "Delete")
    page.keyboard.type("8")
    becomes(lambda: shown(page, "new-meter"), "6/8")
    page.locator("#set-timing").click()
    settled(page, path, revision=2)
    assert str(read_corrected(path).draft.meter) == "6/8"
    # What was typed was taken: what the draft says stands there again, also when it is taken back.
    page.locator("#undo").click()
    settled(page, path, revision=3)
    becomes(lambda: shown(page, "new-meter"), "4/4")
    own = drafted().timing.tempo_bpm
    becomes(lambda: float(shown(page, "new-tempo")), pytest.approx(own, abs=0.06))


def test_what_the_server_refuses_stays_in_the_fields(page, path):
    page.locator("#take-details > summary").click()
    page.locator("#new-meter").fill("4/5")
    page.locator("#set-timing").click()
    page.locator("#notices .bad").wait_for()
    page.faults.clear()
    choose(page, "n006")
    press(page, "v")
    settled(page, path, revision=1)
    becomes(lambda: shown(page, "new-meter"), "4/5")


def test_the_tempo_of_playing_is_not_overwritten_while_it_is_typed(page, path):
    choose(page, "n006")
    with keeping(page) as held:
        press(page, "v")
        held.wait()
        page.locator("#tempo").select_text()
        page.keyboard.type("6")
        held.let_go()
        settled(page, path, revision=1)
    page.keyboard.type("0")
    press(page, "Enter")
    becomes(lambda: shown(page, "tempo"), "60")
    own = drafted().timing.tempo_bpm
    until(lambda: page.evaluate("page.player.rate") == pytest.approx(60 / own, rel=1e-3))


def test_taps_that_were_taken_are_not_taken_again(page, path):
    second = drafted().timing.beats_s[1]
    page.evaluate(f"page.player.taps = [{second}]; page.take.showTaps()")
    page.locator("#take-details > summary").click()
    becomes(lambda: page.locator("#taps").inner_text(), "1 tapped")
    page.locator("#set-downbeat").click()
    settled(page, path, revision=1)
    until(lambda: page.locator("#taps").inner_text() == "no taps yet")
    becomes(lambda: page.evaluate("page.player.taps.length"), 0)


def test_keys_pressed_before_the_first_was_answered_go_on_from_it(page, path):
    before = drafted().note("n006")
    choose(page, "n006")
    with keeping(page) as held:
        press(page, "ArrowUp", "ArrowUp", "ArrowUp", "v", "h")
        held.let_go()
    settled(page, path, revision=5)
    note = note_of(path, "n006")
    assert note.pitch_midi == before.pitch_midi + 3
    assert note.has("vibrato")
    assert note.has("hammer_on")


def test_a_remark_typed_while_another_change_is_being_kept_goes_on_unbroken(page, path):
    look(page, "n010")
    with keeping(page) as kept, Held(page, "/api/question") as asked:
        higher(page)
        kept.wait()
        page.locator("#remark").click()
        page.keyboard.type("let it ring")
        kept.let_go()
        asked.wait()
        press(page, *["ArrowLeft"] * 4)
        page.keyboard.type("really ")
        asked.let_go()
        settled(page, path, revision=1)
    becomes(lambda: standing(page), "remark")
    page.keyboard.type("not ")
    becomes(lambda: shown(page, "remark"), "let it really not ring")
    # What stands around the remark is told anew: the note is higher now.
    raised = drafted().note("n010").pitch_midi + 1
    becomes(lambda: page.evaluate("page.store.notes.get('n010').pitch_midi"), raised)
    name = page.evaluate("page.store.notes.get('n010').name")
    becomes(lambda: page.locator("#further fieldset").first.locator("span").first.inner_text(), name)
    page.locator("#set-remark").click()
    settled(page, path, revision=2)
    assert note_of(path, "n010").remark == "let it really not ring"


@pytest.mark.parametrize(("field", "typed"), [("bar", "2"), ("beat-place", "5/2"), ("at-fret", "9")])
def test_a_field_of_the_closer_look_stands_while_the_note_is_changed(page, path, field, typed):
    look(page, "n010")
    with keeping(page) as held:
        higher(page)
        held.wait()
        page.locator(f"#{field}").fill(typed)
        page.locator("#chord").fill("Am7")
        page.locator("#around-rhythm").check()
        page.locator("#length").select_option("1/2")
        page.locator(f"#{field}").focus()
        held.let_go()
        settled(page, path, revision=1)
    becomes(lambda: standing(page), field)
    becomes(lambda: shown(page, field), typed)
    becomes(lambda: shown(page, "chord"), "Am7")
    until(lambda: page.locator("#around-rhythm").is_checked())
    becomes(lambda: shown(page, "length"), "1/2")


def test_a_field_that_was_only_stood_in_shows_what_changed_once_it_is_left(page, path):
    look(page, "n010")
    page.locator("#beat-place").focus()
    page.evaluate("page.edits.shift(page.store.notes.get('n010'), -1, 16)")
    settled(page, path, revision=1)
    note = note_of(path, "n010")
    assert note.beat != drafted().note("n010").beat
    becomes(lambda: standing(page), "beat-place")
    page.locator("#remark").focus()
    becomes(lambda: shown(page, "beat-place"), str(note.beat))


def test_typing_goes_on_while_another_window_changes_the_draft(page, path, opened, served):
    look(page, "n010")
    page.locator("#remark").click()
    page.keyboard.type("soft")
    other = opened(served(path).address)
    choose(other, "n006")
    press(other, "v")
    settled(other, path, revision=1)
    page.evaluate("page.refresh()")
    settled(page, path, revision=1)
    page.keyboard.type("er")
    becomes(lambda: shown(page, "remark"), "softer")
    until(lambda: page.evaluate("page.look.question.revision") == 1)
    becomes(lambda: shown(page, "remark"), "softer")


def test_whoever_goes_on_before_a_look_is_there_is_not_called_back(page, path):
    choose(page, "n005")
    with Held(page, "/api/question") as held:
        press(page, "Enter")
        held.wait()
        press(page, "ArrowRight")
        held.let_go()
        page.wait_for_selector("#inset")
    becomes(lambda: page.evaluate("[page.chosen, document.activeElement.dataset.note]"), ["n006", "n006"])
    press(page, "v")
    settled(page, path, revision=1)
    assert note_of(path, "n006").has("vibrato")
    assert not note_of(path, "n005").has("vibrato")
    becomes(lambda: page.locator("#inset").count(), 1)


def test_an_inserted_note_does_not_take_the_keyboard_from_a_field(page, path):
    choose(page, "n010")
    page.locator("#take-details > summary").click()
    choose(page, "n010")
    with keeping(page) as held:
        press(page, "i")
        held.wait()
        page.locator("#new-meter").select_text()
        page.keyboard.type("3")
        held.let_go()
        settled(page, path, revision=1)
    page.keyboard.type("/4")
    becomes(lambda: shown(page, "new-meter"), "3/4")


def test_looking_for_other_windows_changes_does_not_take_our_own_for_one(page, path):
    """The look comes while our answer is under way: the page goes on to the next question all the same."""
    page.evaluate("page.look.show('n005', 'technique')")
    page.wait_for_selector("#inset")
    before = page.evaluate("page.store.sheet.revision")
    with Held(page, "/api/revision") as asked:
        page.evaluate("void page.refresh()")
        asked.wait()
        page.evaluate("page.choose('n006', false)")
        press(page, "v")
        settled(page, path, revision=before + 1)
        page.evaluate("page.looked = 0; page.store.onChange(() => { page.looked += 1; })")
        asked.let_go()
        page.wait_for_timeout(400)
    assert page.evaluate("page.looked") == 0
    assert "changed elsewhere" not in page.locator("#spoken").text_content()
    # An old sheet that arrives late does not take the place of a newer one.
    with Held(page, "/api/sheet") as asked:
        page.evaluate("page.store.sheet.revision = 0, void page.store.refresh()")
        asked.wait()
        page.evaluate("page.store.sheet.revision = 1")
        press(page, "h")
        settled(page, path, revision=before + 2)
        page.evaluate("page.looked = 0")
        asked.let_go()
        page.wait_for_timeout(400)
    assert page.evaluate("[page.looked, page.store.sheet.revision]") == [0, before + 2]


def test_the_amount_of_a_technique_typed_while_another_change_is_kept_stands_and_is_taken(page, path):
    look(page, "n010")
    at = [one.kind for one in note_of(path, "n010").techniques].index("vibrato")
    depth = page.locator(f"#vibrato-{at}-depth")
    with keeping(page) as held:
        higher(page)
        held.wait()
        depth.select_text()
        page.keyboard.type("0.")
        held.let_go()
        settled(page, path, revision=1)
    page.keyboard.type("9")
    press(page, "Enter")
    settled(page, path, revision=2)
    note = note_of(path, "n010")
    assert note.technique("vibrato").depth_semitones == 0.9
    assert note.pitch_midi == drafted().note("n010").pitch_midi + 1
    becomes(lambda: depth.input_value(), "0.9")
    # A tick shows what the draft says, also when it is taken back.
    optional = page.locator(f"#vibrato-{at}-optional")
    optional.check()
    settled(page, path, revision=3)
    assert note_of(path, "n010").technique("vibrato").optional
    page.locator("#undo").click()
    settled(page, path, revision=4)
    until(lambda: not optional.is_checked())
