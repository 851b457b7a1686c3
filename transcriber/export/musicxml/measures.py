"""Bars as MusicXML measures: layer after layer, staff after staff, with the way back between them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from xml.etree.ElementTree import Element, SubElement

from transcriber.draft import Draft, DraftNote
from transcriber.export.beams import beams_of
from transcriber.export.layers import Layer, LayeredScore
from transcriber.export.musicxml.directions import Placed
from transcriber.export.musicxml.elements import add_text
from transcriber.export.musicxml.note_elements import NoteWriter, Symbol, printed_accidentals
from transcriber.export.musicxml.staves import Staff
from transcriber.export.musicxml.techniques import LinkedNotes
from transcriber.export.pitch_names import signature
from transcriber.export.written_bars import Bar, Piece


@dataclass(frozen=True)
class Part:
    """What the bars of a part are made from; `divisions` are in one denominator beat."""

    draft: Draft
    score: LayeredScore
    staves: tuple[Staff, ...]
    linked: LinkedNotes
    directions: Sequence[Placed]
    divisions: int

    def span(self, number: int) -> tuple[Fraction, Fraction]:
        """Begin and end of a bar, in denominator beats from beat 1 of bar 1."""
        beats = self.draft.meter.beats
        begin = self.score.start if number == self.score.first_bar else Fraction((number - 1) * beats)
        return begin, Fraction(number * beats)

    def duration(self, beats: Fraction) -> int:
        """Divisions in so many denominator beats; exact by the choice of `divisions`."""
        return int(beats * self.divisions)


def measure(part: Part, number: int) -> Element:
    """Write one bar."""
    begin, end = part.span(number)
    marks = {"number": str(number)}
    if begin != (number - 1) * part.draft.meter.beats or number < 1:
        marks["implicit"] = "yes"
    made = Element("measure", marks)
    bars = [_bar_of(layer, number) for layer in part.score.layers]
    shown = printed_accidentals(_sounding(part, bars), part.draft, signature(part.draft.key))
    for staff in part.staves:
        writer = NoteWriter(part.draft, staff, part.linked, main=staff is part.staves[0])
        for place, (layer, bar) in enumerate(zip(part.score.layers, bars, strict=True)):
            if place and (bar is None or bar.empty):
                continue
            if staff is not part.staves[0] or place:
                _back(made, part.duration(end - begin))
            line = _Line(part, writer, staff, place, layer, begin, end, shown)
            made.extend(line.elements(bar, last=number == part.score.last_bar))
    return made


def _bar_of(layer: Layer, number: int) -> Bar | None:
    return next((bar for bar in layer.bars if bar.number == number), None)


def _sounding(part: Part, bars: Sequence[Bar | None]) -> list[tuple[Fraction, DraftNote, bool]]:
    """Notes that a bar shows, graces too, with their positions."""
    found = []
    for layer, bar in zip(part.score.layers, bars, strict=True):
        for piece in bar.pieces if bar else ():
            if piece.event is None:
                continue
            event = layer.events[piece.event]
            graces = () if piece.tied_in else event.graces
            found += [(piece.start, note, False) for note in graces]
            found += [(piece.start, note, piece.tied_in) for note in event.notes]
    return found


def _back(made: Element, duration: int) -> None:
    add_text(SubElement(made, "backup"), "duration", str(duration))


@dataclass(frozen=True)
class _Line:
    """One layer of one bar on one staff."""

    part: Part
    writer: NoteWriter
    staff: Staff
    place: int
    layer: Layer
    begin: Fraction
    end: Fraction
    accidentals: dict[str, int]

    @property
    def voice(self) -> int:
        return self.staff.first_voice + self.place

    @property
    def staff_number(self) -> int | None:
        return self.staff.number if len(self.part.staves) > 1 else None

    @property
    def leads(self) -> bool:
        """Whether directions stand on this line: the first layer of the first staff."""
        return self.place == 0 and self.staff is self.part.staves[0]

    def elements(self, bar: Bar | None, last: bool) -> list[Element]:
        found: list[Element] = []
        if bar is None or bar.empty:
            duration = self.part.duration(self.end - self.begin)
            found += self._directions(self.begin, self.end)
            found.append(self.writer.full_rest(duration, self.voice, self.staff_number))
        else:
            if bar.start > self.begin:
                found += self._directions(self.begin, bar.start)
                found.append(self._forward(bar.start - self.begin))
            beams = beams_of(bar.pieces, self.part.draft.meter)
            for at, piece in enumerate(bar.pieces):
                found += self._directions(piece.start, piece.end)
                found += self._piece(bar, piece, beams.get(at, ()))
        if last and self.place == 0:
            found += [
                self.writer.grace(note, self.voice, self.staff_number, {})
                for note in self.part.score.trailing
            ]
            found += self._directions(self.end, None)
        return found

    def _piece(self, bar: Bar, piece: Piece, beams: tuple[str, ...]) -> list[Element]:
        if piece.event is None and self.place and piece.tuplet is None:
            return [self._forward(piece.length)]
        event = None if piece.event is None else self.layer.events[piece.event]
        tuplet = None if piece.tuplet is None else bar.tuplets[piece.tuplet]
        symbol = Symbol(
            piece=piece,
            notes=event.notes if event else (),
            graces=event.graces if event and not piece.tied_in else (),
            duration=self.part.duration(piece.length),
            voice=self.voice,
            staff=self.staff_number,
            beams=beams,
            opens=tuplet if tuplet and tuplet.start == piece.start else None,
            closes=tuplet if tuplet and tuplet.start + tuplet.length == piece.end else None,
            accidentals=self.accidentals,
        )
        return self.writer.symbol(symbol)

    def _forward(self, beats: Fraction) -> Element:
        made = Element("forward")
        add_text(made, "duration", str(self.part.duration(beats)))
        add_text(made, "voice", str(self.voice))
        if self.staff_number is not None:
            add_text(made, "staff", str(self.staff_number))
        return made

    def _directions(self, begin: Fraction, end: Fraction | None) -> list[Element]:
        """Directions due from `begin` up to `end`, each with its distance from `begin`."""
        if not self.leads:
            return []
        found = []
        for one in self.part.directions:
            if one.start >= begin and (end is None or one.start < end):
                away = self.part.duration(one.start - begin) if end is not None else 0
                found.append(_finished(one.element, away, self.staff_number))
        return found


def _finished(element: Element, offset: int, staff: int | None) -> Element:
    """Add offset and staff to a direction where the schema wants them: before `sound`."""
    at = next((place for place, child in enumerate(element) if child.tag == "sound"), len(element))
    added = []
    if offset:
        moved = Element("offset")
        moved.text = str(offset)
        added.append(moved)
    if staff is not None:
        on = Element("staff")
        on.text = str(staff)
        added.append(on)
    for place, child in enumerate(added):
        element.insert(at + place, child)
    return element
