"""The page in a real browser: the sheet is there, the take plays, slower, round and round, with the beat."""

import pytest
from browsers import notes_shown, until
from review_samples import drafted, sureness, with_note, write


@pytest.fixture
def page(tmp_path, served, opened):
    draft = with_note(drafted(), "n003", confidence=sureness(technique=0.2))
    return opened(served(write(draft, tmp_path)).address)


def time_of(page):
    return page.evaluate("page.player.time")


def test_the_sheet_shows_every_note_of_the_draft_and_one_cue(page):
    assert notes_shown(page) == sorted(note.id for note in drafted().notes)
    assert page.locator("#sheet text.cue").count() == 1
    frets = page.evaluate("[...document.querySelectorAll('#sheet .vf-tabnote text')].map(e => e.textContent)")
    for note in drafted().notes:
        assert str(note.fret) in frets
    label = page.locator("[data-note=n001][role=button]").first.get_attribute("aria-label")
    assert label == "bar 1, beat 1: D4, string 3, fret 7, bend full"


def test_a_click_on_a_note_plays_from_there_and_marks_what_sounds(page):
    note = drafted().notes[5]
    page.locator(f"#sheet [data-note={note.id}] .hit").first.click()
    until(lambda: time_of(page) > note.onset_s)
    assert page.evaluate("page.player.playing")
    assert time_of(page) < note.onset_s + 1.0
    marked = until(lambda: page.evaluate("[...document.querySelectorAll('.glow.sounding')].length"))
    assert marked >= 1
    later = drafted().notes[7]
    until(lambda: page.evaluate("page.sounding") == later.id, 4)
    page.keyboard.press("Space")
    until(lambda: not page.evaluate("page.player.playing"))


def test_it_starts_quiet_and_says_so(page):
    assert page.evaluate("page.player.audio.volume") <= 0.3
    assert "starts quiet" in page.locator("#hearing").inner_text()
    page.locator("#level").fill("0.6")
    assert page.evaluate("page.player.audio.volume") == pytest.approx(0.6)


def test_a_slower_tempo_in_bpm_keeps_the_pitch(page):
    own = drafted().timing.tempo_bpm
    page.locator("#tempo").fill("42")
    page.keyboard.press("Enter")
    assert page.evaluate("page.player.audio.playbackRate") == pytest.approx(42 / own, rel=1e-3)
    assert page.evaluate("page.player.audio.preservesPitch") is True
    page.evaluate("page.player.play(1.0)")
    page.wait_for_timeout(700)
    went = time_of(page) - 1.0
    assert 0.1 < went < 0.55
    page.locator("#tempo").fill("400")
    page.keyboard.press("Enter")
    assert page.evaluate("page.player.audio.playbackRate") == 1
    assert page.locator("#tempo").input_value() == str(round(own))


def test_bars_go_round_and_round(page):
    page.locator("#from").fill("2")
    page.locator("#to").fill("2")
    page.locator("#round").check()
    begin, end = page.evaluate("page.player.span")
    timing = drafted().timing
    assert begin == pytest.approx(timing.time_of(timing.meter.beats), abs=0.01)
    assert end == pytest.approx(timing.time_of(2 * timing.meter.beats), abs=0.01)
    assert page.evaluate("[...document.querySelectorAll('.round')].filter(e => !e.style.display).length") == 1
    page.evaluate(f"page.player.play({end - 0.3})")
    until(lambda: begin <= time_of(page) < end - 0.6)
    assert page.evaluate("page.player.playing")


def test_the_beat_is_clicked_as_often_as_there_are_beats(page):
    page.locator("#beat").check()
    page.evaluate("page.player.play(1.0)")
    until(lambda: time_of(page) > 3.6)
    page.evaluate("page.player.stop()")
    now = time_of(page)
    due = sum(1.0 <= time <= now for time in drafted().timing.beats_s)
    assert abs(page.evaluate("page.player.tapped") - due) <= 1


@pytest.mark.parametrize("kind", ["draft", "both"])
def test_the_draft_and_one_in_each_ear_can_be_heard_at_the_same_moment(page, kind):
    page.evaluate("page.player.audio.currentTime = 5")
    page.locator("#kind").select_option(kind)
    until(lambda: f"kind={kind}" in page.evaluate("page.player.audio.src"))
    until(lambda: page.evaluate("page.player.audio.readyState") >= 2, 15)
    assert time_of(page) == pytest.approx(5, abs=0.05)
    assert page.evaluate("page.player.audio.duration") == pytest.approx(drafted().source.duration_s, abs=0.05)
    page.evaluate("page.player.play()")
    until(lambda: time_of(page) > 5.3)


def test_a_notation_staff_is_drawn_on_request(page):
    before = page.evaluate("document.querySelectorAll('#sheet .vf-stavenote').length")
    page.locator("#staff").check()
    until(lambda: page.evaluate("document.querySelectorAll('#sheet .vf-stavenote').length") > before + 10)


@pytest.mark.parametrize("width", [390, 1280])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_it_fits_the_width_and_follows_the_systems_colours(tmp_path, served, opened, width, scheme):
    page = opened(served(write(drafted(), tmp_path)).address, width=width, scheme=scheme)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    paper = page.evaluate("getComputedStyle(document.documentElement).backgroundColor")
    light = sum(int(part) for part in paper.removeprefix("rgb(").removesuffix(")").split(",")) / 3
    assert (light > 200) == (scheme == "light")
    ink = page.evaluate("getComputedStyle(document.querySelector('#sheet .vf-tabnote text')).fill")
    dark = sum(int(part) for part in ink.removeprefix("rgb(").removesuffix(")").split(",")) / 3
    assert abs(light - dark) > 150
