"""Bars as they are written: values, ties and tuplets. `spelling` makes them, every writer reads them."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction


@dataclass(frozen=True)
class NoteValue:
    """A written value.

    Attributes
    ----------
    base : int
        1 whole, 2 half, 4 quarter, ... 64.
    dots : int
        0 or 1.
    actual, normal : int
        Tuplet ratio, `actual` in the time of `normal`; 1 and 1 outside tuplets.
    """

    base: int
    dots: int = 0
    actual: int = 1
    normal: int = 1

    @property
    def whole_notes(self) -> Fraction:
        """Duration in whole notes."""
        plain = Fraction(1, self.base) * (Fraction(3, 2) if self.dots else 1)
        return plain * self.normal / self.actual


@dataclass(frozen=True)
class Piece:
    """One written symbol.

    Attributes
    ----------
    start, length : Fraction
        Denominator beats from beat 1 of bar 1, and duration in the same beats.
    value : NoteValue
    event : int or None
        Index of the event that sounds here; None for a rest.
    tied_in, tied_out : bool
        Whether a tie joins it to the piece before, and to the one after.
    tuplet : int or None
        Index into the bar's `tuplets`.
    """

    start: Fraction
    length: Fraction
    value: NoteValue
    event: int | None
    tied_in: bool = False
    tied_out: bool = False
    tuplet: int | None = None

    @property
    def end(self) -> Fraction:
        """Where it ends, in denominator beats from beat 1 of bar 1."""
        return self.start + self.length


@dataclass(frozen=True)
class Tuplet:
    """A bracket: `actual` in the time of `normal`, from `start` for `length` denominator beats."""

    start: Fraction
    length: Fraction
    actual: int
    normal: int


@dataclass(frozen=True)
class Bar:
    """One bar, written out. The lengths of its pieces add up to `length` exactly.

    `number` counts from 1; a pickup bar is 0 and may be shorter than the meter.
    """

    number: int
    start: Fraction
    length: Fraction
    pieces: tuple[Piece, ...]
    tuplets: tuple[Tuplet, ...]

    @property
    def empty(self) -> bool:
        """Whether the bar holds nothing but rests."""
        return all(piece.event is None for piece in self.pieces)
