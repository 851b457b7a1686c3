"""Where everything of a text tab stands: columns, spacing, and systems that fit a width.

A column is one moment: its texts stand on rows (the string lines and the rows above and below them) around
one anchor, the same for all rows. The layout first finds the smallest distance at which nothing touches on
any row, then widens it by the written length, and fills systems bar by bar.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from fractions import Fraction

Row = str
"""Name of a row: ``"string 1"``, ``"rhythm"``, ``"beat"``, ``"chord"``, ..."""

SPACES: tuple[tuple[Fraction, int], ...] = (
    (Fraction(1), 12),
    (Fraction(3, 4), 10),
    (Fraction(1, 2), 8),
    (Fraction(3, 8), 7),
    (Fraction(1, 4), 6),
    (Fraction(3, 16), 5),
    (Fraction(1, 8), 4),
    (Fraction(1, 16), 3),
    (Fraction(0), 2),
)
"""Written length in whole notes, from which on this many columns lie between two anchors."""

DENSITIES: tuple[Fraction, ...] = (Fraction(1), Fraction(3, 4), Fraction(1, 2), Fraction(0))
"""Shares of that space that are tried in turn until a bar fits."""

JUSTIFY_FROM = Fraction(3, 5)
"""A system that fills this share of the width is stretched to the whole of it."""


@dataclass(frozen=True)
class Cell:
    """Text on one row: what stands before the anchor, and what from it on.

    `joins` lets it touch the text before it on its row, as a slur's sign may.
    """

    before: str
    text: str
    joins: bool = False


@dataclass(frozen=True)
class Column:
    """One moment.

    Attributes
    ----------
    cells : mapping of row to Cell
    length : Fraction
        Written length in whole notes, for the spacing; 0 for a grace.
    tied_in, tied_out : bool
        Whether a tie comes in to its rhythm sign, and goes out of it.
    tuplet : tuple of int or None
        (bar, index, figure) of the bracket it stands under.
    marks : frozenset of str
        Rows on which a span (palm mute, let ring) covers it.
    breakable : bool
        Whether a system may begin here if the bar alone is too wide: at a beat, outside a bracket.
    label : str
        Words over it that take no room of their own: the shape that begins here.
    """

    cells: dict[Row, Cell]
    length: Fraction
    tied_in: bool = False
    tied_out: bool = False
    tuplet: tuple[int, int, int] | None = None
    marks: frozenset[Row] = frozenset()
    breakable: bool = False
    label: str = ""


@dataclass(frozen=True)
class Part:
    """A bar, or the piece of a broken bar that stands in one system."""

    number: int
    columns: tuple[Column, ...]
    opens: bool = True
    closes: bool = True


@dataclass(frozen=True)
class PlacedPart:
    """A part with its place: anchor of every column, and its two edges, counted in characters."""

    part: Part
    left: int
    anchors: tuple[int, ...]
    right: int


@dataclass(frozen=True)
class _Measured:
    part: Part
    anchors: tuple[int, ...] = field(default=())
    width: int = 0


def fill_systems(bars: Sequence[Part], width: int, indent: int) -> tuple[tuple[PlacedPart, ...], ...]:
    """Fill systems with bars.

    Parameters
    ----------
    bars : sequence of Part
        Whole bars.
    width : int
        Characters in a line.
    indent : int
        Characters before the first bar line: the strings' names.

    Returns
    -------
    tuple of systems, each a tuple of PlacedPart
    """
    room = width - indent - 1
    systems: list[list[_Measured]] = [[]]
    for bar in bars:
        pieces = _fit(bar, room)
        for measured in pieces:
            taken = sum(one.width for one in systems[-1])
            broken = len(pieces) > 1 and measured.part.opens
            if systems[-1] and (broken or taken + measured.width > room):
                systems.append([])
            systems[-1].append(measured)
    filled = [system for system in systems if system]
    return tuple(
        _placed(system, indent, room, last=place + 1 == len(filled)) for place, system in enumerate(filled)
    )


def _fit(bar: Part, room: int) -> list[_Measured]:
    """Measure a bar at the loosest spacing that fits; break it at beats if none does."""
    for density in DENSITIES:
        measured = _measure(bar, density)
        if measured.width <= room:
            return [measured]
    pieces: list[_Measured] = []
    rest = bar.columns
    opens = True
    while rest:
        count = _columns_that_fit(rest, room)
        closes = count == len(rest)
        part = Part(bar.number, rest[:count], opens, closes)
        pieces.append(next((one for one in _tries(part) if one.width <= room), _measure(part, Fraction(0))))
        rest = rest[count:]
        opens = False
    return pieces


def _tries(part: Part) -> list[_Measured]:
    return [_measure(part, density) for density in DENSITIES]


def _columns_that_fit(columns: tuple[Column, ...], room: int) -> int:
    """How many columns go into one line: up to a beat if any fits, else as many as do, at least one."""
    fits = [
        count
        for count in range(1, len(columns) + 1)
        if _measure(Part(0, columns[:count]), Fraction(0)).width <= room
    ]
    at_beat = [count for count in fits if count == len(columns) or columns[count].breakable]
    at_note = [count for count in fits if columns[count - 1].length > 0]
    return max(at_beat or at_note or fits or [1])


def _measure(part: Part, density: Fraction) -> _Measured:
    """Place a part's columns from its left bar line (character 0) on."""
    taken: dict[Row, int] = {}
    anchors: list[int] = []
    for column in part.columns:
        anchor = 2
        if anchors:
            anchor = anchors[-1] + max(1, round(_space(part.columns[len(anchors) - 1].length) * density))
        for row, cell in column.cells.items():
            gap = 0 if cell.joins or row not in taken else 1
            anchor = max(anchor, taken.get(row, 2) + gap + len(cell.before))
        for row, cell in column.cells.items():
            taken[row] = anchor + len(cell.text)
        anchors.append(anchor)
    end = max([*taken.values(), 2]) + 1
    if anchors:
        end = max(end, anchors[-1] + round(_space(part.columns[-1].length) * density))
    return _Measured(part, tuple(anchors), end)


def _space(length: Fraction) -> int:
    return next(space for least, space in SPACES if length >= least)


def _placed(system: list[_Measured], indent: int, room: int, last: bool) -> tuple[PlacedPart, ...]:
    """Set the parts of one system side by side, stretched to the width if nearly full."""
    natural = sum(one.width for one in system)
    stretch = room - natural if natural >= JUSTIFY_FROM * room and not last else 0
    count = sum(len(one.anchors) for one in system)
    placed = []
    left, passed = indent, 0
    for measured in system:
        shift = stretch * passed // max(count, 1)
        anchors = []
        for anchor in measured.anchors:
            anchors.append(left + anchor + stretch * passed // max(count, 1) - shift)
            passed += 1
        right = left + measured.width + stretch * passed // max(count, 1) - shift
        placed.append(PlacedPart(measured.part, left, tuple(anchors), right))
        left = right
    return tuple(placed)
