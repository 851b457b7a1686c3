"""Slurs that the places contradict: a finger hammers or pulls on the string that sounds, never across to
another.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from transcriber.records.heard import HeardNote
from transcriber.records.placed import Place

_SLURS = ("hammer_on", "pull_off")


def without_crossed_slurs(
    notes: Sequence[HeardNote], places: Sequence[Place | None]
) -> tuple[HeardNote, ...]:
    """Take a slur for a soft pick where the line's best fingering crosses strings.

    An unsure slur does not bind a note to its string (see `placement`), so the search may have found a
    better place for it elsewhere: then the hand and the sound of the string speak against the slur.

    Parameters
    ----------
    notes : sequence of HeardNote
    places : sequence of Place or None
        Of the notes, in the same order.
    """
    kept: list[HeardNote] = []
    for index, note in enumerate(notes):
        before, place = places[index - 1] if index else None, places[index]
        if note.has(*_SLURS) and before is not None and place is not None and before.string != place.string:
            note = replace(note, techniques=tuple(t for t in note.techniques if t.kind not in _SLURS))
        kept.append(note)
    return tuple(kept)
