"""Which flags of a bar are joined by beams (common practice: within one tapped beat, never over a rest)."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from itertools import groupby

from transcriber.export.written_bars import Piece
from transcriber.records.written import Meter

FLAGS = {8: 1, 16: 2, 32: 3, 64: 4}
"""Beams of a value, by its base."""


def beams_of(pieces: Sequence[Piece], meter: Meter) -> dict[int, tuple[str, ...]]:
    """Beams of each piece that has any, by its place in the bar.

    Parameters
    ----------
    pieces : sequence of Piece
        One bar of one line.
    meter : Meter

    Returns
    -------
    dict of int to tuple of str
        For each beam, the eighths' first: ``begin``, ``continue``, ``end``, ``forward hook`` and so on.
    """
    found: dict[int, tuple[str, ...]] = {}
    for _, places in groupby(range(len(pieces)), key=lambda place: _group(pieces[place], place, meter)):
        together = list(places)
        counts = [FLAGS.get(pieces[place].value.base, 0) for place in together]
        if len(together) < 2:
            continue
        for at, place in enumerate(together):
            tuplets = [pieces[each].tuplet for each in together]
            found[place] = tuple(_beam(counts, tuplets, at, level) for level in range(1, counts[at] + 1))
    return found


def _group(piece: Piece, place: int, meter: Meter) -> tuple[Fraction, int]:
    """What is joined has the same beat; a rest or a value without flags stands alone."""
    beat = (piece.start / beam_span(meter)) // 1
    alone = piece.event is None or piece.value.base not in FLAGS
    return Fraction(beat), place if alone else -1


def beam_span(meter: Meter) -> Fraction:
    """Denominator beats that one group of beams may cover: a tapped beat, at least a quarter note."""
    return max(Fraction(meter.tap), Fraction(meter.unit, 4))


def _beam(counts: Sequence[int], tuplets: Sequence[int | None], at: int, level: int) -> str:
    def joins(other: int) -> bool:
        """Whether the beam goes on to a neighbour: all but the first end where a tuplet begins or ends."""
        there = 0 <= other < len(counts) and counts[other] >= level
        return there and (level == 1 or tuplets[other] == tuplets[at])

    before, after = joins(at - 1), joins(at + 1)
    if before and after:
        return "continue"
    if after:
        return "begin"
    if before:
        return "end"
    return "forward hook" if at == 0 else "backward hook"
