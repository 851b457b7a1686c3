"""What is measured at the boundary between two sounds."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Signs:
    """What was measured at the boundary between two pieces.

    Attributes
    ----------
    rise, high_rise : float
        Attack strength there.
    jump_db : float
        Level gained over the piece before.
    dip_db : float
        Level lost between the two, against the piece before.
    gap_s : float
        Time without pitch.
    change : float
        Semitones from the end of the piece before.
    """

    rise: float
    high_rise: float
    jump_db: float
    dip_db: float
    gap_s: float
    change: float


NO_SIGNS = Signs(1.0, 1.0, 40.0, 40.0, 10.0, 0.0)
