"""The engraved sheet: what LilyPond is told, that it finds no fault with it, and what it draws."""

from __future__ import annotations

import logging
import re
import subprocess
import sys
import xml.etree.ElementTree as ElementTree
from dataclasses import replace
from fractions import Fraction
from importlib.util import find_spec
from pathlib import Path

import export_drafts as lines
import pytest
from generated_drafts import written_drafts
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from transcriber.draft import Chord, Draft, Key, Phrase
from transcriber.errors import TranscriberError, UsageError
from transcriber.export.formats import formats_named
from transcriber.export.plain_words import one_line
from transcriber.export.sheet import engrave as engraving
from transcriber.export.sheet.engrave import engrave, program
from transcriber.export.sheet.free_signs import NAMES
from transcriber.export.sheet.joins import LETTERS
from transcriber.export.sheet.ly_text import chord_name, quoted
from transcriber.export.sheet.moves import amount, moves_by_piece
from transcriber.export.sheet.page import sheet_source
from transcriber.export.sheet.staves import bent_piece
from transcriber.records.technique import TECHNIQUE_KINDS, Technique
from transcriber.records.written import Meter
from transcriber.settings import ExportSettings

needs_lilypond = pytest.mark.skipif(
    find_spec("lilypond") is None, reason="the package lilypond is not installed"
)


def read_quoted(text: str) -> str:
    """Read one string as LilyPond's manual says it is read, and hold that nothing stands behind it."""
    assert text[0] == '"'
    words, place = "", 1
    while text[place] != '"':
        if text[place] == "\\":
            place += 1
        words += text[place]
        place += 1
    assert place == len(text) - 1
    return words


@given(st.text(st.characters() | st.sampled_from('"\\#${}%()\n')))
def test_any_words_are_one_string(words: str) -> None:
    assert read_quoted(quoted(words)) == one_line(words)


@given(st.text(st.characters() | st.sampled_from('#b"\\ABG7/')))
def test_a_chord_symbol_loses_nothing(name: str) -> None:
    inside = chord_name(name).removeprefix("\\markup \\concat { ").removesuffix("}")
    parts = re.findall(r'"(?:[^"\\]|\\.)*"|\\sheet\w+', inside)
    signs = {"\\sheetSharp": "#", "\\sheetFlat": "b"}
    assert "".join(signs.get(part) or read_quoted(part) for part in parts) == one_line(name)


@pytest.mark.parametrize(
    ("semitones", "said"),
    [
        (0.5, "1/4"),
        (1.0, "1/2"),
        (1.5, "3/4"),
        (2.0, "full"),
        (3.0, "1 1/2"),
        (4.0, "2"),
        (1.9, "full"),
        (5.0, "2 1/2"),
    ],
)
def test_amounts_are_said_in_whole_tones(semitones: float, said: str) -> None:
    """Common practice of printed tab: a bend of a whole tone is "full"."""
    assert amount(semitones) == said


def test_a_release_stands_in_the_piece_in_which_it_begins() -> None:
    up = Technique("bend", start_s=0.0, end_s=0.1, semitones=2.0)
    down = Technique("release", start_s=0.9, end_s=0.95, semitones=0.0)
    draft = lines.build([(3, "2", 3, 7, up, down)])
    first, second = moves_by_piece(draft.notes[0], Fraction(3), [Fraction(4), Fraction(5)])
    assert [move.kind for move in first] == ["bend"]
    assert [(move.kind, move.before, move.after) for move in second] == [("release", 2.0, 0.0)]
    head, level = bent_piece(first, 0.0, first=True)
    assert (head.before, head.own, head.after, level) == (0, 2, (), 2.0)
    head, level = bent_piece(second, level, first=False)
    assert (head.before, head.own, head.after, level) == (None, 2, (0,), 0.0)


def full_draft() -> Draft:
    """Everything that a sheet can show."""
    draft = lines.techniques_line()
    notes = (replace(draft.notes[0], remark="dig in"), *draft.notes[1:])
    notes = (
        *notes[:-1],
        replace(notes[-1], remark="let this one hang over the bar, and breathe before you go on"),
    )
    return replace(
        draft,
        notes=notes,
        key=Key("A", "minor"),
        chords=(Chord("Am7", 1, Fraction(1), Fraction(4)), Chord("Bb7#9", 2, Fraction(1), Fraction(2))),
        timing=replace(draft.timing, swing=2.0),
        instrument=replace(draft.instrument, capo=0),
    )


@needs_lilypond
@pytest.mark.parametrize("which", ["both", "notation", "tab"])
def test_lilypond_finds_no_fault(which: str, caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.INFO)
    others = (lines.straight_line, lines.pickup_line, lines.low_line) if which == "both" else ()
    for make in (full_draft, lambda: all_optional(full_draft()), *others):
        pages = engrave(sheet_source(make(), which, count=True), "svg")
        assert pages
    # A "programming error" is LilyPond's word for a curve that it drew less well than it would like.
    assert [line for line in caplog.messages if "warning:" in line and "glyph" not in line] == []


@needs_lilypond
@settings(
    max_examples=5,
    deadline=None,
    phases=(Phase.explicit, Phase.reuse, Phase.generate),
    suppress_health_check=list(HealthCheck),
)
@given(draft=written_drafts(), which=st.sampled_from(["both", "tab"]))
def test_any_draft_is_engraved_and_its_bars_add_up(draft: Draft, which: str) -> None:
    """LilyPond checks every bar line itself, and complains of any bar that is too short or too long."""
    source = sheet_source(draft, which, "letter", count=True)
    done = subprocess.run(
        [str(program()), "-dno-print-pages", "-dno-point-and-click", "-lWARNING", "-"],
        input=source.encode(),
        capture_output=True,
        check=False,
    )
    said = done.stderr.decode()
    assert done.returncode == 0, said + source
    assert "bar check" not in said, said + source
    assert "unterminated" not in said, said + source


@needs_lilypond
def test_words_are_never_run(tmp_path: Path) -> None:
    """A title, a name or a remark that tries to leave its quotation marks stays words."""
    mark = tmp_path / "ran"
    attack = f'"}} }} #(system "touch {mark}") \\markup {{ " \\" $(system "touch {mark}") %{{ \n\\include "x"'
    draft = full_draft()
    draft = replace(
        draft,
        source=replace(draft.source, file=attack.replace("/", "∕") + ".wav"),
        notes=tuple(replace(note, remark=attack) for note in draft.notes[:2]) + draft.notes[2:],
        phrases=(Phrase("p1", attack, attack, 0.0, 8.0),),
        chords=(Chord(attack, 1, Fraction(1), Fraction(4)),),
    )
    assert engrave(sheet_source(draft), "svg")
    assert not mark.exists()


@needs_lilypond
def test_the_same_draft_gives_the_same_bytes() -> None:
    source = sheet_source(lines.straight_line())
    first = engrave(source, "pdf")
    assert engrave(source, "pdf") == first
    assert engraving.PLAIN_TIME in first[".pdf"]
    assert first[".pdf"].startswith(b"%PDF")


@needs_lilypond
@pytest.mark.parametrize(("paper", "points"), [("a4", (595.28, 841.89)), ("letter", (612.0, 792.0))])
def test_paper(paper: str, points: tuple[float, float]) -> None:
    """Sizes in points: ISO 216 and ANSI/ASME Y14.1."""
    pdf = engrave(sheet_source(lines.straight_line(), paper=paper), "pdf")[".pdf"]
    box = re.search(rb"/MediaBox \[ ?0 0 ([\d.]+) ([\d.]+)", pdf)
    assert box is not None
    assert (float(box[1]), float(box[2])) == pytest.approx(points, abs=1.0)


@needs_lilypond
def test_frets_stand_on_their_strings(tmp_path: Path) -> None:
    """The drawing, read by its coordinates: each fret's number stands on the line of its string."""
    draft = lines.build([(Fraction(step, 2), "1/2", step % 6 + 1, step + 3) for step in range(8)])
    assert drawn_frets(draft, tmp_path) == [(note.string, str(note.fret)) for note in draft.notes]


def drawn_frets(draft: Draft, folder: Path) -> list[tuple[int, str]]:
    """String and text of each number on the tab staff, from left to right, out of LilyPond's plain SVG."""
    command = [str(program()), "-dno-point-and-click", "-lERROR", "--svg", "-o", "sheet", "-"]
    subprocess.run(command, input=sheet_source(draft, "tab").encode(), cwd=folder, check=True)
    svg = (folder / "sheet.svg").read_text(encoding="utf-8")
    root = ElementTree.fromstring(re.sub(r'\sxmlns(:\w+)?="[^"]+"|xlink:', "", svg))
    heights, numbers = set(), []
    for group in root.iter("g"):
        place = re.match(r"translate\(([-\d.]+), ([-\d.]+)\)", group.get("transform", ""))
        line = next((one for one in group.iter("line") if float(one.get("x2", "0")) > 40), None)
        if place and line is not None:
            heights.add(round(float(place[2]), 2))
        text = "".join(group.itertext()).strip()
        if place and re.fullmatch(r"\d+", text) and group.find("text") is not None:
            numbers.append((float(place[1]), float(place[2]), text))
    rows = sorted(heights)[:6]
    found = []
    for _, y, text in sorted(numbers):
        nearest = min(range(6), key=lambda row: abs(rows[row] - y + 0.7))
        if abs(rows[nearest] - y + 0.7) < 0.6:
            found.append((nearest + 1, text))
    return found


def test_without_lilypond_the_message_tells_how_to_get_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "lilypond", None)
    with pytest.raises(UsageError, match=r"pip install 'transcriber\[sheet\]'"):
        engrave("", "pdf")


@needs_lilypond
def test_a_failure_is_one_line() -> None:
    with pytest.raises(TranscriberError, match="LilyPond could not engrave the draft: ") as failure:
        engrave("\\score { { c'4 ", "pdf")
    assert "\n" not in str(failure.value)


@needs_lilypond
def test_letters_that_no_font_has_are_named(caplog: pytest.LogCaptureFixture) -> None:
    """A letter of Duployan shorthand: where a font has it after all, nothing is said."""
    caplog.set_level(logging.INFO)
    draft = lines.build([(0, "1", 3, 5)])
    odd = replace(draft, notes=(replace(draft.notes[0], remark="so \U0001bc00 so"),))
    assert engrave(sheet_source(odd), "svg")
    told = [record.getMessage() for record in caplog.records if record.levelname == "WARNING"]
    missing = any("no glyph for character" in line for line in caplog.messages)
    assert told == ["no font on this machine has \U0001bc00: the sheet leaves them out"] * missing


def test_a_last_grace_is_not_lost() -> None:
    draft = lines.build([(0, "1", 3, 5), (1, 0, 2, 8)])
    assert "<g'>16" in sheet_source(draft, "notation")
    assert "<g'\\2>16" in sheet_source(draft, "tab")


def test_a_key_that_is_unsure_is_marked() -> None:
    draft = lines.build([(0, "1", 3, 5)])
    for confidence, given_by_person, told in (
        (0.3, False, "A minor (?)"),
        (0.9, False, "A minor"),
        (0.3, True, "A minor"),
    ):
        key = Key("A", "minor", confidence=confidence, given=given_by_person)
        assert f'"Key: {told}"' in sheet_source(replace(draft, key=key))


def test_only_signs_in_use_are_explained() -> None:
    plain = sheet_source(lines.build([(0, "1", 3, 5)]))
    full = sheet_source(full_draft())
    for words in ("vibrato", "hammer-on", "pre-bend", "dead note", "let ring", "slide off", "staccato"):
        assert f"{words}" not in plain
        assert words in full


def all_optional(draft: Draft) -> Draft:
    """The same line, every technique of it left to the player."""
    notes = tuple(
        replace(note, techniques=tuple(replace(one, optional=True) for one in note.techniques))
        for note in draft.notes
    )
    return replace(draft, notes=notes)


@pytest.mark.parametrize("which", ["both", "notation", "tab"])
def test_what_may_be_left_out_stands_in_parentheses_and_is_explained(which: str) -> None:
    said = "in parentheses over the staff: may be left out"
    bound, free = (sheet_source(draft, which) for draft in (full_draft(), all_optional(full_draft())))
    assert said not in bound
    assert free.count(said) == 1
    names = {one.kind for note in full_draft().notes for one in note.techniques}
    for kind in sorted(names):
        word = {"hammer_on": "(H)", "pull_off": "(P)"}.get(kind) or NAMES[kind]
        shown = re.findall(r'\\markup \\sheetSmall "(\([^"]*\))"', free)
        assert any(word in one for one in shown), kind
    assert not re.findall(r'\\markup \\sheetSmall "\([^"]*\)"', bound)


def test_every_technique_has_a_letter_or_a_name() -> None:
    assert set(NAMES) | set(LETTERS) == set(TECHNIQUE_KINDS)
    assert not set(NAMES) & set(LETTERS)


def test_only_what_is_optional_is_enclosed() -> None:
    wide = Technique("vibrato", start_s=0.1, end_s=0.4, rate_hz=5.0, depth_semitones=0.4, optional=True)
    draft = lines.build([(0, "1", 3, 5), (1, "1", 3, 7, Technique("hammer_on"), wide)])
    source = sheet_source(draft)
    assert '"(vib.)"' in source
    assert '"H"' in source
    assert '"(H)"' not in source.split("Signs")[0]


def test_a_grace_may_be_left_out() -> None:
    free = Technique("grace", optional=True)
    for notes in ([(1, "0", 3, 4, free), (1, "1", 3, 5)], [(1, "0", 3, 4), (1, "1", 3, 5)]):
        source = sheet_source(lines.build(notes))
        assert ('>8^\\markup \\sheetSmall "(grace)"' in source) == (free in notes[0])


def test_head_of_the_sheet() -> None:
    source = sheet_source(replace(lines.low_line(), key=Key("D", "minor")))
    assert '"Tuning: D A D G B E (string 6 to 1, drop D)"' in source
    assert '"Capo: fret 2, frets are counted from it"' in source
    assert '"Key: D minor"' in source
    swung = sheet_source(full_draft())
    assert "\\rhythm { 8[ 8] }" in swung
    assert "\\tuplet 3/2 { 4 8 }" in swung
    compound = sheet_source(lines.build([(0, "3", 3, 5)], meter=Meter(6, 8), tempo_bpm=66))
    assert '\\rhythm { 4. } " = 66"' in compound


def test_phrases_are_labelled_and_may_end_a_page() -> None:
    source = sheet_source(lines.techniques_line())
    assert '"Call"' in source
    assert '"Answer"' in source
    assert source.count("page-break-penalty #0") == 1


@needs_lilypond
def test_a_page_ends_at_a_phrase(tmp_path: Path) -> None:
    """Bars in phrases of five: no page but at a phrase's end, though more bars would fit."""
    draft = lines.build([(Fraction(step, 2), "1/2", 3, 5 + step % 4) for step in range(640)])
    beat_s = 60.0 / 90.0
    phrases = tuple(
        Phrase(
            f"p{place}", "", None, 0.5 + place * 20 * beat_s - 0.01, 0.5 + (place + 1) * 20 * beat_s - 0.01
        )
        for place in range(16)
    )
    source = sheet_source(replace(draft, phrases=phrases), "tab")
    command = [str(program()), "-dno-point-and-click", "-lERROR", "--svg", "-o", "sheet", "-"]
    subprocess.run(command, input=source.encode(), cwd=tmp_path, check=True)
    pages = sorted(tmp_path.glob("*.svg"))
    assert len(pages) > 1
    for page in pages[1:]:
        numbers = re.findall(r"<tspan>\s*(\d+)\s*</tspan>", page.read_text())
        first = min(int(number) for number in numbers if int(number) > 9)
        assert first % 5 == 1, first


@needs_lilypond
@pytest.mark.parametrize(
    ("name", "suffixes"),
    [
        ("sheet", [".sheet.pdf"]),
        ("sheet-svg", [".sheet.svg"]),
        ("sheet-png", [".sheet.png"]),
        ("phrases", [".phrase-01.png", ".phrases.json"]),
    ],
)
def test_files_of_each_format(name: str, suffixes: list[str]) -> None:
    (row,) = formats_named([name])
    made = row.write(lines.straight_line(), ExportSettings(staves="tab", paper="letter", count=True))
    assert list(made) == suffixes
    assert row.single == (len(suffixes) == 1 and name == "sheet")
