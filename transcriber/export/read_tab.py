"""Reads a text tab that this package wrote: strings, frets, rhythm and techniques, as out of a message.

Only what stands in the systems is read, and the meter from the header; everything else is words for people.
What a tab does not say (times in the recording, how sure a note is) cannot be read.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from fractions import Fraction

from transcriber.errors import DraftError
from transcriber.export.tab_canvas import BAR_LINE, BROKEN_EDGE, SPAN_ROWS
from transcriber.export.tab_writer import COUNT_LEGEND, FIGURES
from transcriber.export.written_bars import NoteValue
from transcriber.records.technique import Technique, TechniqueKind
from transcriber.records.written import Meter

_AMOUNT = r"\+?\d+(?:\.5)?"
_SIGN = re.compile(
    rf"(?P<lead>(?:\+|h|p(?!b)|\.[/\\]|[/\\]'?)*)(?P<grace>g?)(?:(?P<tied>\()|<)?"
    rf"(?P<body>\d+(?:\.5(?=\)))?|x|\[[^\]]+\]|[A-G][#b]?-?\d(?=\)))[>)]?"
    rf"(?P<tail>(?:pb{_AMOUNT}|b{_AMOUNT}|r{_AMOUNT}|~|tr\d*|[/\\]\.)*)"
)
_TAIL = re.compile(rf"(pb|b|r)({_AMOUNT})|(~)|(tr)(\d*)|([/\\]\.)")
_LEAD = re.compile(r"\+|h|p|\.[/\\]|[/\\]'?")
_RHYTHM = re.compile(r"(R?)(16|32|64|1|2|4|8)(\.?)(\??)")
_BRACKET = re.compile(r"-*(\d)-*")
_VALUES = {figure: base for base, figure in FIGURES.items()}
_NORMAL = {3: 2, 5: 4, 7: 4}
_PLAIN_SIGNS = {
    "h": Technique("hammer_on"),
    "p": Technique("pull_off"),
    "/": Technique("slide", direction="up", picked=False),
    "\\": Technique("slide", direction="down", picked=False),
    "/'": Technique("slide", direction="up", picked=True),
    "\\'": Technique("slide", direction="down", picked=True),
    "./": Technique("slide_in", direction="up"),
    ".\\": Technique("slide_in", direction="down"),
    "/.": Technique("slide_out", direction="up"),
    "\\.": Technique("slide_out", direction="down"),
    "g": Technique("grace"),
    "~": Technique("vibrato"),
}
_HEIGHT_SIGNS: dict[str, TechniqueKind] = {"b": "bend", "pb": "pre_bend", "r": "release"}


@dataclass(frozen=True)
class ReadNote:
    """One note as the tab tells it.

    Attributes
    ----------
    start, length : Fraction
        Denominator beats from beat 1 of bar 1, and length with ties joined; 0 for a grace.
    string : int
    body : str
        Fret, ``x``, or a pitch in brackets.
    signs : tuple of str
        Signs before and after the fret in the order written, such as ``("h", "b9", "~")``.
    harmonic, unsure : bool
    marks : frozenset of str
        Techniques written on rows of their own: ``palm_mute``, ``let_ring``, ``staccato``.
    """

    start: Fraction
    length: Fraction
    string: int
    body: str
    signs: tuple[str, ...]
    harmonic: bool = False
    unsure: bool = False
    marks: frozenset[str] = frozenset()

    @property
    def fret(self) -> int | None:
        """Fret, None for a dead note and for one that no string can play."""
        return int(self.body) if self.body.isdecimal() else None

    @property
    def techniques(self) -> tuple[Technique, ...]:
        """Techniques that the signs say, in the order written; none has a time."""
        found = [_technique(sign, self.fret) for sign in self.signs]
        if self.body == "x":
            found.append(Technique("dead_note"))
        if self.harmonic:
            found.append(Technique("natural_harmonic"))
        kinds: tuple[TechniqueKind, ...] = ("palm_mute", "let_ring", "staccato")
        return (*found, *(Technique(kind) for kind in kinds if kind in self.marks))


def _technique(sign: str, fret: int | None) -> Technique:
    """Technique that one sign says; a height is told as a fret, or by `+` where there is none."""
    if sign in _PLAIN_SIGNS:
        return _PLAIN_SIGNS[sign]
    letters = sign.rstrip("0123456789.+")
    figure = sign.removeprefix(letters)
    if letters == "tr":
        return Technique("trill", to_fret=int(figure) if figure else None)
    height = float(figure) if figure.startswith("+") or fret is None else float(figure) - fret
    return Technique(_HEIGHT_SIGNS[letters], semitones=height)


@dataclass(frozen=True)
class ReadTab:
    """A tab as read: meter, the notes in order of writing, and each bar's number and length in beats."""

    meter: Meter
    notes: tuple[ReadNote, ...]
    bars: tuple[tuple[int, Fraction], ...]


@dataclass(frozen=True)
class _System:
    """Rows of one system, with the column of its left edge."""

    above: tuple[str, ...]
    strings: tuple[str, ...]
    left: int


def read_text_tab(text: str) -> ReadTab:
    """Read a text tab that `text_tab` wrote.

    Parameters
    ----------
    text : str
        The whole of it, or a part from the line that names the meter on; it may be indented or quoted.

    Returns
    -------
    ReadTab

    Raises
    ------
    DraftError
        If the text holds no meter, or a note that stands under no rhythm sign.
    """
    lines = _unquoted(text)
    found = re.search(r"Meter: (\d+)/(\d+)", text)
    if found is None:
        raise DraftError("this text tab names no meter: write it anew from the draft")
    reader = _Reader(Meter(int(found[1]), int(found[2])))
    counted = COUNT_LEGEND[:20] in text
    for system in _systems(lines):
        reader.system(replace(system, above=system.above[:-1]) if counted else system)
    return reader.result()


def _unquoted(text: str) -> list[str]:
    """Lines without what a message puts before each: spaces, or ``>`` of a reply."""
    lines = [line.rstrip() for line in text.splitlines()]
    leads = [line[: len(line) - len(line.lstrip("> \t"))] for line in lines if line.strip("> \t")]
    prefix = min(leads, key=len, default="")
    return [line.removeprefix(prefix if line.startswith(prefix) else prefix.rstrip()) for line in lines]


def _systems(lines: list[str]) -> list[_System]:
    """Find the systems: runs of string lines and what stands over them since the last empty line."""
    pattern = re.compile(r"[A-Ga-g][#b]? ?[|:].*[|:]$")
    found = []
    place = 0
    while place < len(lines):
        if not pattern.match(lines[place]):
            place += 1
            continue
        end = place
        while end < len(lines) and pattern.match(lines[end]):
            end += 1
        top = place
        while top > 0 and lines[top - 1].strip():
            top -= 1
        width = len(lines[place])
        strings = tuple(lines[place:end])
        edges = [
            column for column in (strings[0].find(BAR_LINE), strings[0].find(BROKEN_EDGE)) if column >= 0
        ]
        found.append(_System(tuple(line.ljust(width) for line in lines[top:place]), strings, min(edges)))
        place = end
    return found


class _Reader:
    """Adds up the rhythm of one system after another."""

    def __init__(self, meter: Meter) -> None:
        self._meter = meter
        self._bars: list[tuple[list[ReadNote], Fraction]] = []
        self._open: list[ReadNote] = []
        self._here = Fraction(0)
        self._first: int | None = None

    def system(self, system: _System) -> None:
        """Read one system; they are to be given in order."""
        if self._first is None:
            self._first = int(system.above[0].split()[0])
        rhythm = {match.start(): match for match in _RHYTHM.finditer(system.above[-1])}
        signs = _signs(system)
        self._check(signs, rhythm)
        marks = _marks(system)
        brackets = _brackets(system)
        ends = [at for at, char in enumerate(system.strings[0]) if char == BAR_LINE and at > system.left]
        for at in sorted([*rhythm, *(at for at in signs if at not in rhythm), *ends]):
            if at in ends:
                self._close()
            elif at in rhythm:
                tied = system.above[-1][at - 1] == "_"
                self._event(rhythm[at], signs.get(at, []), brackets, tied, marks.get(at, frozenset()))
            else:
                self._open += [replace(note, start=self._here) for note in _notes(signs[at])]

    def result(self) -> ReadTab:
        """Place the bars one after another; the first may be a pickup that ends at bar 1."""
        notes: list[ReadNote] = []
        bars: list[tuple[int, Fraction]] = []
        for number, (held, length) in enumerate(self._bars, start=self._first or 0):
            start = Fraction(number * self._meter.beats) - length
            notes += [replace(note, start=note.start + start) for note in held]
            bars.append((number, length))
        return ReadTab(self._meter, _join(notes), tuple(bars))

    def _check(
        self, signs: dict[int, list[tuple[int, re.Match[str]]]], rhythm: dict[int, re.Match[str]]
    ) -> None:
        for at, here in signs.items():
            if at not in rhythm and not all(match["grace"] for _, match in here):
                raise DraftError(f"a note in column {at} stands under no rhythm sign: write the tab anew")

    def _event(
        self,
        rhythm: re.Match[str],
        signs: list[tuple[int, re.Match[str]]],
        brackets: dict[int, int],
        tied: bool,
        marks: frozenset[str],
    ) -> None:
        figure = brackets.get(rhythm.start(), 1)
        value = NoteValue(_VALUES[rhythm[2]], len(rhythm[3]), figure, _NORMAL.get(figure, 1))
        length = value.whole_notes * self._meter.unit
        for note in _notes(signs):
            signed = ("(", *note.signs) if tied else note.signs
            self._open.append(
                replace(
                    note,
                    start=self._here,
                    length=length,
                    signs=signed,
                    unsure=bool(rhythm[4]),
                    marks=marks,
                )
            )
        self._here += length

    def _close(self) -> None:
        self._bars.append((self._open, self._here))
        self._open, self._here = [], Fraction(0)


def _signs(system: _System) -> dict[int, list[tuple[int, re.Match[str]]]]:
    """All signs by the column of their anchor, as (string, match)."""
    found: dict[int, list[tuple[int, re.Match[str]]]] = {}
    for string, row in enumerate(system.strings, start=1):
        anchor = 0
        for match in _SIGN.finditer(row, system.left):
            if "+" not in match["lead"]:
                anchor = match.start("body")
            found.setdefault(anchor, []).append((string, match))
    return found


def _notes(signs: list[tuple[int, re.Match[str]]]) -> list[ReadNote]:
    found = []
    for string, match in signs:
        lead = tuple(one for one in _LEAD.findall(match["lead"]) if one != "+")
        tail = tuple(one[0] for one in re.finditer(_TAIL, match["tail"]))
        grace = ("g",) if match["grace"] else ()
        harmonic = match[0].find("<") >= 0
        found.append(ReadNote(Fraction(0), Fraction(0), string, match["body"], lead + grace + tail, harmonic))
    return found


def _marks(system: _System) -> dict[int, frozenset[str]]:
    """Spans by column."""
    found: dict[int, frozenset[str]] = {}
    for name, sign, _ in SPAN_ROWS:
        for row in system.above[:-1]:
            for match in re.finditer(rf"{sign}-*", row):
                for at in range(match.start(), match.end()):
                    found[at] = found.get(at, frozenset()) | {name}
    return found


def _brackets(system: _System) -> dict[int, int]:
    """Tuplet figure by column; the row of bar numbers stands on top and has no dashes."""
    found: dict[int, int] = {}
    for row in system.above[:-1]:
        if re.fullmatch(r"[\d\- ]+", row) and "-" in row:
            for match in _BRACKET.finditer(row):
                for at in range(match.start(), match.end()):
                    found[at] = int(match[1])
    return found


def _join(notes: list[ReadNote]) -> tuple[ReadNote, ...]:
    """Add tied notes to the note they go on from."""
    joined: list[ReadNote] = []
    last: dict[int, int] = {}
    for note in notes:
        if note.signs[:1] == ("(",):
            index = last[note.string]
            joined[index] = replace(joined[index], length=joined[index].length + note.length)
            continue
        last[note.string] = len(joined)
        joined.append(note)
    return tuple(joined)
