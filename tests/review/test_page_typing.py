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
