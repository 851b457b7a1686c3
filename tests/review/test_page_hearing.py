"""The page in a real browser: the sheet is there, the take plays, slower, round and round, with the beat."""

import time

import pytest
from browsers import Held, Program, Served, becomes, notes_shown, open_page, until
from review_samples import drafted, repeated, sureness, with_note, write

from transcriber.records.technique import Technique
from transcriber.rework import written_score

# Rendering takes seconds, and many of them where others want the processor too.
TO_MAKE_A_SOUND_S = 90.0


@pytest.fixture(scope="module")
def window(tmp_path_factory, browser):
    """One window for all: nothing here changes the draft."""
    path = write(
        with_note(drafted(), "n003", confidence=sureness(technique=0.2)), tmp_path_factory.mktemp("heard")
    )
    server = Served(path, path.with_name(drafted().source.file))
    page = open_page(browser, server.address)
    yield page
    page.context.close()
    server.stop()


@pytest.fixture
def page(window):
    window.reload()
    window.wait_for_selector("body[data-ready]")
    yield window
    assert window.faults == []


def time_of(page):
    return page.evaluate("page.player.time")


def test_the_sheet_shows_every_note_of_the_draft_and_one_cue(page):
    becomes(lambda: notes_shown(page), sorted(note.id for note in drafted().notes))
    becomes(lambda: page.locator("#sheet text.cue").count(), 1)
    frets = page.evaluate("[...document.querySelectorAll('#sheet .vf-tabnote text')].map(e => e.textContent)")
    for note in drafted().notes:
        assert str(note.fret) in frets
    label = page.locator("[data-note=n001][role=button]").first.get_attribute("aria-label")
    assert label == "bar 1, beat 1: D4, string 3, fret 7, bend full"


def test_a_click_on_a_note_plays_from_there_and_marks_what_sounds(page):
    note, later = drafted().notes[5], drafted().notes[7]
    # The page itself notes down from when on it plays and what it marks: a look from outside may come late.
    page.evaluate(
        """() => {
          page.seen = { from: null, marked: [] };
          page.player.audio.addEventListener("playing", () => { page.seen.from ??= page.player.time; });
          const mark = page.view.mark.bind(page.view);
          page.view.mark = (name, id) => {
            mark(name, id);
            const shown = document.querySelector(".glow.sounding");
            if (name === "sounding" && id && shown) page.seen.marked.push(id);
          };
        }"""
    )
    page.locator(f"#sheet [data-note={note.id}] .hit").first.click()
    until(lambda: page.evaluate("page.seen.marked.length >= 3 || !page.player.playing && page.seen.from"))
    seen = page.evaluate("page.seen")
    assert seen["from"] == pytest.approx(note.onset_s, abs=0.1)
    assert note.id in seen["marked"][:2]
    until(lambda: later.id in page.evaluate("page.seen.marked"))
    until(lambda: page.evaluate("page.player.playing"))
    page.keyboard.press("Space")
    until(lambda: not page.evaluate("page.player.playing"))


def test_it_starts_quiet_and_says_so(page):
    assert page.evaluate("page.player.audio.volume") <= 0.3
    until(lambda: "starts quiet" in page.locator("#hearing").inner_text())
    page.locator("#level").fill("0.6")
    becomes(lambda: page.evaluate("page.player.audio.volume"), pytest.approx(0.6))


def test_a_slower_tempo_in_bpm_keeps_the_pitch(page):
    own = drafted().timing.tempo_bpm
    page.locator("#tempo").fill("42")
    page.keyboard.press("Enter")
    becomes(lambda: page.evaluate("page.player.audio.playbackRate"), pytest.approx(42 / own, rel=1e-3))
    until(lambda: page.evaluate("page.player.audio.preservesPitch") is True)
    measured = """async () => {
          await page.player.play(1.0);
          const { audio } = page.player;
          while (audio.currentTime < 1.1) await new Promise(done => setTimeout(done, 10));
          const [from, at] = [audio.currentTime, performance.now()];
          await new Promise(done => setTimeout(done, 1200));
          return (audio.currentTime - from) / ((performance.now() - at) / 1000);
        }"""
    # Sound may falter where others want the processor: it comes to be as fast as that.
    becomes(lambda: page.evaluate(measured), pytest.approx(42 / own, abs=0.15))
    page.locator("#tempo").fill("400")
    page.keyboard.press("Enter")
    becomes(lambda: page.evaluate("page.player.audio.playbackRate"), 1)
    becomes(lambda: page.locator("#tempo").input_value(), str(round(own)))


def test_bars_go_round_and_round(page):
    page.locator("#from").fill("2")
    page.locator("#to").fill("2")
    page.locator("#round").check()
    timing = drafted().timing
    begin, end = timing.time_of(timing.meter.beats), timing.time_of(2 * timing.meter.beats)
    becomes(lambda: page.evaluate("page.player.span"), pytest.approx([begin, end], abs=0.01))
    becomes(
        lambda: page.evaluate(
            "[...document.querySelectorAll('.round')].filter(e => !e.style.display).length"
        ),
        1,
    )
    page.evaluate(f"page.player.play({end - 0.3})")
    until(lambda: begin <= time_of(page) < end - 0.6)
    until(lambda: page.evaluate("page.player.playing"))


def test_the_beat_is_clicked_as_often_as_there_are_beats(page):
    page.locator("#beat").check()
    page.evaluate("page.player.play(1.0)")
    until(lambda: time_of(page) > 3.6)
    page.evaluate("page.player.stop()")
    now = time_of(page)
    due = sum(1.0 <= time <= now for time in drafted().timing.beats_s)
    assert abs(page.evaluate("page.player.tapped") - due) <= 1


def test_a_phrase_goes_round(page):
    phrase = drafted().phrases[1]
    page.locator("#phrase").select_option(phrase.id)
    becomes(
        lambda: page.evaluate("page.player.span"), pytest.approx([phrase.start_s, phrase.end_s], abs=0.06)
    )
    begin, end = page.evaluate("page.player.span")
    page.evaluate(f"page.player.play({end - 0.2})")
    until(lambda: begin <= time_of(page) < end - 0.4)


@pytest.mark.parametrize("kind", ["draft", "both"])
def test_the_draft_and_one_in_each_ear_can_be_heard_at_the_same_moment(page, kind):
    asked = []
    page.on("request", lambda request: asked.append(request.url))
    until(lambda: page.evaluate("page.player.there"))
    page.evaluate("page.player.seek(5)")
    page.locator("#kind").select_option(kind)
    becomes(lambda: time_of(page), pytest.approx(5, abs=0.05))
    # It takes long to make: so it is made when it is to be played.
    page.wait_for_timeout(300)
    assert not [url for url in asked if f"kind={kind}" in url]
    page.locator("#play").click()
    until(lambda: time_of(page) > 5.3, TO_MAKE_A_SOUND_S)
    assert [url for url in asked if f"kind={kind}" in url]
    becomes(
        lambda: page.evaluate("page.player.audio.duration"),
        pytest.approx(drafted().source.duration_s, abs=0.05),
    )
    page.locator("#play").click()
    until(lambda: not page.evaluate("page.player.playing"))


def test_waiting_for_a_sound_can_be_stopped_and_begun_again(page):
    page.locator("#kind").select_option("draft")
    with Held(page, "/sound/whole?kind=draft") as held:
        page.locator("#play").click()
        held.wait()
        until(lambda: page.locator("#making").is_visible())
        becomes(lambda: page.locator("#play").inner_text(), "Stop")
        page.locator("#play").click()
        until(lambda: page.locator("#making").is_hidden())
        becomes(lambda: page.locator("#play").inner_text(), "Play")
    page.wait_for_timeout(300)
    assert not page.evaluate("page.player.playing || page.player.there")
    page.locator("#play").click()
    until(lambda: page.evaluate("page.player.playing"), TO_MAKE_A_SOUND_S)


def test_a_notation_staff_is_drawn_on_request(page):
    before = page.evaluate("document.querySelectorAll('#sheet .vf-stavenote').length")
    page.locator("#staff").check()
    until(lambda: page.evaluate("document.querySelectorAll('#sheet .vf-stavenote').length") > before + 10)


def test_the_notation_staff_ties_what_is_held_and_crosses_what_is_dead(served, opened, tmp_path):
    """Two heads without a tie between them are two strokes to whoever reads the staff."""
    draft = with_note(drafted(), "n003", pitch_midi=None, techniques=(Technique("dead_note"),))
    page = opened(served(write(draft, tmp_path)).address)
    held = [piece for bar in written_score(draft).bars for piece in bar.pieces if piece.tied_out]
    assert len(held) == 1
    becomes(lambda: page.locator("[data-staff-tie]").count(), 0)
    page.locator("#staff").check()
    becomes(lambda: page.locator("#sheet [data-staff-tie]").count(), 1)
    box = page.locator("#sheet [data-staff-tie]").bounding_box()
    last = page.locator("#sheet .vf-stavenote .vf-notehead").last.bounding_box()
    assert box["width"] > last["width"]
    crosses = page.locator("#sheet .vf-stavenote", has_text="\ue0a9")  # SMuFL's noteheadXBlack
    becomes(crosses.count, 1)


@pytest.mark.parametrize(("width", "scheme"), [(390, "light"), (390, "dark"), (1280, "dark")])
def test_it_fits_the_width_and_follows_the_systems_colours(page, width, scheme):
    page.emulate_media(color_scheme=scheme)
    page.set_viewport_size({"width": width, "height": 860})
    page.keyboard.press("n")
    page.wait_for_selector("#inset")
    until(lambda: page.evaluate("document.documentElement.scrollWidth") <= width)

    def brightness(of):
        colour = page.evaluate(of).removeprefix("rgb(").removesuffix(")")
        return sum(int(part) for part in colour.split(",")) / 3

    paper = "getComputedStyle(document.documentElement).backgroundColor"
    ink = "getComputedStyle(document.querySelector('#sheet .vf-tabnote text')).fill"
    until(lambda: (brightness(paper) > 200) == (scheme == "light"))
    until(lambda: abs(brightness(paper) - brightness(ink)) > 150)
    page.emulate_media(color_scheme="light")
    page.set_viewport_size({"width": 1280, "height": 860})


@pytest.mark.accuracy
def test_a_long_draft_draws_only_the_lines_near_the_window(tmp_path, served, opened):
    """2,000 notes: how long opening takes is printed; it is no test, as others may want the processor too."""
    path = write(repeated(drafted(), 53), tmp_path, take=False)
    page = opened(served(path, take=False).address)
    shown = page.evaluate("performance.getEntriesByName('first notes')[0].startTime") / 1000
    until(lambda: page.evaluate("page.store.sheet.notes.length") >= 2000)
    lines, drawn = (page.locator(f"#sheet .line{part}").count() for part in ("", " svg"))
    assert drawn < 15 < lines
    print(f"\n2,000 notes: first lines after {shown:.2f} s, {drawn} of {lines} lines drawn")
    last = page.evaluate("page.store.order[page.store.order.length - 1]")
    page.evaluate(f"page.choose('{last}', true)")
    until(lambda: page.locator(f"#sheet [data-note={last}]").count() > 0)
    until(lambda: page.locator("#sheet .line svg").count() < 15)


@pytest.mark.accuracy
def test_ctrl_c_ends_the_command_at_once_though_a_long_sound_is_being_made(tmp_path, opened):
    """2,000 notes take half a minute: opening does not begin to render them, ending does not wait for it."""
    path = write(repeated(drafted(), 53), tmp_path, take=False)
    program = Program(path)
    page = opened(program.address)
    asked = []
    page.on("request", lambda request: asked.append(request.url))
    page.wait_for_timeout(500)
    assert not [url for url in asked if "/sound/" in url]
    page.locator("#play").click()
    until(lambda: page.locator("#making").is_visible())
    page.wait_for_timeout(1500)
    page.context.close()
    began = time.monotonic()
    assert program.interrupt() == 130
    took_s = time.monotonic() - began
    print(f"\nCtrl-C while the sound of 2,000 notes is being made: ended after {took_s:.2f} s")
    # No timing: half of what the sound takes at least tells whether it was waited for.
    assert took_s < 12.0
