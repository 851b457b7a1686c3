"""The phrases of a line and the other ways to finger each."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class PhraseFingering:
    """Another way to finger a phrase, the line around it left as it is.

    Attributes
    ----------
    places : tuple of ((int, int) or None)
        (string, fret) of each note of the phrase, None for a note outside the instrument's range.
    position : int
        Lowest fret of the index finger under a fretted note, counted from the capo; 0 if all notes are open.
    shifts : int
        How often the hand shifts, to and from the notes around the phrase included.
    extra_cost : float
        How much more it costs than the fingering chosen; odds against it are exp(extra_cost) at the model's
        temperature of 1.
    toss_up : bool
        Whether it costs so little more that it is as good a guess.
    words : str
        What sets it apart.
    """

    places: tuple[tuple[int, int] | None, ...]
    position: int
    shifts: int
    extra_cost: float
    toss_up: bool
    words: str


@dataclass(frozen=True)
class PhrasePlaces:
    """Notes `first` up to, not including, `stop` of a line, and other fingerings, the cheapest first."""

    first: int
    stop: int
    others: tuple[PhraseFingering, ...]
