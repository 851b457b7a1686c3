"""Techniques that a player is free to leave out: their names stand in parentheses over the note.

Convention of printed tab: what is in parentheses over the staff is left to the player. A letter that stands
there anyway is enclosed; every other sign is drawn as ever and named.
"""

from __future__ import annotations

from transcriber.draft import DraftNote
from transcriber.export.sheet.joins import LETTERS
from transcriber.records.technique import TechniqueKind

NAMES: dict[TechniqueKind, str] = {
    "bend": "bend",
    "pre_bend": "pre-bend",
    "release": "release",
    "vibrato": "vib.",
    "slide": "slide",
    "slide_in": "slide in",
    "slide_out": "slide off",
    "grace": "grace",
    "trill": "tr",
    "palm_mute": "P.M.",
    "dead_note": "X",
    "natural_harmonic": "harm.",
    "staccato": "staccato",
    "let_ring": "let ring",
}
"""What a technique without a letter of its own is called in parentheses, in the order of several."""


def letter_of(note: DraftNote, letter: str) -> str:
    """Enclose the letter of a slur that may be left out.

    Parameters
    ----------
    note : DraftNote
    letter : str
        ``H`` or ``P``.
    """
    free = any(one.optional and LETTERS.get(one.kind) == letter for one in note.techniques)
    return f"({letter})" if free else letter


def free_words(note: DraftNote) -> str:
    """Name what may be left out of a note and has no letter, in parentheses; empty if there is nothing."""
    free = {one.kind for one in note.techniques if one.optional}
    names = [name for kind, name in NAMES.items() if kind in free]
    return f"({', '.join(names)})" if names else ""
