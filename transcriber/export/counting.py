"""The syllables by which teachers count a rhythm aloud, one for each written symbol.

Common practice: the number on the beat, ``&`` halfway, ``e`` and ``a`` on the other sixteenths, ``ta``
between those; ``trip`` and ``let`` on the second and third note of a triplet of any size. A beat is one of
the meter's denominator, as in the draft: 6/8 counts its eighths from 1 to 6 and its other sixteenths ``&``.
Under swing what is counted is what is written, straight eighths.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from transcriber.export.written_bars import Bar, Piece
from transcriber.records.written import Meter

PARTS = {Fraction(1, 4): "e", Fraction(1, 2): "&", Fraction(3, 4): "a"}
"""Syllable of a sixteenth by its place in the beat."""

THIRDS = ("trip", "let")
"""Syllables of the second and third note of a triplet."""

BETWEEN = "ta"
"""Syllable of what falls between the others."""


@dataclass(frozen=True)
class Count:
    """What is said at one written symbol.

    Attributes
    ----------
    start : Fraction
        Denominator beats from beat 1 of bar 1.
    syllable : str
    struck : bool
        Whether a note begins here. Rests and where a tie goes on are counted under the breath.
    """

    start: Fraction
    syllable: str
    struck: bool

    @property
    def text(self) -> str:
        """The syllable, in parentheses where nothing begins."""
        return self.syllable if self.struck else f"({self.syllable})"


def count_bar(bar: Bar, meter: Meter) -> tuple[Count, ...]:
    """Count a bar aloud.

    Parameters
    ----------
    bar : Bar
        As spelled.
    meter : Meter

    Returns
    -------
    tuple of Count
        One for each of the bar's pieces, in order.
    """
    return tuple(
        Count(piece.start, _syllable(bar, piece, meter), piece.event is not None and not piece.tied_in)
        for piece in bar.pieces
    )


def plain_syllable(start: Fraction, meter: Meter) -> str:
    """Syllable of a place outside tuplets, in denominator beats from beat 1 of any bar."""
    within = start % meter.beats
    part = within % 1
    return str(int(within) + 1) if part == 0 else PARTS.get(part, BETWEEN)


def _syllable(bar: Bar, piece: Piece, meter: Meter) -> str:
    if piece.tuplet is None:
        return plain_syllable(piece.start, meter)
    tuplet = bar.tuplets[piece.tuplet]
    step = (piece.start - tuplet.start) / (tuplet.length / tuplet.actual)
    if step == 0:
        return plain_syllable(piece.start, meter)
    return THIRDS[int(step) - 1] if tuplet.actual == 3 and step.denominator == 1 else BETWEEN
