"""Techniques as MusicXML notations: what stands on one written note, by what the schema says of each.

Signs of `bend-alter` follow the schema's words: the steps of one bend, negative for pre-bends and releases.
Slurs and slides are pairs: each starts at the note it comes from and stops where it leads.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from math import floor
from xml.etree.ElementTree import Element, SubElement

from transcriber.draft import Draft, DraftNote
from transcriber.export.layers import links
from transcriber.export.musicxml.staves import Staff
from transcriber.records.technique import Technique

SLURRED = {"hammer_on": ("hammer-on", "H"), "pull_off": ("pull-off", "P")}
APPROACH = {("slide_in", "up"): "scoop", ("slide_in", "down"): "plop"}
LEAVING = {("slide_out", "up"): "doit", ("slide_out", "down"): "falloff"}
BENDS = ("pre_bend", "bend", "release")
PALM_MUTE_WORDS = "P.M."
TRILL_WORDS = "trill to fret"
OPTIONAL_WORDS = "optional"
UNLINKED_WORDS = "from before"
"""Said where a slur or slide has no note that it could come from."""

LEAST_BEND = 0.5
"""Semitones of the smallest bend that is written."""

_NUMBERS = 8
"""Slurs and slides that are open at once are told apart by a number, on each of two staves one of eight."""


@dataclass(frozen=True)
class Link:
    """A slur or slide from one note to another; `number` tells those open at once apart."""

    technique: Technique
    number: int


@dataclass(frozen=True)
class LinkedNotes:
    """Links by the id of the note they leave, and of the note they reach."""

    leaving: Mapping[str, tuple[Link, ...]] = field(default_factory=dict)
    reaching: Mapping[str, tuple[Link, ...]] = field(default_factory=dict)


def linked_notes(draft: Draft) -> LinkedNotes:
    """Find where every slur and slide of a draft comes from."""
    before = links(draft)
    leaving: dict[str, tuple[Link, ...]] = {}
    reaching: dict[str, tuple[Link, ...]] = {}
    count = 0
    for note in draft.notes:
        for technique in note.techniques:
            if technique.kind not in (*SLURRED, "slide") or note.id not in before:
                continue
            link = Link(technique, count % _NUMBERS + 1)
            count += 1
            leaving[before[note.id]] = (*leaving.get(before[note.id], ()), link)
            reaching[note.id] = (*reaching.get(note.id, ()), link)
    return LinkedNotes(leaving, reaching)


@dataclass(frozen=True)
class Written:
    """One written note: a note of the draft, or a part of it between two ties.

    `first` and `last` tell whether it is the first and last part.
    """

    note: DraftNote
    first: bool
    last: bool


class NotationWriter:
    """Writes the techniques of the notes on one staff.

    Parameters
    ----------
    linked : LinkedNotes
    staff : Staff
        Numbers of slurs, slides and vibrato lines are kept apart from those of the other staff. On a tab
        staff what belongs to the hand stands in a second `notations` element: some engravers take everything
        beside string and fret in the first for a sign that a tab staff cannot hold.
    """

    def __init__(self, linked: LinkedNotes, staff: Staff) -> None:
        self._linked = linked
        self._staff = staff

    def groups(self, written: Written, others: Sequence[Element] = ()) -> list[Element]:
        """The `notations` elements of a note, `others` first in them; none for a note without any."""
        note = written.note
        reaching = self._linked.reaching.get(note.id, ()) if written.first else ()
        leaving = self._linked.leaving.get(note.id, ()) if written.last else ()
        lines = [*others, *self._lines(reaching, "stop"), *self._lines(leaving, "start")]
        if written.last and note.has("let_ring"):
            lines.append(Element("tied", type="let-ring"))
        lines += _group("ornaments", self._ornaments(written))
        place, hand = _place(written, fingered=not self._staff.bare), self._hand(written, reaching, leaving)
        marks = _group("articulations", _articulations(written))
        if self._staff.tab:
            first = [*lines, *_group("technical", place), *marks]
            return _group("notations", first) + _group("notations", _group("technical", hand))
        return _group("notations", [*lines, *_group("technical", place + hand), *marks])

    def _number(self, number: int) -> str:
        return str(_NUMBERS * (self._staff.number - 1) + number)

    def _lines(self, ends: Iterable[Link], kind: str) -> list[Element]:
        """Slurs of slurred notes and of slides not picked again, and the lines of slides."""
        found = []
        for link in ends:
            number = self._number(link.number)
            if link.technique.kind != "slide" or not link.technique.picked:
                found.append(Element("slur", type=kind, number=number))
            if link.technique.kind == "slide":
                found.append(Element("slide", {"type": kind, "number": number, "line-type": "solid"}))
        return found

    def _ornaments(self, written: Written) -> list[Element]:
        found = []
        if written.first and written.note.has("trill"):
            found.append(Element("trill-mark"))
        if written.note.has("vibrato"):
            ends = [kind for kind, there in (("start", written.first), ("stop", written.last)) if there]
            found += [Element("wavy-line", type=kind, number=self._number(1)) for kind in ends]
        return found

    def _hand(self, written: Written, reaching: Sequence[Link], leaving: Sequence[Link]) -> list[Element]:
        """Harmonic, slurs of the left hand, bends, and what has no element of its own."""
        note = written.note
        found: list[Element] = []
        if written.first and note.has("natural_harmonic"):
            harmonic = Element("harmonic")
            SubElement(harmonic, "natural")
            SubElement(harmonic, "sounding-pitch")
            found.append(harmonic)
        for kind, ends in (("stop", reaching), ("start", leaving)):
            found += [self._slurred(link, kind) for link in ends if link.technique.kind in SLURRED]
        if written.first:
            found += bends(note)
            found += [_with_text("other-technical", words) for words in _further(note, linked=bool(reaching))]
        return found

    def _slurred(self, link: Link, kind: str) -> Element:
        name, letter = SLURRED[link.technique.kind]
        made = Element(name, type=kind, number=self._number(link.number))
        made.text = letter if kind == "start" else None
        return made


def _place(written: Written, fingered: bool) -> list[Element]:
    """Finger, string and fret; a part that is only held needs no finger."""
    note = written.note
    found: list[Element] = []
    if fingered and written.first and note.finger:
        found.append(_with_text("fingering", str(note.finger)))
    if note.string is not None and note.fret is not None:
        found += [_with_text("string", str(note.string)), _with_text("fret", str(note.fret))]
    return found


def _group(name: str, members: Sequence[Element]) -> list[Element]:
    """An element around members, if there are any."""
    if not members:
        return []
    made = Element(name)
    made.extend(members)
    return [made]


def written_height(one: Technique) -> float:
    """Height of a bend or release as it is written: in quarter tones, as no sign tells more; no bend is 0."""
    nearest = floor(2 * (one.semitones or 0.0) + 0.5) / 2
    return nearest if one.kind == "release" else max(nearest, LEAST_BEND)


def bends(note: DraftNote) -> list[Element]:
    """Bends, pre-bends and releases in order of time, each with its own steps."""
    found = []
    height = 0.0
    moves = [one for one in note.techniques if one.kind in BENDS]
    for one in sorted(moves, key=lambda one: (one.kind != "pre_bend", one.start_s or 0.0)):
        target = written_height(one)
        steps = -target if one.kind == "pre_bend" else target - height
        height = target
        bend = Element("bend")
        SubElement(bend, "bend-alter").text = f"{steps + 0.0:g}"
        if one.kind != "bend":
            SubElement(bend, "pre-bend" if one.kind == "pre_bend" else "release")
        found.append(bend)
    return found


def _further(note: DraftNote, linked: bool) -> list[str]:
    """What has no element of its own, in words."""
    found = []
    for one in note.techniques:
        name = one.kind.replace("_", " ")
        if one.kind == "trill" and one.to_fret is not None:
            found.append(f"{TRILL_WORDS} {one.to_fret}")
        if one.kind in (*SLURRED, "slide") and not linked:
            again = " picked" if one.picked else ""
            found.append(f"{name} {UNLINKED_WORDS}{again}")
        if one.optional:
            found.append(f"{OPTIONAL_WORDS} {name}")
    return found


def _articulations(written: Written) -> list[Element]:
    note = written.note
    found = []
    if written.first and note.has("staccato"):
        found.append(Element("staccato"))
    for one in note.techniques:
        key = (one.kind, one.direction or "up")
        if written.first and key in APPROACH:
            found.append(Element(APPROACH[key]))
        if written.last and key in LEAVING:
            found.append(Element(LEAVING[key]))
    return found


def _with_text(name: str, text: str) -> Element:
    made = Element(name)
    made.text = text
    return made
