"""One written symbol as MusicXML `note` elements, children in the schema's order."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from xml.etree.ElementTree import Element, SubElement

from transcriber.draft import Draft, DraftNote
from transcriber.export.musicxml.elements import add_text
from transcriber.export.musicxml.staves import Staff
from transcriber.export.musicxml.techniques import LinkedNotes, NotationWriter, Written
from transcriber.export.pitch_names import SpelledPitch, spelled
from transcriber.export.written_bars import NoteValue, Piece, Tuplet

TYPES = {1: "whole", 2: "half", 4: "quarter", 8: "eighth", 16: "16th", 32: "32nd", 64: "64th"}
ACCIDENTALS = {-2: "flat-flat", -1: "flat", 0: "natural", 1: "sharp", 2: "double-sharp"}
FORTE_VELOCITY = 90
"""MIDI velocity that MusicXML calls 100 %."""

UNPITCHED_LINE = ("B", 4)
"""Where a note without pitch or place stands: the middle line of a treble staff."""

_ID = re.compile(r"[A-Za-z_][A-Za-z0-9._-]*", flags=re.ASCII)


@dataclass(frozen=True)
class Symbol:
    """A piece of a bar with all that its elements need.

    Attributes
    ----------
    piece : Piece
    notes, graces : sequence of DraftNote
        Empty for a rest; graces only on the first piece of an event.
    duration : int
        In divisions.
    voice : int
    staff : int or None
        None where the part has one staff.
    beams : tuple of str
    opens, closes : Tuplet or None
        A bracket that begins or ends here.
    accidentals : dict of note id to int
        Accidentals to print.
    """

    piece: Piece
    notes: Sequence[DraftNote]
    graces: Sequence[DraftNote]
    duration: int
    voice: int
    staff: int | None
    beams: tuple[str, ...]
    opens: Tuplet | None
    closes: Tuplet | None
    accidentals: dict[str, int]


class NoteWriter:
    """Writes the notes of one staff."""

    def __init__(self, draft: Draft, staff: Staff, linked: LinkedNotes, main: bool) -> None:
        self._draft = draft
        self._staff = staff
        self._notations = NotationWriter(linked, staff)
        self._main = main

    def symbol(self, symbol: Symbol) -> list[Element]:
        """Write the graces and notes of a piece, or its rest."""
        if not symbol.notes:
            return [self._rest(symbol)]
        found = [self.grace(note, symbol.voice, symbol.staff, symbol.accidentals) for note in symbol.graces]
        for place, note in enumerate(symbol.notes):
            found.append(self._note(symbol, note, chord=place > 0))
        return found

    def full_rest(self, duration: int, voice: int, staff: int | None) -> Element:
        """A rest for a whole bar."""
        made = self._silence()
        SubElement(made, "rest", measure="yes")
        add_text(made, "duration", str(duration))
        add_text(made, "voice", str(voice))
        if staff is not None:
            add_text(made, "staff", str(staff))
        return made

    def grace(self, note: DraftNote, voice: int, staff: int | None, accidentals: dict[str, int]) -> Element:
        """A grace: small, struck through, without a duration."""
        made = self._head(note)
        SubElement(made, "grace", slash="yes")
        made.append(self._pitch(note))
        add_text(made, "voice", str(voice))
        add_text(made, "type", "eighth")
        self._accidental(made, note, accidentals)
        self._tail(made, note, staff, self._notations.groups(Written(note, True, True)))
        return made

    def _silence(self) -> Element:
        """The note element of a rest, which a bare staff does not show."""
        return Element("note", {"print-object": "no"} if self._staff.bare else {})

    def _rest(self, symbol: Symbol) -> Element:
        made = self._silence()
        SubElement(made, "rest")
        add_text(made, "duration", str(symbol.duration))
        add_text(made, "voice", str(symbol.voice))
        _value(made, symbol.piece.value)
        _modification(made, symbol.piece.value)
        if symbol.staff is not None:
            add_text(made, "staff", str(symbol.staff))
        brackets = self._brackets(symbol)
        if brackets:
            SubElement(made, "notations").extend(brackets)
        return made

    def _note(self, symbol: Symbol, note: DraftNote, chord: bool) -> Element:
        piece = symbol.piece
        made = self._head(note) if not piece.tied_in else Element("note")
        if chord:
            SubElement(made, "chord")
        made.append(self._pitch(note))
        add_text(made, "duration", str(symbol.duration))
        ties = [kind for kind, there in (("stop", piece.tied_in), ("start", piece.tied_out)) if there]
        for kind in ties:
            SubElement(made, "tie", type=kind)
        add_text(made, "voice", str(symbol.voice))
        _value(made, piece.value)
        if not piece.tied_in:
            self._accidental(made, note, symbol.accidentals)
        _modification(made, piece.value)
        marks = [Element("tied", type=kind) for kind in ties]
        if not chord:
            marks += self._brackets(symbol)
        written = Written(note, not piece.tied_in, not piece.tied_out)
        groups = self._notations.groups(written, marks)
        self._tail(made, note, symbol.staff, groups, () if chord or self._staff.bare else symbol.beams)
        return made

    def _brackets(self, symbol: Symbol) -> list[Element]:
        """Ends of tuplets; on a bare staff they are told but not shown, as readers count lengths by them."""
        hidden = {"show-number": "none"} if self._staff.bare else {}
        bracket = "no" if self._staff.bare else "yes"
        found = []
        if symbol.opens is not None:
            found.append(Element("tuplet", {"type": "start", "number": "1", "bracket": bracket, **hidden}))
        if symbol.closes is not None:
            found.append(Element("tuplet", type="stop", number="1"))
        return found

    def _head(self, note: DraftNote) -> Element:
        loudness = f"{round(100 * note.velocity / FORTE_VELOCITY, 2):g}"
        marks = {"dynamics": loudness}
        if self._main and _ID.fullmatch(note.id):
            marks["id"] = note.id
        return Element("note", marks)

    def _pitch(self, note: DraftNote) -> Element:
        if note.pitch_midi is not None:
            return _pitch_element("pitch", "", spelled(note.pitch_midi, self._draft.key))
        place = SpelledPitch(UNPITCHED_LINE[0], 0, UNPITCHED_LINE[1])
        if note.string is not None and note.fret is not None:
            sounding = self._draft.instrument.fretted.open_midi(note.string) + note.fret
            # Written an octave above its sound: a display position knows no clef's octave.
            place = spelled(sounding + 12, self._draft.key)
        return _pitch_element("unpitched", "display-", place)

    def _accidental(self, made: Element, note: DraftNote, accidentals: dict[str, int]) -> None:
        if not self._staff.tab and note.id in accidentals:
            add_text(made, "accidental", ACCIDENTALS[accidentals[note.id]])

    def _tail(
        self,
        made: Element,
        note: DraftNote,
        staff: int | None,
        groups: Sequence[Element],
        beams: Sequence[str] = (),
    ) -> None:
        if self._staff.bare:
            add_text(made, "stem", "none")
        if note.has("dead_note"):
            add_text(made, "notehead", "x")
        if staff is not None:
            add_text(made, "staff", str(staff))
        for number, beam in enumerate(beams, start=1):
            SubElement(made, "beam", number=str(number)).text = beam
        made.extend(groups)
        if note.has("palm_mute"):
            SubElement(SubElement(made, "play"), "mute").text = "palm"


def _pitch_element(name: str, prefix: str, pitch: SpelledPitch) -> Element:
    made = Element(name)
    add_text(made, f"{prefix}step", pitch.step)
    if pitch.alter and not prefix:
        add_text(made, "alter", str(pitch.alter))
    add_text(made, f"{prefix}octave", str(pitch.octave))
    return made


def _value(made: Element, value: NoteValue) -> None:
    add_text(made, "type", TYPES[value.base])
    for _ in range(value.dots):
        SubElement(made, "dot")


def _modification(made: Element, value: NoteValue) -> None:
    if value.actual != value.normal:
        ratio = SubElement(made, "time-modification")
        add_text(ratio, "actual-notes", str(value.actual))
        add_text(ratio, "normal-notes", str(value.normal))


def printed_accidentals(
    notes: Sequence[tuple[Fraction, DraftNote, bool]], draft: Draft, signature: dict[str, int]
) -> dict[str, int]:
    """Accidentals that one bar needs, by note.

    Parameters
    ----------
    notes : sequence of (Fraction, DraftNote, bool)
        Position, note, and whether it is tied from before (then its sign stands where it began).
    draft : Draft
    signature : dict of str to int
        Alteration of each letter by the key.
    """
    standing: dict[tuple[str, int], int] = {}
    found: dict[str, int] = {}
    for _, note, tied in sorted(notes, key=lambda one: (one[0], one[1].onset_s)):
        if note.pitch_midi is None or tied:
            continue
        name = spelled(note.pitch_midi, draft.key)
        line = (name.step, name.octave)
        if standing.get(line, signature[name.step]) != name.alter:
            found[note.id] = name.alter
        standing[line] = name.alter
    return found
