"""A picture of the neck for every shape that a line is played out of, as SVG.

The neck lies flat with string 1 on top, as in tab; for a left-handed player it is mirrored, so that low frets
lie to the right. A place of the shape is a thin ring. A place that was played is a filled disc with its
degree, name or fret; the small figures over it tell when in the span it was played. A note that the
shape does not explain stands in a square.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, replace
from xml.sax.saxutils import escape

from transcriber.draft import Draft, DraftNote, Phrase, Shape
from transcriber.export.pitch_names import SEMITONES, spelled
from transcriber.export.plain_words import one_line
from transcriber.export.tab_analysis import main_shapes, overlaps, short_name
from transcriber.records.pitch import open_string_names

INK, PAPER, RING, WOOD = "#22303c", "#fbfaf6", "#8a97a3", "#b9b2a3"
FIGURE_WIDTH = 5.0
"""Pixels that a small figure takes, a little generously."""
CELL, ROW = 58, 34
LEFT, TOP, BOTTOM = 74, 86, 54
DISC, HALO = 12.5, 10
FEWEST_FRETS = 4
# Moments at one place beyond these are not listed one by one.
MOST_FIGURES = 4
# Names of shapes that fit over a picture of a phrase.
MOST_NAMES = 2
DEGREES = ("1", "b2", "2", "b3", "3", "4", "b5", "5", "b6", "6", "b7", "7")
FLAT, SHARP = "\u266d", "\u266f"


@dataclass(frozen=True)
class PictureSettings:
    """How necks are drawn: what stands in the discs, and for which hand."""

    marks: str = "degrees"
    hand: str = "right"


def neck_pictures(draft: Draft, settings: PictureSettings | None = None) -> dict[str, bytes]:
    """Draw every shape that the take is played out of.

    Parameters
    ----------
    draft : Draft
    settings : PictureSettings, optional

    Returns
    -------
    dict of str to bytes
        SVG documents by suffix, such as ``".neck-01.svg"``, in the order of the take.
    """
    chosen = settings or PictureSettings()
    shapes = main_shapes(draft)
    width = max(2, len(str(len(shapes))))
    return {
        f".neck-{number:0{width}d}.svg": neck_svg(draft, shape, chosen).encode("utf-8")
        for number, shape in enumerate(shapes, 1)
    }


def neck_svg(draft: Draft, shape: Shape, settings: PictureSettings | None = None) -> str:
    """Draw one shape.

    Parameters
    ----------
    draft : Draft
    shape : Shape
        Of that draft.
    settings : PictureSettings, optional

    Returns
    -------
    str
        An SVG document.
    """
    return _Picture(draft, shape, settings or PictureSettings()).document()


def phrase_neck_svg(draft: Draft, phrase: Phrase, name: str, settings: PictureSettings | None = None) -> str:
    """Draw all that one phrase is played out of: its notes in order, over the shapes behind them.

    Parameters
    ----------
    draft : Draft
    phrase : Phrase
        With notes of that draft.
    name : str
        What the phrase is called.
    settings : PictureSettings, optional

    Returns
    -------
    str
        An SVG document.
    """
    shapes = [each for each in main_shapes(draft) if overlaps(each, phrase)]
    ids = {note.id for note in draft.phrase_notes(phrase)}
    explained = {each for shape in shapes for each in shape.notes} & ids
    frets = [fret for shape in shapes for fret in (shape.lowest_fret, shape.highest_fret)] or [0]
    whole = Shape(
        name=_names(shapes),
        start_s=phrase.start_s,
        end_s=phrase.end_s,
        lowest_fret=min(frets),
        highest_fret=max(frets),
        also=(name,),
        places=tuple(dict.fromkeys(place for shape in shapes for place in shape.places)),
        notes=tuple(sorted(explained)),
        # A note that no shape was looked for is not one that its shape leaves unexplained.
        unexplained=tuple(sorted(ids - explained)) if shapes else (),
    )
    if not shapes:
        whole = replace(whole, notes=tuple(sorted(ids)))
    return neck_svg(draft, whole, settings)


def _names(shapes: list[Shape]) -> str:
    named = list(dict.fromkeys(short_name(shape) for shape in shapes))
    if not named:
        return "Places on the neck"
    return ", then ".join(named) if len(named) <= MOST_NAMES else f"{len(named)} shapes"


class _Picture:
    """One picture being drawn."""

    def __init__(self, draft: Draft, shape: Shape, settings: PictureSettings) -> None:
        self._draft, self._shape, self._settings = draft, shape, settings
        wanted = {*shape.notes, *shape.unexplained}
        self._notes = [
            note for note in draft.notes if note.id in wanted and note.string and note.fret is not None
        ]
        self._places = [_place(text) for text in shape.places]
        frets = [fret for _, fret in self._places] + [note.fret or 0 for note in self._notes]
        low, high = min(frets, default=0), max(frets, default=FEWEST_FRETS)
        self._first = max(low, 1)
        self._open = low == 0
        self._last = max(high, self._first + FEWEST_FRETS - 1)
        self._strings = len(draft.instrument.tuning_midi)
        self._width = 2 * LEFT + CELL * (self._last - self._first + 1)
        self._height = TOP + ROW * (self._strings - 1) + BOTTOM

    def document(self) -> str:
        parts = [
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{self._width}" height="{self._height}" '
            f'viewBox="0 0 {self._width} {self._height}" font-family="sans-serif" role="img">',
            f"<title>{escape(one_line(self._shape.name))}</title>",
            f'<rect width="{self._width}" height="{self._height}" fill="{PAPER}"/>',
            *self._words(),
            *self._neck(),
            *self._rings(),
            *self._played(),
            "</svg>",
        ]
        return "\n".join(parts) + "\n"

    def _words(self) -> list[str]:
        shape, instrument = self._shape, self._draft.instrument
        bars = [note.bar for note in self._notes]
        where = ""
        if bars:
            where = f"bar {bars[0]}" if bars[0] == bars[-1] else f"bars {bars[0]} to {bars[-1]}"
        facts = [one_line(name) for name in shape.also] + [where]
        if instrument.capo:
            facts.append(f"capo {instrument.capo}")
        second = ", ".join(each for each in facts if each)
        return [
            _text(16, 26, one_line(shape.name), 17, anchor="start", weight="bold"),
            _text(16, 46, second, 12, anchor="start"),
        ]

    def _neck(self) -> list[str]:
        top, bottom = self._y(1), self._y(self._strings)
        lines = []
        for fret in range(self._first - 1, self._last + 1):
            x = self._edge(fret)
            wide = 5 if fret == 0 else 1.5
            lines.append(_line(x, top, x, bottom, WOOD if fret else INK, wide))
        near, far = self._edge(self._first - 1), self._edge(self._last)
        fretted, strings = self._draft.instrument.fretted, range(1, self._strings + 1)
        names = open_string_names([fretted.open_midi(string) for string in strings])
        for string, name in zip(strings, names, strict=True):
            y = self._y(string)
            lines.append(_line(near, y, far, y, RING, 0.8 + 0.25 * string))
            end = self._x(0) + (-26 if self._settings.hand == "right" else 26)
            lines.append(_text(end, y + 4, _pretty(name), 11, RING))
        for fret in range(self._first, self._last + 1):
            lines.append(_text(self._x(fret), bottom + 32, str(fret), 12))
        return lines

    def _rings(self) -> list[str]:
        played = {(note.string, note.fret) for note in self._notes}
        rings = []
        for string, fret in self._places:
            if (string, fret) in played:
                continue
            x, y = self._x(fret), self._y(string)
            pitch = self._draft.instrument.fretted.open_midi(string) + fret
            rings.append(
                f'<circle cx="{x:g}" cy="{y:g}" r="{HALO}" fill="{PAPER}" '
                f'stroke="{RING}" stroke-width="1.2"/>'
            )
            rings.append(_text(x, y + 4, self._mark(pitch, fret), 10, RING))
        return rings

    def _played(self) -> list[str]:
        moments: dict[tuple[int, int], list[int]] = defaultdict(list)
        by_place: dict[tuple[int, int], DraftNote] = {}
        for number, note in enumerate(self._notes, 1):
            assert note.string is not None
            assert note.fret is not None
            moments[note.string, note.fret].append(number)
            by_place.setdefault((note.string, note.fret), note)
        drawn = []
        for (string, fret), note in by_place.items():
            x, y = self._x(fret), self._y(string)
            if note.id in self._shape.unexplained:
                drawn.append(
                    f'<rect x="{x - 11:g}" y="{y - 11:g}" width="22" height="22" fill="{PAPER}" '
                    f'stroke="{INK}" stroke-width="2"/>'
                )
                ink = INK
            else:
                drawn.append(f'<circle cx="{x:g}" cy="{y:g}" r="{DISC}" fill="{INK}"/>')
                ink = PAPER
            pitch = self._draft.instrument.fretted.open_midi(string) + fret
            drawn.append(_text(x, y + 4, self._mark(pitch, fret, note), 11, ink, weight="bold"))
            figures = _figures(moments[string, fret])
            if fret == 0:
                drawn.append(_blank(x + 14, y - 19, FIGURE_WIDTH * len(figures) + 2, 9.5))
            drawn.append(_text(x + 15, y - 11, figures, 8.5, anchor="start"))
        return drawn

    def _mark(self, pitch: int, fret: int, note: DraftNote | None = None) -> str:
        """What stands in a place: the degree or name of its fretted pitch, or its fret."""
        key = self._draft.key
        if self._settings.marks == "frets":
            return str(fret)
        if self._settings.marks == "names" or key is None:
            if note is not None and note.meaning is not None and note.meaning.fretted_degree is None:
                return _pretty(note.meaning.name)
            name = spelled(pitch, key)
            return _pretty(name.step + ("#" * name.alter if name.alter > 0 else "b" * -name.alter))
        if note is not None and note.meaning is not None:
            return _pretty(note.meaning.fretted_degree or note.meaning.degree)
        return _pretty(DEGREES[(pitch - _tonic_class(key.tonic)) % 12])

    def _x(self, fret: int) -> float:
        """Middle of a fret's room; an open string stands before the nut."""
        at = LEFT - 20 if fret == 0 and self._open else LEFT + CELL * (fret - self._first + 0.5)
        if fret == 0 and not self._open:
            at = LEFT - 14
        return self._sided(at)

    def _edge(self, fret: int) -> float:
        return self._sided(LEFT + CELL * (fret - self._first + 1))

    def _sided(self, at: float) -> float:
        return at if self._settings.hand == "right" else self._width - at

    def _y(self, string: int) -> float:
        return TOP + ROW * (string - 1)


def _tonic_class(tonic: str) -> int:
    return (SEMITONES[tonic[0]] + tonic.count("#") - tonic[1:].count("b")) % 12


def _place(text: str) -> tuple[int, int]:
    string, fret = text.split("/")
    return int(string), int(fret)


def _figures(numbers: list[int]) -> str:
    shown = [str(number) for number in numbers[:MOST_FIGURES]]
    return " ".join(shown) + (" \u2026" if len(numbers) > MOST_FIGURES else "")


def _pretty(name: str) -> str:
    """Write accidentals as signs; a lone b or B stays a letter."""
    head = "" if not name or name[0] not in "ABCDEFG" else name[0]
    return head + name[len(head) :].replace("b", FLAT).replace("#", SHARP)


def _line(x1: float, y1: float, x2: float, y2: float, ink: str, wide: float) -> str:
    return f'<line x1="{x1:g}" y1="{y1:g}" x2="{x2:g}" y2="{y2:g}" stroke="{ink}" stroke-width="{wide:g}"/>'


def _blank(x: float, y: float, width: float, height: float) -> str:
    """Paper under words that would stand on the nut."""
    return f'<rect x="{x:g}" y="{y:g}" width="{width:g}" height="{height:g}" fill="{PAPER}"/>'


def _text(
    x: float,
    y: float,
    words: str,
    size: float,
    ink: str = INK,
    anchor: str = "middle",
    weight: str = "normal",
) -> str:
    return (
        f'<text x="{x:g}" y="{y:g}" font-size="{size:g}" fill="{ink}" text-anchor="{anchor}" '
        f'font-weight="{weight}">{escape(words)}</text>'
    )
