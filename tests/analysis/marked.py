"""Reads the lines of ``marked_lines.txt``, which were marked by hand before any analysis was run on them."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path

MARKED = Path(__file__).with_name("marked_lines.txt")
OPEN_STRINGS = (64, 59, 55, 50, 45, 40)
_TOKEN = re.compile(r"(?:(\d)/(\d+)|r):(\d+(?:/\d+)?)((?:b[\d.]+|[vs])*)(!?)")


@dataclass(frozen=True)
class MarkedNote:
    """One note with its marks: phrase number from 1, shape, and whether the shape explains it."""

    start: Fraction
    length: Fraction
    string: int
    fret: int
    bend: float
    slid: bool
    phrase: int
    shape: str
    explained: bool

    @property
    def pitch_midi(self) -> int:
        return OPEN_STRINGS[self.string - 1] + self.fret


@dataclass
class MarkedLine:
    """One line with its marks; `likes` holds (phrase, phrase it takes up, words)."""

    title: str
    facts: dict[str, str] = field(default_factory=dict)
    notes: list[MarkedNote] = field(default_factory=list)
    likes: list[tuple[int, int, str]] = field(default_factory=list)

    @property
    def phrase_starts(self) -> list[Fraction]:
        """Written position of the first note of every phrase."""
        starts: dict[int, Fraction] = {}
        for note in self.notes:
            starts.setdefault(note.phrase, note.start)
        return list(starts.values())


def marked_lines(text: str | None = None) -> list[MarkedLine]:
    """Read all marked lines."""
    lines: list[MarkedLine] = []
    at, phrase, shape = Fraction(0), 0, ""
    for raw in (MARKED.read_text(encoding="utf-8") if text is None else text).splitlines():
        row = raw.strip()
        if not row or row.startswith("#"):
            continue
        if row.startswith("== "):
            lines.append(MarkedLine(row[3:]))
            at, phrase, shape = Fraction(0), 0, ""
            continue
        line = lines[-1]
        word, _, rest = row.partition(" ")
        if word == "phrase":
            phrase += 1
            if found := re.fullmatch(r"like (\d+): (.+)", rest):
                line.likes.append((phrase, int(found[1]), found[2]))
        elif word == "shape":
            shape = rest
        elif word.isalpha():
            line.facts[word] = rest
            if word == "start":
                at = Fraction(rest)
        else:
            at = _read_notes(line, row, at, phrase, shape)
    return lines


def _read_notes(line: MarkedLine, row: str, at: Fraction, phrase: int, shape: str) -> Fraction:
    for token in row.replace("|", " ").split():
        found = _TOKEN.fullmatch(token)
        if not found:
            raise ValueError(f"{line.title}: cannot read {token!r}")
        string, fret, length, marks, outside = found.groups()
        if string:
            bend = re.search(r"b([\d.]+)", marks)
            line.notes.append(
                MarkedNote(
                    at,
                    Fraction(length),
                    int(string),
                    int(fret),
                    float(bend[1]) if bend else 0.0,
                    "s" in marks,
                    phrase,
                    shape,
                    not outside,
                )
            )
        at += Fraction(length)
    return at
