"""The trade's shapes on the neck, as tables, and where they lie on a given instrument.

Five pentatonic boxes, counted from the one with the minor root under the index finger on string 6; and five
major-scale shapes named after the open chord that each contains, C A G E D in that order up the neck
(common practice). The tables are for standard tuning; a string that is tuned otherwise against its neighbours
gets the notes of the scale that lie in the shape's stretch of neck.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

from transcriber.analysis.scales import MAJOR, MINOR_PENTATONIC

STANDARD = (64, 59, 55, 50, 45, 40)
"""Standard tuning, string 1 first."""

# Frets of each string, 6 to 1, from the fret of the minor root on string 6.
PENTATONIC_BOXES: dict[str, tuple[tuple[int, ...], ...]] = {
    "1": ((0, 3), (0, 2), (0, 2), (0, 2), (0, 3), (0, 3)),
    "2": ((3, 5), (2, 5), (2, 5), (2, 4), (3, 5), (3, 5)),
    "3": ((5, 7), (5, 7), (5, 7), (4, 7), (5, 8), (5, 7)),
    "4": ((7, 10), (7, 10), (7, 9), (7, 9), (8, 10), (7, 10)),
    "5": ((10, 12), (10, 12), (9, 12), (9, 12), (10, 12), (10, 12)),
}
# Frets of each string, 6 to 1, from the fret of the major tonic on string 6.
MAJOR_SHAPES: dict[str, tuple[tuple[int, ...], ...]] = {
    "E": ((-1, 0, 2), (-1, 0, 2), (-1, 1, 2), (-1, 1, 2), (0, 2), (-1, 0, 2)),
    "D": ((2, 4, 5), (2, 4), (1, 2, 4), (1, 2, 4), (2, 4, 5), (2, 4, 5)),
    "C": ((4, 5, 7), (4, 6, 7), (4, 6, 7), (4, 6), (4, 5, 7), (4, 5, 7)),
    "A": ((7, 9), (6, 7, 9), (6, 7, 9), (6, 8, 9), (7, 9, 10), (7, 9)),
    "G": ((9, 11, 12), (9, 11, 12), (9, 11), (8, 9, 11), (9, 10, 12), (9, 11, 12)),
}
# A shape may reach so far behind the nut; what lies there is played on the next lower string.
_BEHIND_NUT = -1

Kind = Literal["pentatonic_box", "major_scale_shape"]
TABLES: dict[Kind, dict[str, tuple[tuple[int, ...], ...]]] = {
    "pentatonic_box": PENTATONIC_BOXES,
    "major_scale_shape": MAJOR_SHAPES,
}
STEPS: dict[Kind, tuple[int, ...]] = {"pentatonic_box": MINOR_PENTATONIC, "major_scale_shape": MAJOR}


@dataclass(frozen=True)
class NeckShape:
    """One shape at one place of an instrument.

    Attributes
    ----------
    kind : str
    root : int
        Pitch class of the minor root of a pentatonic, or the tonic of a major scale.
    label : str
        ``"1"`` to ``"5"``, or a letter of C A G E D.
    places : tuple of (int, int)
        (string, fret), string 1 first.
    """

    kind: Kind
    root: int
    label: str
    places: tuple[tuple[int, int], ...]

    @property
    def classes(self) -> frozenset[int]:
        """Pitch classes of its scale."""
        return frozenset((self.root + step) % 12 for step in STEPS[self.kind])

    @property
    def lowest(self) -> int:
        """Lowest fret."""
        return min(fret for _, fret in self.places)

    @property
    def highest(self) -> int:
        """Highest fret."""
        return max(fret for _, fret in self.places)

    @property
    def position(self) -> int:
        """Fret of the index finger: the commonest of the strings' lowest frets."""
        strings = {string for string, _ in self.places}
        lows = Counter(min(fret for s, fret in self.places if s == string) for string in strings)
        return min(lows, key=lambda fret: (-lows[fret], fret))


@lru_cache(maxsize=32)
def shapes_on(open_midi: tuple[int, ...], highest_fret: int) -> tuple[NeckShape, ...]:
    """List all shapes in all keys that lie on a neck.

    Parameters
    ----------
    open_midi : tuple of int
        Strings as they sound open over the capo, string 1 first.
    highest_fret : int
        Counted from the capo.
    """
    aligned, moved = _alignment(open_midi)
    found = []
    for kind, table in TABLES.items():
        for root in range(12):
            first = (root - STANDARD[5] - moved) % 12
            for label, rows in table.items():
                for octave in (-12, 0, 12):
                    places = _places(
                        open_midi, aligned, rows, first + octave, (root, STEPS[kind]), highest_fret
                    )
                    if places:
                        found.append(NeckShape(kind, root, label, places))
    return tuple(found)


def _alignment(open_midi: Sequence[int]) -> tuple[tuple[int | None, ...], int]:
    """Which row of the tables each string is, None where tuned otherwise; and how far all are moved."""
    best: tuple[int, tuple[int | None, ...], int] = (0, (), 0)
    for shift in range(max(1, 7 - len(open_midi))):
        moves = [
            (pitch - STANDARD[index + shift]) % 12 if index + shift < 6 else None
            for index, pitch in enumerate(open_midi)
        ]
        counted = Counter(move for move in moves if move is not None)
        move, count = max(counted.items(), key=lambda item: (item[1], -item[0]))
        if count > best[0]:
            rows = tuple(5 - index - shift if each == move else None for index, each in enumerate(moves))
            best = count, rows, move
    return best[1], best[2]


def _places(
    open_midi: Sequence[int],
    aligned: Sequence[int | None],
    rows: Sequence[tuple[int, ...]],
    root_fret: int,
    scale: tuple[int, tuple[int, ...]],
    highest_fret: int,
) -> tuple[tuple[int, int], ...]:
    """Places of a shape; none if it lies behind the nut or beyond the neck."""
    low = min(min(row) for row in rows) + root_fret
    high = max(max(row) for row in rows) + root_fret
    root, steps = scale
    found: set[tuple[int, int]] = set()
    if low < _BEHIND_NUT or high > highest_fret:
        return ()
    for string, (pitch, row) in enumerate(zip(open_midi, aligned, strict=True), 1):
        if row is not None:
            frets = [fret + root_fret for fret in rows[row]]
        else:
            frets = [fret for fret in range(low, high + 1) if (pitch + fret - root) % 12 in steps]
        for fret in frets:
            if fret >= 0:
                found.add((string, fret))
                continue
            if string < len(open_midi):
                found.add((string + 1, fret + pitch - open_midi[string]))
    return tuple(sorted(found))
