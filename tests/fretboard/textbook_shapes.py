"""Boxes and scale shapes as teachers write them, by common practice: frets on strings 6 to 1."""

from __future__ import annotations

Place = tuple[int, int]
Rows = tuple[tuple[int, ...], ...]

# Position of the hand, and frets. The first box as in the check values of this project.
A_MINOR_PENTATONIC: dict[int, Rows] = {
    3: ((3, 5), (3, 5), (2, 5), (2, 5), (3, 5), (3, 5)),
    5: ((5, 8), (5, 7), (5, 7), (5, 7), (5, 8), (5, 8)),
    7: ((8, 10), (7, 10), (7, 10), (7, 9), (8, 10), (8, 10)),
    10: ((10, 12), (10, 12), (10, 12), (9, 12), (10, 13), (10, 12)),
    12: ((12, 15), (12, 15), (12, 14), (12, 14), (13, 15), (12, 15)),
}
# Five shapes of C major, each named after the open chord it contains, in this order up the neck. In G and D
# one note lies a fret beyond the hand: some take it with the little finger, as here, others on the next
# string with the index finger reaching back, as in the second table.
C_MAJOR: dict[str, tuple[int, Rows]] = {
    "A": (2, ((3, 5), (2, 3, 5), (2, 3, 5), (2, 4, 5), (3, 5, 6), (3, 5))),
    "G": (5, ((5, 7, 8), (5, 7, 8), (5, 7, 9), (5, 7), (5, 6, 8), (5, 7, 8))),
    "E": (7, ((7, 8, 10), (7, 8, 10), (7, 9, 10), (7, 9, 10), (8, 10), (7, 8, 10))),
    "D": (10, ((10, 12, 13), (10, 12, 14), (10, 12, 14), (10, 12), (10, 12, 13), (10, 12, 13))),
    "C": (12, ((12, 13, 15), (12, 14, 15), (12, 14, 15), (12, 14), (12, 13, 15), (12, 13, 15))),
}
C_MAJOR_REACHING_BACK: dict[str, Rows] = {
    "G": ((5, 7, 8), (5, 7, 8), (5, 7), (4, 5, 7), (5, 6, 8), (5, 7, 8)),
    "D": ((10, 12, 13), (10, 12), (9, 10, 12), (9, 10, 12), (10, 12, 13), (10, 12, 13)),
}


def moved(rows: Rows, frets: int) -> list[Place]:
    """Places of a shape in ascending pitch, moved along the neck."""
    return [(6 - row, fret + frets) for row, frets_here in enumerate(rows) for fret in frets_here]
