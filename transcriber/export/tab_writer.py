"""From spelled bars to the columns of a text tab."""

from __future__ import annotations

import textwrap
from fractions import Fraction

from transcriber.draft import Chord, Draft, DraftNote
from transcriber.export.counting import count_bar
from transcriber.export.plain_words import one_line
from transcriber.export.score import Event, Score, unsure_notes
from transcriber.export.tab_analysis import shape_labels
from transcriber.export.tab_canvas import string_row
from transcriber.export.tab_layout import Cell, Column, Part, Row
from transcriber.export.tab_signs import Sign, joined, legend, note_sign, tied_sign
from transcriber.export.written_bars import Bar, Piece

FIGURES = {value: str(value) for value in (1, 2, 4, 8, 16, 32, 64)}
"""Rhythm figure by value: which part of a whole note it is."""

RHYTHM_LEGEND = "1 2 4 8  whole note, half, quarter, eighth, ...; a dot adds half; R is a rest"

COUNT_LEGEND = "1 e & a  counted aloud; in parentheses where no note begins"

MARK_KINDS = ("palm_mute", "let_ring", "staccato")
"""Techniques that are written on a row of their own."""


class TabWriter:
    """Turns bars into columns, remembering which signs were used."""

    def __init__(self, draft: Draft, score: Score, count: bool = False) -> None:
        self._draft = draft
        self._score = score
        self._count = count
        self._unsure = {note.id for note in unsure_notes(draft)}
        self._last_on: dict[int, DraftNote] = {}
        self._used: set[str] = set()
        self._ties = self._tuplets = self._doubts = False
        self._labels = shape_labels(draft)
        self._chords = sorted(draft.chords, key=lambda chord: chord.start(draft.meter))

    def bar(self, bar: Bar) -> Part:
        """Give a bar's columns; bars are to be given in order."""
        columns: list[Column] = []
        counts = count_bar(bar, self._draft.meter)
        for place, piece in enumerate(bar.pieces):
            event = None if piece.event is None else self._score.events[piece.event]
            if event is not None and not piece.tied_in:
                columns += [self._grace(note) for note in event.graces]
            column = self._column(bar, place, event)
            if self._count:
                column.cells["count"] = Cell("", counts[place].text)
            columns.append(column)
        return Part(bar.number, tuple(columns))

    def legend(self, width: int) -> list[str]:
        """Lines that explain the signs used so far."""
        lines = ["Signs", RHYTHM_LEGEND]
        if self._ties:
            lines.append("4___8  a tie: one note, as long as both")
        if self._tuplets:
            lines.append("-3-    triplet: three in the time of two (5: in the time of four, 7: of four)")
        if self._count:
            lines.append(COUNT_LEGEND)
        lines += legend(self._used)
        if self._doubts:
            lines.append("?      not sure: see the list of notes to check first")
        wrapped: list[str] = []
        for line in lines:
            wrapped += textwrap.wrap(line, width, subsequent_indent=" " * 7)
        return wrapped

    def _column(self, bar: Bar, place: int, event: Event | None) -> Column:
        piece = bar.pieces[place]
        meter = self._draft.meter
        cells: dict[Row, Cell] = {"rhythm": Cell("", self._rhythm(piece, event))}
        offset = piece.start - (bar.number - 1) * meter.beats
        on_beat = offset % meter.tap == 0
        if on_beat:
            cells["beat"] = Cell("", str(int(offset) + 1))
        chords = self._take_chords(bar, place)
        if chords:
            cells["chord"] = Cell("", " ".join(one_line(chord.name) for chord in chords))
        marks: set[Row] = set()
        if event is not None:
            self._notes(cells, marks, event, tied=piece.tied_in)
        tuplet = None
        if piece.tuplet is not None:
            self._tuplets = True
            tuplet = (bar.number, piece.tuplet, bar.tuplets[piece.tuplet].actual)
        inside = place > 0 and piece.tuplet is not None and bar.pieces[place - 1].tuplet == piece.tuplet
        return Column(
            cells,
            piece.length / meter.unit,
            piece.tied_in,
            piece.tied_out,
            tuplet,
            frozenset(marks),
            breakable=on_beat and not inside and not (event and event.graces and not piece.tied_in),
            label="" if event is None or piece.tied_in else self._label(event),
        )

    def _label(self, event: Event) -> str:
        """Name of the shape that begins with a note of the event."""
        found = (self._labels.get(note.id) for note in (*event.graces, *event.notes))
        return next((label for label in found if label), "")

    def _rhythm(self, piece: Piece, event: Event | None) -> str:
        text = FIGURES[piece.value.base] + "." * piece.value.dots
        self._ties |= piece.tied_out
        if event is None:
            return "R" + text
        if not piece.tied_in and any(note.id in self._unsure for note in event.notes + event.graces):
            self._doubts = True
            return text + "?"
        return text

    def _notes(self, cells: dict[Row, Cell], marks: set[Row], event: Event, tied: bool) -> None:
        signs: dict[int, list[Sign]] = {}
        for note in event.notes:
            line = self._line_of(note)
            signs.setdefault(line, []).append(tied_sign(note) if tied else self._sign(note))
            marks |= {kind for kind in MARK_KINDS if note.has(kind)}
        for line, group in signs.items():
            cells[string_row(line)] = self._cell(joined(group))
        self._used |= marks

    def _grace(self, note: DraftNote) -> Column:
        return Column({string_row(self._line_of(note)): self._cell(self._sign(note))}, Fraction(0))

    def _cell(self, sign: Sign) -> Cell:
        self._used |= sign.used
        # A lead such as "/./" would read as a slide off the note before if it touched that.
        touches = sign.before[:1] in ("h", "p", "/", "\\") and "." not in sign.before
        return Cell(sign.before, sign.text, joins=touches)

    def _sign(self, note: DraftNote) -> Sign:
        line = self._line_of(note)
        sign = note_sign(note, self._last_on.get(line))
        self._last_on[line] = note
        return sign

    def _line_of(self, note: DraftNote) -> int:
        """String line of a note; one that fits no string stands on the outer line nearest to it."""
        if note.string is not None:
            return note.string
        tuning = self._draft.instrument.tuning_midi
        high = note.pitch_midi is not None and note.pitch_midi > max(tuning)
        return 1 if high else len(tuning)

    def _take_chords(self, bar: Bar, place: int) -> list[Chord]:
        """Chords that begin at or before the end of this piece and were not written yet."""
        piece = bar.pieces[place]
        last = place + 1 == len(bar.pieces)
        end = bar.start + bar.length if last else bar.pieces[place + 1].start
        taken: list[Chord] = []
        while self._chords and self._chords[0].start(self._draft.meter) < end:
            chord = self._chords[0]
            if chord.start(self._draft.meter) > piece.start and not last:
                break
            taken.append(self._chords.pop(0))
        return taken
