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
    relative_rise : float
        Attack strength against the take's typical one (the upper quartile of its peaks).
    jump_db : float
        Level gained over the piece before.
    dip_db : float
        Level lost between the two, against the piece before.
    high_jump_db : float
        Level above 2.5 kHz gained at the boundary over just before.
    high_fall_db, fall_db : float
        Level above 2.5 kHz, and of the whole sound, lost again within 80 ms.
    gap_s : float
        Time without pitch.
    change : float
        Semitones from the end of the piece before.
    """

    rise: float
    high_rise: float
    relative_rise: float
    jump_db: float
    dip_db: float
    high_jump_db: float
    high_fall_db: float
    fall_db: float
    gap_s: float
    change: float


NO_SIGNS = Signs(1.0, 1.0, 1.0, 40.0, 40.0, 40.0, 20.0, 20.0, 10.0, 0.0)
