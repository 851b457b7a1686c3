"""WebVTT by the W3C's syntax, read strictly, and a cue for every moment at which a note sounds."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from itertools import pairwise

import export_drafts as lines
import generated_drafts as generated
from hypothesis import given

from transcriber.draft.document import Draft
from transcriber.export.captions import captions, cues
from transcriber.export.plain_words import one_line

# WebVTT: The Web Video Text Tracks Format, W3C, section 4 (syntax).
TIME = r"(\d{2,}):([0-5]\d):([0-5]\d)\.(\d{3})"
TIMING = re.compile(f"{TIME} --> {TIME}")
ESCAPE = re.compile(r"&(?:amp|lt|gt);")
STAMP = re.compile(f"<{TIME}>")


@dataclass(frozen=True)
class Caption:
    begin: int
    end: int
    lines: tuple[str, ...]


def milliseconds(groups) -> int:
    hours, minutes, seconds, rest = map(int, groups)
    return ((hours * 60 + minutes) * 60 + seconds) * 1000 + rest


def read(text: str) -> list[Caption]:
    """Read a file, refusing whatever the syntax does not allow."""
    head, *blocks = text.rstrip("\n").split("\n\n")
    assert re.fullmatch(r"WEBVTT(?: [^\n]*)?", head)
    assert "-->" not in head
    assert "\r" not in text
    assert "\0" not in text
    found = []
    for block in blocks:
        name, timing, *payload = block.split("\n")
        assert "-->" not in name
        match = TIMING.fullmatch(timing)
        assert match, timing
        begin, end = milliseconds(match.groups()[:4]), milliseconds(match.groups()[4:])
        assert begin < end
        assert payload
        stamps = [begin]
        for line in payload:
            assert line.strip()
            assert "-->" not in line
            stamps += [milliseconds(stamp.groups()) for stamp in STAMP.finditer(line)]
            rest = ESCAPE.sub("", STAMP.sub("", line))
            assert not set(rest) & set("<>&")
        assert all(one < two for one, two in pairwise([*stamps, end]))
        plain = (STAMP.sub("", line) for line in payload)
        unescaped = (line.replace("&lt;", "<").replace("&gt;", ">").replace("&amp;", "&") for line in plain)
        found.append(Caption(begin, end, tuple(unescaped)))
    assert all(one.end <= two.begin for one, two in pairwise(found))
    return found


@generated.quick
@given(generated.written_drafts())
def test_any_draft_is_valid_and_every_note_stands_in_one_cue(draft: Draft) -> None:
    text = captions(draft)
    found = read(text)
    shown = sorted(note.id for cue in cues(draft) for note in cue.notes)
    assert shown == sorted(note.id for note in draft.notes)
    assert sum(len(caption.lines[-1].split(" ")) for caption in found) == len(draft.notes)
    for phrase in draft.phrases:
        if one_line(phrase.name) and draft.phrase_notes(phrase)[:1] and len(draft.phrases) == 1:
            assert any(caption.lines[0].startswith(one_line(phrase.name)) for caption in found)


def test_a_line_word_for_word() -> None:
    found = read(captions(lines.techniques_line()))
    titles = [caption.lines[0] for caption in found]
    assert titles == ["Call, bar 1", "Answer, bar 2", "Answer, bar 3", "Bar 3"]
    assert found[0].lines[1] == "B8b10~ B8 Bp5 G7 G5 Gh7 G/7 G/9 G\\'7 Bg7 Bh8b8.5r8"
    assert found[1].lines[1] == "B8pb10r8 Ax Ax G<12> e./12 e15b18r15\\."


def test_a_cue_sounds_what_it_shows() -> None:
    draft = lines.straight_line()
    found = read(captions(draft))
    for note in draft.notes:
        middle = round(500 * (note.onset_s + min(note.end_s, note.onset_s + 0.2)))
        (caption,) = [one for one in found if one.begin <= middle < one.end]
        assert f"{note.fret}" in caption.lines[-1]
        assert caption.lines[0] == f"Bar {note.bar}"


def test_each_note_has_its_time_in_the_line() -> None:
    text = captions(lines.straight_line())
    draft = lines.straight_line()
    stamps = {milliseconds(stamp.groups()) for stamp in STAMP.finditer(text)}
    begins = {caption.begin for caption in read(text)}
    assert {round(note.onset_s * 1000) for note in draft.notes} <= stamps | begins


def test_no_notes_is_a_file_without_cues() -> None:
    assert read(captions(replace(lines.straight_line(), notes=()))) == []
