"""The table of notes, read back by Python's own reader of CSV."""

from __future__ import annotations

import csv
import io
from fractions import Fraction

import export_drafts as lines
import generated_drafts as generated
from hypothesis import given

from transcriber.draft.document import Draft
from transcriber.export.note_table import COLUMNS, note_table
from transcriber.export.plain_words import one_line


def rows(draft: Draft) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(note_table(draft), newline=""), strict=True))


def number(cell: str) -> int | None:
    return int(cell) if cell else None


@generated.quick
@given(generated.written_drafts())
def test_any_draft_comes_back(draft: Draft) -> None:
    found = rows(draft)
    assert len(found) == len(draft.notes)
    for row, note in zip(found, draft.notes, strict=True):
        assert set(row) == {name for name, _ in COLUMNS}
        assert (float(row["onset_s"]), float(row["end_s"])) == (note.onset_s, note.end_s)
        assert (int(row["bar"]), Fraction(row["beat"]), Fraction(row["length"])) == (
            note.bar,
            note.beat,
            note.length,
        )
        for key in ("pitch_midi", "string", "fret", "finger", "voice", "velocity"):
            assert number(row[key]) == getattr(note, key)
        assert row["remark"] == one_line(note.remark or "")
        kinds = [word.rstrip("?").partition("=")[0] for word in row["techniques"].split()]
        assert kinds == [one.kind for one in note.techniques]
        assert [word.endswith("?") for word in row["techniques"].split()] == [
            one.optional for one in note.techniques
        ]


def test_words_of_the_techniques() -> None:
    said = [row["techniques"] for row in rows(lines.techniques_line())]
    assert said[0] == "bend=2 vibrato"
    assert said[8] == "slide=picked"
    assert said[15:18] == ["slide_in=up let_ring", "bend=3 release=0 slide_out=down", "trill=7"]


def test_lines_end_as_the_standard_says() -> None:
    text = note_table(lines.pickup_line())
    assert text.count("\r\n") == text.count("\n") == 1 + len(lines.pickup_line().notes)  # RFC 4180
