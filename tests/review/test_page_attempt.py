"""A student's attempt over its line on the page: in words, as pitch below the notes, and to be heard."""

from __future__ import annotations

import json
import statistics

import pytest
from browsers import Program, Served, becomes, open_page, until
from review_samples import SAMPLES

from transcriber.attempts import AttemptSettings, attempt_traces, checked_attempt, read_earlier_answer
from transcriber.cli import run
from transcriber.draft import draft_bytes, read_draft
from transcriber.drafting import draft_take
from transcriber.settings import DraftSettings

LINE, ATTEMPT = "ticket_window.flac", "ticket_window_attempt.flac"


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """The draft of a shipped sample, the shipped attempt at it, and the answer."""
    folder = tmp_path_factory.mktemp("attempt")
    for name in (LINE, ATTEMPT):
        (folder / name).write_bytes((SAMPLES / name).read_bytes())
    draft = folder / "ticket_window.draft.json"
    draft.write_bytes(draft_bytes(draft_take(folder / LINE, DraftSettings(tempo_bpm=100.0))))
    target = folder / "ticket_window_attempt.check.json"
    target.write_bytes(checked_attempt(folder / ATTEMPT, draft, target).file)
    return folder


@pytest.fixture(scope="module")
def paths(folder):
    return folder / "ticket_window.draft.json", folder / "ticket_window_attempt.check.json"


@pytest.fixture(scope="module")
def answer(paths):
    return json.loads(paths[1].read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def window(paths, folder, browser):
    server = Served(paths[0], folder / LINE, paths[1])
    page = open_page(browser, server.address)
    until(lambda: page.evaluate("page.attempt.traces !== null"))
    yield page
    page.context.close()
    server.stop()


@pytest.fixture
def page(window):
    window.evaluate("page.player.stop(), page.hearing.hear('take'), page.player.seek(0)")
    yield window
    window.evaluate("page.player.stop()")
    assert window.faults == []


def test_the_answer_stands_over_the_sheet_with_three_things_first(page, answer):
    panel = page.locator("#attempt")
    shown = panel.inner_text()
    summary = answer["summary"]
    assert f"{summary['without_remark']} of {summary['notes']} notes as written" in shown
    assert "Keep the volume moderate" in shown
    things = panel.locator("ol > li")
    becomes(lambda: things.count(), len(answer["work_on"]))
    assert len(answer["work_on"]) <= 3
    for number, wanted in enumerate(answer["work_on"]):
        said = things.nth(number).inner_text()
        assert said.startswith(f"Bar {wanted['bar']}: {wanted['happened']}. Try: {wanted['try_this']}.")
    panel.locator("summary").click()
    marked = [note for note in answer["notes"] if note["verdict"] != "played" or note["remarks"]]
    becomes(lambda: panel.locator("ul > li").count(), len(marked) + len(answer["extra"]))
    panel.locator("ul button").first.click()
    becomes(lambda: page.evaluate("page.chosen"), marked[0]["id"])


def test_verdicts_are_words_and_shapes_not_colours(page, answer):
    page.evaluate("page.view.lines.forEach((one) => page.view.draw(one))")
    words = page.locator(".below text.said").all_text_contents()
    for verdict, word in (("missed", "missed"), ("wrong_pitch", "played")):
        count = sum(note["verdict"] == verdict for note in answer["notes"])
        assert count >= 1
        assert sum(one.endswith(word) for one in words) == count
    # Ink and the page's one other colour: nothing is marked by a colour of its own.
    strokes = "[...document.querySelectorAll('.below .tie')].map(e => getComputedStyle(e).stroke)"
    marks = page.evaluate(strokes)
    ink = page.evaluate("getComputedStyle(document.body).color")
    assert set(marks) == {ink}
    told = next(note for note in answer["notes"] if note["verdict"] == "missed")
    label = page.evaluate(f"page.view.spot('{told['id']}').getAttribute('aria-label')")
    assert label.endswith("; in the attempt: missed")


def test_notes_and_pitch_stand_on_the_same_beats(page):
    """What was played lies under the note that was meant: by the places of both in the window."""
    found = page.evaluate(
        """() => {
          const line = page.view.lines[0];
          const drawn = [...line.below.querySelectorAll('.wanted')];
          const paths = drawn.map((one) => one.getBoundingClientRect().x);
          const struck = line.drawn.notes.filter((spot) => !spot.tied && !spot.grace
            && spot.note.techniques.every((one) => one.kind !== "dead_note"));
          return struck.map((spot) => {
            const box = page.view.spot(spot.id).querySelector('.hit').getBoundingClientRect();
            const middle = box.x + box.width / 2;
            return Math.min(...paths.map((path) => Math.abs(path - middle)));
          });
        }"""
    )
    assert len(found) > 5
    # A pitch is measured from some 10 to 20 ms after the attack on: a few pixels.
    assert statistics.median(found) < 6
    assert max(found) < 25


def test_what_was_played_as_written_lies_on_the_line(paths, answer):
    draft = read_draft(paths[0])
    traces = attempt_traces(draft, read_earlier_answer(paths[1], draft))
    right = [note["id"] for note in answer["notes"] if note["verdict"] == "played" and not note["remarks"]]
    near = 0
    struck = [draft.note(each) for each in right]
    plain = [note for note in struck if note.pitch_midi and not note.techniques]
    for note in plain:
        middle = (note.onset_s + note.end_s) / 2
        heights = [
            midi
            for trace in traces
            for time_s, midi in zip(trace["times_s"], trace["midi"], strict=True)
            if midi is not None and note.onset_s <= time_s <= middle
        ]
        near += bool(heights) and abs(statistics.median(heights) - note.pitch_midi) < 0.35
    assert len(plain) > 20
    assert near >= 0.9 * len(plain)


def test_either_sound_is_heard_from_the_same_moment(page, answer):
    first = page.locator("#attempt ol > li").first
    # Slowly, so that a busy machine is not at the end before the other sound is asked for.
    page.evaluate("page.player.setRate(0.1)")
    note = next(one for one in answer["notes"] if one["id"] == answer["work_on"][0]["notes"][0])
    first.get_by_role("button", name="Hear the attempt there").click()
    until(lambda: page.evaluate("page.player.kind === 'attempt' && page.player.playing"))
    sound, line = page.evaluate("[page.player.audio.currentTime, page.player.time]")
    onset = page.evaluate(f"page.store.notes.get('{note['id']}').onset_s")
    ratio = answer["tempo_ratio"]
    # The attempt is slower: as far from the note in its own time as the ratio says, but for what was late.
    assert (note["attempt_onset_s"] - sound) * ratio == pytest.approx(onset - line, abs=0.15)
    assert page.evaluate("page.player.audio.volume") <= 0.3
    until(lambda: "(the attempt: " in page.locator("#hearing").inner_text())
    page.locator("#title").click()
    page.keyboard.press("o")
    until(lambda: page.evaluate("page.player.kind === 'take' && page.player.playing"))
    becomes(lambda: page.evaluate("page.player.time"), pytest.approx(line, abs=2.0))
    until(lambda: page.evaluate("Math.abs(page.player.audio.currentTime - page.player.time)") < 0.05)
    page.locator("#play").click()
    page.evaluate("page.player.setRate(1)")


def test_the_clock_of_the_attempt_goes_there_and_back(page, answer):
    for note in answer["notes"][::7]:
        if note["attempt_onset_s"] is None:
            continue
        onset = page.evaluate(f"page.store.notes.get('{note['id']}').onset_s")
        due = note["attempt_onset_s"] - (note["timing_ms"] or 0) / 1000
        assert page.evaluate(f"page.player.clocks.attempt.toSound({onset})") == pytest.approx(due, abs=0.01)
        assert page.evaluate(f"page.player.clocks.attempt.toLine({due})") == pytest.approx(onset, abs=0.01)
    for time in (0.0, 7.3, 25.0):
        there = page.evaluate(f"page.player.clocks.attempt.toSound({time})")
        back = page.evaluate(f"page.player.clocks.attempt.toLine({there})")
        assert there == 0 or back == pytest.approx(time, abs=1e-6)


@pytest.mark.parametrize("width", [390, 1280])
def test_it_fits_the_width(page, width):
    page.set_viewport_size({"width": width, "height": 860})
    # The lines are laid out anew once the browser has told of the new width.
    until(lambda: page.locator(".below svg").count() > 0)
    until(lambda: page.evaluate("document.documentElement.scrollWidth") <= width)
    inside = """[...document.querySelectorAll('.below text')].every(e =>
      e.getBoundingClientRect().right <= innerWidth + 1 && e.getBoundingClientRect().left >= -1)"""
    until(lambda: page.evaluate(inside))


def test_without_its_recording_the_answer_is_still_shown(paths, folder, tmp_path, opened):
    for path in (*paths, folder / LINE):
        (tmp_path / path.name).write_bytes(path.read_bytes())
    server = Served(tmp_path / paths[0].name, tmp_path / LINE, tmp_path / paths[1].name)
    page = opened(server.address)
    until(lambda: page.evaluate("page.attempt.traces !== null"))
    until(lambda: "Work on this first" in page.locator("#attempt").inner_text())
    # What was heard stands in the answer: nothing has to be listened to again.
    until(lambda: page.evaluate("page.attempt.traces.attempt.length") > 20)
    becomes(lambda: page.get_by_role("button", name="Hear the attempt there").count(), 0)
    becomes(lambda: page.locator("#kind option[value=attempt]").count(), 0)
    server.stop()


def test_an_answer_without_pitches_says_so(paths, folder, tmp_path, opened, answer):
    for path in (paths[0], folder / LINE):
        (tmp_path / path.name).write_bytes(path.read_bytes())
    older = tmp_path / paths[1].name
    older.write_text(json.dumps({key: value for key, value in answer.items() if key != "pitches"}))
    server = Served(tmp_path / paths[0].name, tmp_path / LINE, older)
    page = opened(server.address)
    page.locator("#attempt h2").wait_for()
    until(lambda: "check the attempt again to see it" in page.locator("#legend").inner_text())
    server.stop()


def test_only_the_part_that_was_checked_is_shown(paths, folder, tmp_path):
    checked = checked_attempt(
        folder / ATTEMPT, paths[0], tmp_path / "a.check.json", AttemptSettings(start_s=5.0, end_s=20.0)
    )
    onsets = [pitch["onset_s"] for pitch in checked.document["pitches"]]
    assert len(onsets) > 5
    assert 5.0 <= min(onsets) <= max(onsets) <= 20.0


@pytest.mark.parametrize("width", [390, 1280])
def test_the_page_that_is_sent_holds_the_attempt(paths, folder, tmp_path, browser, answer, width):
    target = tmp_path / "line.html"
    options = ["--take", str(folder / LINE), "--attempt", str(paths[1]), "--standalone", str(target)]
    assert run(["review", str(paths[0]), *options]) == 0
    context = browser.new_context(offline=True, viewport={"width": width, "height": 860})
    page = context.new_page()
    faults, asked = [], []
    page.on("pageerror", lambda error: faults.append(str(error)))
    page.on("console", lambda message: faults.append(message.text) if message.type == "error" else None)
    page.on("request", lambda request: asked.append(request.url))
    page.goto(target.as_uri())
    page.wait_for_selector("body[data-ready]", timeout=30000)
    becomes(lambda: page.locator("#attempt ol > li").count(), len(answer["work_on"]))
    until(lambda: page.locator(".below .played").count() > 3)
    until(lambda: page.evaluate("document.documentElement.scrollWidth") <= width)
    page.get_by_role("button", name="Hear the attempt there").first.click()
    until(lambda: page.locator("#play").inner_text() == "Stop")
    becomes(lambda: page.locator("#kind").input_value(), "attempt")
    page.locator("#title").click()
    page.keyboard.press("o")
    until(lambda: page.locator("#kind").input_value() == "take")
    page.locator("#play").click()
    page.locator("#attempt ol button", has_text="Show it").first.click()
    until(lambda: page.locator(".spot.chosen").count() >= 1)
    context.close()
    assert faults == []
    assert all(url.startswith(("file:", "data:", "blob:")) for url in asked)


def test_the_command_opens_it(paths, opened):
    program = Program(paths[0], options=["--attempt", str(paths[1])])
    page = opened(program.address)
    page.locator("#attempt h2").wait_for()
    page.context.close()
    assert program.interrupt() == 130


def test_what_cannot_be_shown_is_refused_in_one_line(paths, tmp_path, capsys, answer):
    draft, check = map(str, paths)
    other = tmp_path / "other.check.json"
    other.write_text(json.dumps({**answer, "reference": {"file": "x.flac", "sha256": "0" * 64}}))
    for words, code, said in (
        (["--attempt", str(paths[0])], 2, "is no answer to an attempt"),
        (["--attempt", check, "--summary"], 2, "--attempt is for the page"),
        (["--attempt", str(other)], 2, "answers an attempt at 'x.flac'"),
        (["--attempt", str(tmp_path / "none.check.json")], 1, "cannot be read"),
    ):
        assert run(["review", draft, *words]) == code
        error = capsys.readouterr().err
        assert said in error
        assert len(error.strip().splitlines()) == 1
