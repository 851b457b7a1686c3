"""The page that is sent: one file, read from the disk, with its sound and without a network."""

import base64
import json
import re
from dataclasses import replace

import numpy as np
import pytest
import soundfile
from browsers import becomes, notes_shown, until
from review_samples import drafted, sureness, with_note, write

from transcriber.review import ReviewSettings
from transcriber.review.standalone import standalone_page


@pytest.fixture(scope="module")
def page_file(tmp_path_factory):
    folder = tmp_path_factory.mktemp("sent")
    nasty = "</script><img src=x onerror=alert(1)> <!-- and 'quotes'"
    path = write(with_note(drafted(), "n002", remark=nasty), folder)
    target = folder / "line.html"
    target.write_bytes(standalone_page(ReviewSettings(path)))
    return target


def test_it_is_one_file_that_names_nothing_outside_itself(page_file):
    text = page_file.read_text(encoding="utf-8")
    assert "default-src 'none'" in text
    script_free = re.sub(r"<script>.*?</script>", "", text, flags=re.DOTALL)
    assert not re.findall(r"(?:src|href)=\"(?!data:)[^\"]*\"", script_free)
    assert not re.findall(r"url\((?!\"data:)", script_free)
    assert "Permission is hereby granted" in text
    assert "SIL OPEN FONT LICENSE" in text


def test_its_sound_is_the_take_and_the_draft_compressed(page_file, tmp_path):
    text = page_file.read_text(encoding="utf-8")
    sounds = json.loads(re.search(r'id="sounds">(.*?)</script>', text, flags=re.DOTALL)[1])
    for kind in ("take", "draft"):
        sound = tmp_path / f"{kind}.ogg"
        sound.write_bytes(base64.b64decode(sounds[kind]["base64"]))
        samples, rate = soundfile.read(sound)
        assert len(samples) / rate == pytest.approx(drafted().source.duration_s, abs=0.05)
        # Lossy coding may overshoot the bound on what goes in by a little.
        assert 0.1 < np.abs(samples).max() < 1.0
        assert sound.stat().st_size < 0.25 * 2 * len(samples)
    assert page_file.stat().st_size < 3_000_000


def test_it_reads_plays_repeats_and_slows_from_the_disk(page_file, browser):
    context = browser.new_context(offline=True)
    page = context.new_page()
    faults, asked = [], []
    page.on("pageerror", lambda error: faults.append(str(error)))
    page.on("console", lambda message: faults.append(message.text) if message.type == "error" else None)
    page.on("request", lambda request: asked.append(request.url))
    page.on("dialog", lambda dialog: faults.append("a dialog was opened"))
    page.goto(page_file.as_uri())
    page.wait_for_selector("body[data-ready]", timeout=30000)
    becomes(lambda: len(notes_shown(page)), len(drafted().notes))
    until(lambda: page.locator("#sheet .remarks").inner_text().endswith("<!-- and 'quotes'"))
    becomes(lambda: page.locator("img").count(), 0)
    page.locator("#tempo").fill("60")
    page.locator("#round").check()
    page.locator("#sheet [data-note=n003] .hit").first.click()
    until(lambda: page.locator("#play").inner_text() == "Stop")
    until(lambda: page.evaluate("document.querySelectorAll('.glow.sounding').length") == 1)
    page.locator("#kind").select_option("draft")
    until(lambda: "one in each ear" in page.locator("#kind option:disabled").all_inner_texts())
    page.keyboard.press("Escape")
    context.close()
    assert faults == []
    assert all(url.startswith(("file:", "data:", "blob:")) for url in asked)


def test_it_says_how_to_tune_which_capo_and_what_a_question_mark_is(tmp_path, browser):
    """A student who has only this page needs them as much as the teacher does."""
    draft = with_note(drafted(), "n003", confidence=sureness(pitch=0.2))
    lower = tuple(midi - 2 for midi in draft.instrument.tuning_midi)
    notes = tuple(replace(note, alternatives=()) for note in draft.notes)
    draft = replace(draft, notes=notes, instrument=replace(draft.instrument, tuning_midi=lower, capo=2))
    draft = replace(draft, key=replace(draft.key, tonic="Bb", confidence=0.3, given=False))
    target = tmp_path / "line.html"
    target.write_bytes(standalone_page(ReviewSettings(write(draft, tmp_path))))
    context = browser.new_context(offline=True)
    page = context.new_page()
    page.goto(target.as_uri())
    page.wait_for_selector("body[data-ready]", timeout=30000)
    until(lambda: page.locator("#sheet text.cue").count() == 1)
    facts = page.locator("#facts").inner_text().split(" · ")
    assert facts[:2] == [f"quarter = {round(draft.timing.tempo_bpm)}", str(draft.meter)]
    assert "D G C F A D" in facts
    assert "capo 2" in facts
    assert f"B♭ {draft.key.mode} (?)" in facts
    assert "not sure of" in page.locator("#practice").inner_text()
    context.close()


def test_what_may_be_left_out_is_enclosed_and_stands_clear_of_the_stems(tmp_path, browser):
    notes = tuple(
        replace(note, techniques=tuple(replace(one, optional=True) for one in note.techniques))
        for note in drafted().notes
    )
    target = tmp_path / "line.html"
    target.write_bytes(standalone_page(ReviewSettings(write(replace(drafted(), notes=notes), tmp_path))))
    context = browser.new_context(offline=True)
    page = context.new_page()
    page.goto(target.as_uri())
    page.wait_for_selector("body[data-ready]", timeout=30000)
    said = page.locator("#sheet text.say")
    until(lambda: {"(h)", "(p)", "(full)", "(½)", "(r)", "(", ")"} <= set(said.all_text_contents()))
    assert all(text[0] in "()" for text in said.all_text_contents())
    assert "Signs in parentheses may be left out." in page.locator("#practice").inner_text()
    boxes = "(s) => [...document.querySelectorAll(s)].map(e => e.getBoundingClientRect().toJSON())"
    stems = page.evaluate(boxes, "#sheet .vf-stem")
    assert stems
    for text in page.evaluate(boxes, "#sheet text.say"):
        for stem in stems:
            apart = text["right"] < stem["left"] or stem["right"] < text["left"]
            assert apart or text["bottom"] <= stem["top"] or stem["bottom"] <= text["top"]
    context.close()


def test_a_file_that_is_there_is_kept(page_file, capsys):
    from transcriber.cli.main import main

    draft = page_file.with_name("line.draft.json")
    before = page_file.read_bytes()
    assert main(["review", str(draft), "--standalone", str(page_file)]) == 1
    assert "--force" in capsys.readouterr().err
    assert page_file.read_bytes() == before
    assert main(["review", str(draft), "--standalone", str(page_file), "--force", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["bytes"] == page_file.stat().st_size
