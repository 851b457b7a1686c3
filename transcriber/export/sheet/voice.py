"""One layer on one staff: its bars as LilyPond's text."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from fractions import Fraction

from transcriber.draft import Draft, DraftNote
from transcriber.export.layers import Layer, LayeredScore
from transcriber.export.score import Event
from transcriber.export.sheet import drawing, ly_text, staves
from transcriber.export.sheet.free_signs import free_words, letter_of
from transcriber.export.sheet.joins import Joins, joins_of
from transcriber.export.sheet.moves import Move, amount, moves_by_piece
from transcriber.export.sheet.staves import BentPiece, Staff
from transcriber.export.written_bars import Bar, Piece

BEND_SLUR, HELD_SLUR = "\\=bend", "\\=held"
"""Slurs that join the heads of one bend, and that hold its last one over into the next piece."""

WAVE = " -\\tweak bound-details.left.text ##f \\startTrillSpan"
TRILL = " \\startTrillSpan"
END_WAVE = "<>\\stopTrillSpan "

DOT_WIDTH = 0.8
"""Room of a dot behind a note, in staff spaces."""


@dataclass(frozen=True)
class _Written:
    """A note in one of its pieces."""

    note: DraftNote
    moves: tuple[Move, ...]
    bent: BentPiece


class VoiceWriter:
    """Writes one layer on one staff.

    Parameters
    ----------
    draft : Draft
    score : LayeredScore
    layer : Layer
    staff : Staff
    graces : dict of Fraction to int
        For each place where any staff has graces, how many: all staves fill up to that number.
    remark : callable
        From a note to the words over it, in LilyPond's text; empty for none.
    used : set of str
        Collects the signs that the legend explains.
    """

    def __init__(
        self,
        draft: Draft,
        score: LayeredScore,
        layer: Layer,
        staff: Staff,
        graces: dict[Fraction, int],
        remark: Callable[[DraftNote], str],
        used: set[str],
    ) -> None:
        self._draft = draft
        self._score = score
        self._layer = layer
        self._staff = staff
        self._graces = graces
        self._remark = remark
        self._used = used
        self._joins: Joins = joins_of(draft, layer)
        self._main = score.layers[0] is layer
        self._wave = self._held = False
        self._moves = _moves_of(layer)
        self._levels: dict[str, float] = {}

    def bars(self) -> list[str]:
        """Text of each bar from the score's first to its last."""
        own = {bar.number: bar for bar in self._layer.bars}
        written = [
            self._bar(own.get(number), number)
            for number in range(self._score.first_bar, self._score.last_bar + 1)
        ]
        if self._wave:
            written[-1] += " " + END_WAVE.strip()
        return written

    def _bar(self, bar: Bar | None, number: int) -> str:
        meter = self._draft.meter
        start, length = bar_span(self._score, number, meter.beats)
        rest = "R" if self._main else "s"
        if bar is None or bar.empty:
            return self._end_wave() + rest + ly_text.span(length / meter.unit)
        words = [] if bar.start == start else [rest.lower() + ly_text.span((bar.start - start) / meter.unit)]
        place = 0
        while place < len(bar.pieces):
            piece = bar.pieces[place]
            if piece.tuplet is None:
                words.append(self._piece(piece))
                place += 1
                continue
            inside = [one for one in bar.pieces[place:] if one.tuplet == piece.tuplet]
            ratio = bar.tuplets[piece.tuplet]
            notes = " ".join(self._piece(one) for one in inside)
            words.append(f"\\tuplet {ratio.actual}/{ratio.normal} {{ {notes} }}")
            place += len(inside)
        return " ".join(words)

    def _piece(self, piece: Piece) -> str:
        value = ly_text.duration(piece.value)
        if piece.event is None:
            return self._end_wave() + ("r" if self._main else "s") + value
        event = self._layer.events[piece.event]
        ending = "" if piece.tied_in else self._end_wave()
        lead = "" if piece.tied_in else self._lead(event)
        written = [self._written(note, piece) for note in event.notes]
        heads = self._heads(written, piece.tied_in)
        after = self._after(written)
        tie = "~" if piece.tied_out else ""
        marks = "".join(self._marks(one, piece) for one in written)
        slur = self._slur(event.notes, piece) + (HELD_SLUR + ")" if self._held else "")
        self._held = bool(after) and piece.tied_out
        if not after:
            bend = BEND_SLUR + ")" if not piece.tied_in and self._bends_in(written) else ""
            return f"{ending}{lead}<{heads}>{value}{tie}{bend}{slur}{marks}"
        joined = "" if not piece.tied_in and self._bends_in(written) else BEND_SLUR + "("
        small = " ".join(f"<{one}>16" for one in after)
        held = HELD_SLUR + "(" if self._held else ""
        return (
            f"{ending}{lead}\\afterGrace 15/16 <{heads}>{value}{joined}{slur}{marks} "
            f"{{ {small}{BEND_SLUR}){held} }}"
        )

    def _end_wave(self) -> str:
        ending, self._wave = (END_WAVE if self._wave else ""), False
        return ending

    def _written(self, note: DraftNote, piece: Piece) -> _Written:
        moves = self._moves.get((note.id, piece.start), ())
        level = self._levels.get(note.id, 0.0)
        bent, self._levels[note.id] = staves.bent_piece(moves, level, not piece.tied_in)
        return _Written(note, moves, bent)

    def _heads(self, written: Sequence[_Written], tied: bool) -> str:
        if not self._staff.tab:
            return " ".join(staves.staff_head(self._draft, one.note, one.bent.own) for one in written)
        by_string: dict[int, list[DraftNote]] = {}
        for one in written:
            by_string.setdefault(staves.string_of(self._draft, one.note), []).append(one.note)
        if tied:
            self._used.add("tied")
        if any(len(notes) > 1 for notes in by_string.values()):
            self._used.add("crowded")
        return " ".join(
            staves.tab_head(self._draft, notes[0], tied, tuple(notes[1:])) for notes in by_string.values()
        )

    def _after(self, written: Sequence[_Written]) -> list[str]:
        """Small heads behind a note that is bent or released while it sounds; notation only."""
        if self._staff.tab:
            return []
        count = max(len(one.bent.after) for one in written)
        return [
            " ".join(
                staves.staff_head(self._draft, one.note, one.bent.after[place])
                for one in written
                if place < len(one.bent.after)
            )
            for place in range(count)
        ]

    def _bends_in(self, written: Sequence[_Written]) -> bool:
        return not self._staff.tab and any(one.bent.before is not None for one in written)

    def _lead(self, event: Event) -> str:
        """Graces before an event, filled up to as many as any staff has here."""
        words = [self._grace(note) for note in event.graces]
        if not self._staff.tab:
            bent = bent_graces(event, self._moves)
            words += [self._bend_grace(group) for group in bent]
        missing = self._graces.get(event.start, 0) - len(words)
        if not words and not missing:
            return ""
        count = len(words) + missing
        length = staves.grace_length(count).denominator
        filled = ["s" + str(length)] * missing + [word.replace("@", str(length)) for word in words]
        return f"\\grace {{ {' '.join(filled)} }} "

    def _grace(self, note: DraftNote) -> str:
        head = (
            staves.tab_head(self._draft, note, tied=False)
            if self._staff.tab
            else staves.staff_head(self._draft, note, 0)
        )
        self._used.add("grace")
        joins = self._joins
        slur = ("(" if note.id in joins.slur_opens else "") + (")" if note.id in joins.slur_closes else "")
        slide = "\\glissando" if note.id in joins.slides_on else ""
        free = self._free_signs(note) if self._staff.signs else ""
        return f"<{head}>@{slur}{slide}{free}"

    def _bend_grace(self, group: tuple[DraftNote, ...]) -> str:
        """The fretted pitch, small, from which a bend goes up; in parentheses where it is not heard."""
        silent = all(note.has("pre_bend") for note in group)
        heads = " ".join(staves.staff_head(self._draft, note, 0) for note in group)
        stem = "\\once \\omit Stem \\once \\omit Flag " if silent else ""
        chord = f"\\parenthesize <{heads}>@" if silent and len(group) == 1 else f"<{heads}>@"
        return f"{stem}{chord}{BEND_SLUR}("

    def _slur(self, notes: Sequence[DraftNote], piece: Piece) -> str:
        joins = self._joins
        words = ""
        if not piece.tied_in and any(note.id in joins.slur_closes for note in notes):
            words += ")"
        if not piece.tied_in and any(note.id in joins.slur_opens for note in notes):
            words += "("
        if not piece.tied_out and any(note.id in joins.slides_on for note in notes):
            self._used.add("slide")
            words += "\\glissando"
        return words

    def _marks(self, one: _Written, piece: Piece) -> str:
        note = one.note
        words = self._drawn(one, piece).markup
        if self._staff.signs and not self._staff.tab and one.moves:
            height = amount(max(max(move.before, move.after) for move in one.moves))
            self._used.add("bend_word")
            words += f"^\\markup \\sheetSmall {ly_text.quoted(height)}"
        if not piece.tied_in:
            words += self._first_marks(note)
        if self._staff.signs and not self._wave:
            words += self._waves(note, piece)
        return words

    def _first_marks(self, note: DraftNote) -> str:
        words = ""
        if note.has("staccato"):
            words += "-."
            self._used.add("staccato")
        if self._staff.signs and note.id in self._joins.letters:
            letter = self._joins.letters[note.id]
            self._used.add(letter)
            words += f"^\\markup \\sheetSmall {ly_text.quoted(letter_of(note, letter))}"
        if self._staff.signs:
            words += self._body_signs(note) + self._free_signs(note)
        if self._staff.remarks:
            words += self._remark(note)
        return words

    def _body_signs(self, note: DraftNote) -> str:
        """Sign of a harmonic or a dead note, where its head does not say it; either is explained."""
        if self._staff.tab:
            self._used.update(kind for kind in ("natural_harmonic", "dead_note") if note.has(kind))
            if note.string is None and not note.has("dead_note"):
                self._used.add("unplaced")
            return ""
        if note.has("dead_note"):
            self._used.add("cross")
        if not note.has("natural_harmonic"):
            return ""
        self._used.add("harmonic_word")
        return '^\\markup \\sheetSmall "Harm."'

    def _free_signs(self, note: DraftNote) -> str:
        """What may be left out, by name; whatever stands in parentheses is explained."""
        if any(one.optional for one in note.techniques):
            self._used.add("optional")
        words = free_words(note)
        return f"^\\markup \\sheetSmall {ly_text.quoted(words)}" if words else ""

    def _waves(self, note: DraftNote, piece: Piece) -> str:
        trill, vibrato = note.technique("trill"), note.technique("vibrato")
        if trill is not None and not piece.tied_in:
            self._wave = True
            self._used.add("trill")
            return TRILL
        if vibrato is None or trill is not None:
            return ""
        if piece.tied_out and _begins_later(note, piece, vibrato.start_s, self._draft):
            return ""
        self._wave = True
        self._used.add("vibrato")
        return WAVE

    def _drawn(self, one: _Written, piece: Piece) -> drawing.Drawing:
        """Arrows and lines at a note."""
        note, tied = one.note, piece.tied_in
        draft = self._draft
        if self._staff.tab:
            y, width = staves.height_on_tab(draft, note), staves.tab_width(note, tied)
        else:
            y, width = staves.height_on_staff(draft, staves.sounding_pitch(draft, note) + one.bent.own), 1.4
        drawn = drawing.Drawing(y, width + DOT_WIDTH * piece.value.dots)
        slide_in = note.technique("slide_in")
        lone = note.id in self._joins.lone_slides
        if not tied and (slide_in is not None or lone):
            self._used.add("slide_in")
            slide_in = slide_in or note.technique("slide")
            drawing.draw_slide_in(drawn, slide_in is None or slide_in.direction != "down")
        if self._staff.tab:
            self._tab_drawn(drawn, one, tied)
        slide_out = note.technique("slide_out")
        if slide_out is not None and not piece.tied_out:
            self._used.add("slide_out")
            drawing.draw_slide_out(drawn, slide_out.direction == "up")
        return drawn

    def _tab_drawn(self, drawn: drawing.Drawing, one: _Written, tied: bool) -> None:
        top = (len(self._draft.instrument.tuning_midi) - 1) / 2 * drawing.TAB_LINE
        trill = one.note.technique("trill")
        if trill is not None and trill.to_fret is not None and not tied:
            drawing.draw_trill(drawn, trill.to_fret)
        if one.moves:
            self._used.update(move.kind for move in one.moves)
            drawing.draw_moves(drawn, one.moves, top, one.note.fret, staves.tab_width(one.note, tied) / 2)


def bar_span(score: LayeredScore, number: int, beats: int) -> tuple[Fraction, Fraction]:
    """Start and length of a bar of the score, in denominator beats; the first may be a pickup."""
    start = Fraction((number - 1) * beats)
    if number == score.first_bar:
        return score.start, start + beats - score.start
    return start, Fraction(beats)


def bent_graces(
    event: Event, moves: dict[tuple[str, Fraction], tuple[Move, ...]]
) -> tuple[tuple[DraftNote, ...], ...]:
    """Notes of an event whose bend is led in by a small note, as one group if there are any."""
    led = tuple(
        note
        for note in event.notes
        if staves.bent_piece(moves.get((note.id, event.start), ()), 0.0, True)[0].before is not None
    )
    return (led,) if led else ()


def graces_at(score: LayeredScore, notation: bool) -> dict[Fraction, int]:
    """How many graces the fullest staff has at each place where there are any."""
    found: dict[Fraction, int] = {}
    for layer in score.layers:
        moves = _moves_of(layer)
        for event in layer.events:
            count = len(event.graces) + (len(bent_graces(event, moves)) if notation else 0)
            if count:
                found[event.start] = max(count, found.get(event.start, 0))
    return found


def _moves_of(layer: Layer) -> dict[tuple[str, Fraction], tuple[Move, ...]]:
    """Moves by note and by the start of the piece in which they stand."""
    pieces: dict[int, list[Piece]] = {}
    for bar in layer.bars:
        for piece in bar.pieces:
            if piece.event is not None:
                pieces.setdefault(piece.event, []).append(piece)
    found: dict[tuple[str, Fraction], tuple[Move, ...]] = {}
    for index, own in pieces.items():
        for note in layer.events[index].notes:
            told = moves_by_piece(note, own[0].start, [piece.end for piece in own])
            found.update(
                {(note.id, piece.start): moves for piece, moves in zip(own, told, strict=True) if moves}
            )
    return found


def _begins_later(note: DraftNote, piece: Piece, start_s: float | None, draft: Draft) -> bool:
    """Whether a gesture begins after this piece of the note has ended."""
    if start_s is None or note.length == 0:
        return False
    share = (start_s - note.onset_s) / max(note.end_s - note.onset_s, 1e-6)
    return float(note.start(draft.meter)) + share * float(note.length) >= float(piece.end)
