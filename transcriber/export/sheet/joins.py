"""How the notes of one layer are joined: runs under one slur, slides from note to note, and lines that end.

Convention: notes sounded by one stroke stand under one slur, however many they are; a slide that is picked
again on arrival has a line and no slur.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

from transcriber.draft import Draft, DraftNote
from transcriber.export.layers import Layer, links

LETTERS = {"hammer_on": "H", "pull_off": "P"}


@dataclass(frozen=True)
class Joins:
    """Joins of one layer, by the id of a note.

    Attributes
    ----------
    slur_opens, slur_closes : frozenset of str
        Notes at which a slur begins and ends.
    slides_on : frozenset of str
        Notes from which a line leads to the next one.
    lone_slides : frozenset of str
        Notes that are slid into with no note right before them on their string: whether from below is told
        by the technique, if at all.
    letters : dict of str to str
        ``H`` or ``P`` over the note that is sounded so.
    """

    slur_opens: frozenset[str]
    slur_closes: frozenset[str]
    slides_on: frozenset[str]
    lone_slides: frozenset[str]
    letters: dict[str, str]


def joins_of(draft: Draft, layer: Layer) -> Joins:
    """Find how the notes of a layer are joined."""
    strokes = [
        group for event in layer.events for group in (*[(grace,) for grace in event.graces], event.notes)
    ]
    before_on_string = links(draft)
    joined: set[tuple[str, str]] = set()
    slides_on: set[str] = set()
    reached: set[str] = set()
    for earlier, later in pairwise(strokes):
        ids = {note.id for note in earlier}
        for note in later:
            source = before_on_string.get(note.id)
            if source not in ids or source is None:
                continue
            slide = note.technique("slide")
            if slide is not None:
                slides_on.add(source)
                reached.add(note.id)
            if note.has("hammer_on", "pull_off") or (slide is not None and not slide.picked):
                joined.add((source, note.id))
    opens, closes = {one for one, _ in joined}, {other for _, other in joined}
    notes = [note for group in strokes for note in group]
    return Joins(
        frozenset(opens - closes),
        frozenset(closes - opens),
        frozenset(slides_on),
        frozenset(note.id for note in notes if note.has("slide") and note.id not in reached),
        {note.id: letter for note in notes for letter in [_letter(note)] if letter},
    )


def _letter(note: DraftNote) -> str | None:
    return next((letter for kind, letter in LETTERS.items() if note.has(kind)), None)
