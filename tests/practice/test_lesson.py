"""The folder of a lesson: what is in it, and that its page tells only what the draft holds."""

from __future__ import annotations

import hashlib
import json
import re
from dataclasses import replace
from fractions import Fraction
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import unquote

import pytest

from tests.review.review_samples import drafted, write
from transcriber.cli import run
from transcriber.draft import (
    Chord,
    Confidence,
    Contour,
    Correction,
    Draft,
    DraftInstrument,
    DraftNote,
    Key,
    MadeBy,
    NoteMark,
    Phrase,
    Source,
    Timing,
    append_correction,
)
from transcriber.draft.document import Issue
from transcriber.explain import explained
from transcriber.lesson_list import no_longer_written
from transcriber.practice.advice import CAUTION
from transcriber.practice.chapters import chapter_cues, chapter_list
from transcriber.practice.facts import bend_words, head_facts, phrase_facts
from transcriber.records.technique import Technique
from transcriber.records.written import Meter

SURE = Confidence(1.0, 1.0, 1.0, 1.0, 1.0, 1.0)
REMARK = 'Let the <b>third</b> note "sing" & wait'


class Page(HTMLParser):
    """Everything that a page leads to, and its words."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.targets: list[str] = []
        self.tags: list[str] = []
        self.words: list[str] = []
        self.quoted: list[str] = []
        self._inside = 0
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self._inside += tag == "blockquote"
        self.targets += [unquote(value) for name, value in attrs if name in ("href", "src")]

    def handle_endtag(self, tag):
        self._inside -= tag == "blockquote"

    def handle_data(self, data):
        (self.quoted if self._inside else self.words).append(data)


def box_draft() -> Draft:
    """Two bars out of the first box of A minor pentatonic, a chord each; techniques in bar 2."""
    bend = Technique("bend", semitones=2.0, start_s=4.2, end_s=4.4)
    shake = Technique("vibrato", rate_hz=5.0, depth_semitones=0.5, start_s=5.0, optional=True)
    rows = (
        (1, 1, 5, ()), (1, 2, 8, ()), (1, 2, 5, ()), (1, 3, 7, ()),
        (2, 3, 7, (bend,)), (2, 3, 5, ()), (2, 4, 7, (Technique("hammer_on"),)), (2, 4, 5, (shake,)),
    )  # fmt: skip
    tuning = (64, 59, 55, 50, 45, 40)
    notes = tuple(
        DraftNote(f"n{n + 1}", 2.0 + 0.5 * n, 2.45 + 0.5 * n, tuning[string - 1] + fret, string, fret,
                  fret - 4, bar, Fraction(n % 4 + 1), Fraction(1), 1, 90, techniques, Contour((), ()), None,
                  SURE, ())
        for n, (bar, string, fret, techniques) in enumerate(rows)
    )  # fmt: skip
    phrases = (
        Phrase("p1", "", None, 1.9, 3.9),
        Phrase("p2", "Answer --> end\n", "Lean on it", 3.9, 6.5),
    )
    return explained(
        Draft(
            1, MadeBy("0", {}, "0" * 64), Source("line.wav", "0" * 64, 44100, 8.0),
            DraftInstrument("standard", tuning, 0, 24, 440.0),
            Timing(120.0, Meter(4, 4), None, tuple(0.5 * beat for beat in range(20)), -4),
            Key("A", "minor", "C major", (), 1.0, True),
            (Chord("Am", 1, Fraction(1), Fraction(4)), Chord("F", 2, Fraction(1), Fraction(4))),
            phrases, (), notes, (Issue("check_note", "look", 4.0, 4.45, ("n5",)),),
        )
    )  # fmt: skip


def test_facts_are_those_of_the_draft():
    draft = box_draft()
    first, second = draft.phrases
    assert phrase_facts(draft, first) == (
        "Bar 1, 4 notes on strings 1, 2 and 3.",
        "With the index finger at fret 5: A minor pentatonic, box 1 "
        "(the same notes as C major pentatonic), frets 5 to 8.",
        "Degrees in A minor: 1, 4, 5, b7.",
        # A, G, E and D over A minor.
        "Over Am it plays 1, b7, 5, 11.",
        "Every note is picked, without techniques.",
        "What makes it hard: fastest passage 2.0 notes a second, widest stretch 3 frets.",
    )
    told = " ".join(phrase_facts(draft, second))
    assert told.startswith("Bar 2, 4 notes on strings 3 and 4.")
    # E (bent from D), C, A and G over F.
    assert "Over F it plays 7, 5, 3, 9." in told
    assert "Techniques: 1 bend, 1 vibrato and 1 hammer-on; 1 of them may be left out." in told
    assert "1 bend of a whole tone" in told
    assert "The draft is not sure of bar 2, beat 1." in told


def test_a_shape_that_overlapping_phrases_part_is_told_once():
    draft = box_draft()
    first, second = draft.phrases
    draft = explained(replace(draft, phrases=(replace(first, end_s=second.end_s), second)))
    told = phrase_facts(draft, draft.phrases[0])
    assert len(told) == len(set(told))
    assert sum("box 1" in each for each in told) == 1


def test_the_head_tells_tempo_key_and_tuning_and_a_found_key_is_never_certain():
    draft = box_draft()
    assert head_facts(draft) == (
        "8 notes, 120 beats a minute, 4/4, A minor, strings tuned E2 A2 D3 G3 B3 E4."
    )
    lower = replace(draft.instrument, tuning_midi=(63, 58, 54, 49, 44, 39))
    assert "strings tuned Eb2 Ab2 Db3 Gb3 Bb3 Eb4." in head_facts(replace(draft, instrument=lower))
    found = replace(draft, key=replace(draft.key, given=False, confidence=1.0))
    assert "A minor (found by the program, 99 % sure)" in head_facts(found)


BENDS = [(2.0, "a whole tone"), (1.0, "a semitone"), (2.5, "2.5 semitones")]


@pytest.mark.parametrize(("height", "words"), BENDS)
def test_bends_are_told_by_their_amount(height, words):
    assert bend_words(height) == words


def test_chapters_begin_where_phrases_do():
    draft = box_draft()
    assert chapter_list(draft) == "0:00 Phrase 1\n0:03 Answer --> end\n"
    assert chapter_cues(draft) == (
        "WEBVTT\n\n1\n00:00:01.900 --> 00:00:03.900\nPhrase 1\n\n"
        "2\n00:00:03.900 --> 00:00:06.500\nAnswer -&gt; end\n"
    )


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """A lesson from a draft whose first note and first phrase a teacher remarked on; its name is awkward."""
    place = tmp_path_factory.mktemp("lesson")
    draft = write(drafted(), place, "week 3 #1 100%")
    note = drafted().notes[2]
    mark = NoteMark(note.id, note.onset_s, note.pitch_midi)
    append_correction(draft, Correction("set_remark", note=mark, values={"remark": REMARK}), seen=0)
    values = {"remark": "Sing it first"}
    append_correction(draft, Correction("set_remark", phrase=drafted().phrases[0].id, values=values), seen=1)
    out = place / "out" / "lesson"
    assert run(["lesson", str(draft), "--out", str(out), "--speeds", "60,100", "-q"]) == 0
    return draft, out


def page_of(out: Path) -> Page:
    return Page((out / "index.html").read_text(encoding="utf-8"))


def test_all_is_in_the_folder_and_everything_is_linked(made):
    _, out = made
    files = {str(path.relative_to(out)) for path in out.rglob("*") if path.is_file()}
    names = {name.replace("week 3 #1 100%", "NAME") for name in files}
    phrases = range(1, len(drafted().phrases) + 1)
    expected = {"NAME.tab.txt", "NAME.mid", "NAME.musicxml", "NAME.vtt", "NAME.chapters.vtt"}
    expected |= {"NAME.chapters.txt", "NAME.practice.txt", "index.html"}
    expected |= {f"NAME.phrase-{n:02d}.neck.svg" for n in phrases}
    expected |= {
        f"loops/NAME.phrase-{n:02d}.{speed}.{kind}.wav"
        for n in phrases
        for speed in ("060", "100")
        for kind in ("loop", "counted")
    }
    assert expected <= names
    page = page_of(out)
    outside = {target for target in page.targets if not target.startswith("#")}
    assert outside == files - {"index.html", "week 3 #1 100%.lesson.json"}
    assert set(page.targets) - outside == {f"#phrase-{number}" for number in phrases}


def test_files_are_those_that_export_and_loops_write(made, tmp_path):
    draft, out = made
    name = draft.name.removesuffix(".draft.json")
    formats = ["--to", "text,midi,musicxml,captions", "--out", f"{tmp_path}/", "-q"]
    assert run(["export", str(draft), *formats]) == 0
    for suffix in (".tab.txt", ".mid", ".musicxml", ".vtt"):
        assert (out / f"{name}{suffix}").read_bytes() == (tmp_path / f"{name}{suffix}").read_bytes()
    one = ["--speeds", "60", "--phrase", "1", "--out", str(tmp_path), "-q"]
    assert run(["loops", str(draft), *one]) == 0
    loop = f"{name}.phrase-01.060.loop.wav"
    assert (out / "loops" / loop).read_bytes() == (tmp_path / loop).read_bytes()


def test_a_remark_stands_beside_the_facts_marked_as_the_teachers(made):
    _, out = made
    page = page_of(out)
    quoted = "".join(page.quoted)
    assert quoted.count("The teacher's remark") == 2
    assert "The teacher's remark on bar 1, beat" in quoted
    assert REMARK in quoted
    assert "Sing it first" in quoted
    assert REMARK not in "".join(page.words)
    assert "Sing it first" not in "".join(page.words)
    assert "b" not in page.tags


def test_numbers_on_the_page_are_counted_from_the_draft(made):
    _, out = made
    words = "".join(page_of(out).words)
    draft = drafted()
    assert f"{len(draft.notes)} notes, 84 beats a minute, 4/4" in words
    counts = [int(number) for number in re.findall(r"(\d+) notes on strings", words)]
    assert counts == [len(draft.phrase_notes(phrase)) for phrase in draft.phrases]


def test_whoever_is_to_play_is_told_of_loudness_rest_and_pain(made):
    _, out = made
    words = "".join(page_of(out).words)
    assert CAUTION in words
    for said in ("volume", "headphones", "rest", "stop if anything hurts"):
        assert said in words
    assert CAUTION in next(out.glob("*.practice.txt")).read_text(encoding="utf-8")


def test_a_lesson_comes_out_the_same_again_and_is_not_overwritten(made, tmp_path, capsys):
    draft, out = made
    again = tmp_path / "again"
    assert run(["lesson", str(draft), "--out", str(again), "--speeds", "60,100", "-q"]) == 0
    for path in out.rglob("*"):
        # An engraved PDF bears the time of its making.
        if path.is_file() and path.suffix != ".pdf":
            assert path.read_bytes() == (again / path.relative_to(out)).read_bytes(), path.name
    capsys.readouterr()
    assert run(["lesson", str(draft), "--out", str(out), "-q"]) == 1
    assert "--force" in capsys.readouterr().err


def test_without_the_recording_the_page_says_that_loops_are_left_out(tmp_path, capsys):
    draft = write(drafted(), tmp_path, take=False)
    out = tmp_path / "out"
    assert run(["lesson", str(draft), "--out", str(out), "-q", "--json"]) == 0
    assert str(out / "index.html") in json.loads(capsys.readouterr().out)["files"]
    page = page_of(out)
    assert not (out / "loops").exists()
    assert "audio" not in page.tags
    assert "--take" in "".join(page.words)


def test_a_folder_must_be_named_and_nothing_is_left_of_a_lesson_that_fails(tmp_path, capsys):
    draft = write(drafted(), tmp_path)
    assert run(["lesson", str(draft)]) == 2
    assert "--out" in capsys.readouterr().err
    assert run(["lesson", str(draft), "--out", str(tmp_path / "out"), "--backing", "-q"]) == 2
    assert "--chords" in capsys.readouterr().err
    (tmp_path / drafted().source.file).write_bytes(b"no sound")
    assert run(["lesson", str(draft), "--out", str(tmp_path / "out"), "-q"]) == 3
    assert not (tmp_path / "out").exists()


def test_the_page_fits_the_screen_and_begins_softly(made, browser):
    _, out = made
    page = browser.new_page()
    faults = []
    page.on("pageerror", lambda error: faults.append(str(error)))
    page.on("requestfailed", lambda request: faults.append(request.url))
    page.goto((out / "index.html").as_uri())
    for width in (390, 1280):
        page.set_viewport_size({"width": width, "height": 800})
        page.wait_for_function("width => document.documentElement.scrollWidth <= width", arg=width)
    volumes = page.evaluate("[...document.querySelectorAll('audio')].map(sound => sound.volume)")
    drawn = page.evaluate("[...document.images].every(image => image.naturalWidth > 0)")
    page.close()
    assert volumes
    assert set(volumes) == {0.3}
    assert drawn
    assert faults == []


def speeds_in(out: Path) -> set[str]:
    return {path.name.split(".")[-3] for path in (out / "loops").iterdir()}


def test_a_forced_lesson_removes_its_own_files_that_are_no_longer_asked_for(tmp_path, capsys):
    draft = write(drafted(), tmp_path)
    out = tmp_path / "out"
    lesson = ["lesson", str(draft), "--out", str(out), "-q"]
    assert run([*lesson, "--speeds", "50,60,100"]) == 0
    changed = next((out / "loops").glob("*phrase-01.050.loop.wav"))
    changed.write_bytes(b"the teacher's own")
    (out / "loops" / f"{draft.name.removesuffix('.draft.json')}.note.txt").write_text("mine", "utf-8")
    (out / "other.mid").write_bytes(b"mine")
    capsys.readouterr()
    assert run([*lesson, "--speeds", "60", "--force"]) == 0
    there = {path.name for path in (out / "loops").iterdir()}
    assert {name.split(".")[-3] for name in there if name.endswith(".wav")} == {"050", "060"}
    assert [path for path in (out / "loops").iterdir() if "050" in path.name] == [changed]
    assert changed.read_bytes() == b"the teacher's own"
    assert any(name.endswith(".note.txt") for name in there)
    assert (out / "other.mid").exists()
    assert "Removed:" in capsys.readouterr().out


def test_a_damaged_list_of_a_lesson_removes_nothing_and_is_told(tmp_path, capsys):
    draft = write(drafted(), tmp_path)
    out = tmp_path / "out"
    lesson = ["lesson", str(draft), "--out", str(out), "-q"]
    assert run([*lesson, "--speeds", "50,60"]) == 0
    next(out.glob("*.lesson.json")).write_text('{"files": {"loops": 3}}', "utf-8")
    capsys.readouterr()
    assert run([*lesson, "--speeds", "60", "--force"]) == 0
    assert speeds_in(out) == {"050", "060"}
    assert "is not the list of a lesson's files" in capsys.readouterr().err


def test_a_list_leads_to_nothing_outside_the_lesson(tmp_path):
    out = tmp_path / "out"
    out.mkdir()
    other = tmp_path / "line.mid"
    other.write_bytes(b"x")
    digest = hashlib.sha256(b"x").hexdigest()
    named = {"../line.mid": digest, str(other): digest, "a/../../line.mid": digest, "a/b/line.mid": digest}
    assert no_longer_written(out, "line", named, ()) == ()
    (out / "line.mid").write_bytes(b"x")
    assert no_longer_written(out, "line", {"line.mid": digest}, ()) == (out / "line.mid",)
    assert no_longer_written(out, "lin", {"line.mid": digest}, ()) == ()
