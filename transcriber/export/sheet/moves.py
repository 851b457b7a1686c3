"""What happens to a note's pitch while it sounds, told off to the written pieces that it is tied over."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from transcriber.draft import DraftNote
from transcriber.export.tab_signs import in_order

LATE_SHARE = 0.5
"""A bend that begins after this share of its note is written behind the note, not as the note's own pitch."""

AMOUNTS = {0: "", 1: "1/4", 2: "1/2", 3: "3/4", 4: "full", 5: "1 1/4", 6: "1 1/2", 7: "1 3/4", 8: "2"}
"""How far a string is bent, by quarter tones: the trade counts whole tones, and says "full" for one."""


@dataclass(frozen=True)
class Move:
    """A bend, pre-bend or release: from one height to another, in semitones above the fret.

    `late` tells that it begins in the later half of the note.
    """

    kind: Literal["bend", "pre_bend", "release"]
    before: float
    after: float
    late: bool = False


def amount(semitones: float) -> str:
    """Name the height of a bend, rounded to quarter tones.

    Examples
    --------
    >>> amount(2.0), amount(0.5), amount(3.0)
    ('full', '1/4', '1 1/2')
    """
    quarters = round(semitones * 2)
    if quarters in AMOUNTS:
        return AMOUNTS[quarters]
    whole, rest = divmod(quarters, 4)
    return f"{whole} {AMOUNTS[rest]}".strip()


def moves_by_piece(note: DraftNote, start: Fraction, ends: list[Fraction]) -> list[tuple[Move, ...]]:
    """Tell off a note's bends and releases to the pieces that it is written in.

    Parameters
    ----------
    note : DraftNote
    start : Fraction
        Where its first piece begins, in denominator beats.
    ends : list of Fraction
        Where each piece ends, ascending.

    Returns
    -------
    list of tuple of Move
        One entry for each piece; a move stands in the piece in which it begins.
    """
    told: list[list[Move]] = [[] for _ in ends]
    height = 0.0
    sounding = max(note.end_s - note.onset_s, 1e-6)
    for one in in_order(note.techniques):
        if one.kind not in ("bend", "pre_bend", "release"):
            continue
        begins_s = note.onset_s if one.start_s is None or one.kind == "pre_bend" else one.start_s
        share = (begins_s - note.onset_s) / sounding
        at = start + Fraction(min(max(share, 0.0), 1.0)) * (ends[-1] - start)
        piece = next((place for place, end in enumerate(ends) if at < end), len(ends) - 1)
        after = one.semitones or 0.0
        told[piece].append(Move(one.kind, height, after, share > LATE_SHARE))
        height = after
    return [tuple(moves) for moves in told]
