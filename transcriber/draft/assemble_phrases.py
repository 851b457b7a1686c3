"""Phrases of the draft from the phrases that the fretboard stage fingered."""

from __future__ import annotations

from collections.abc import Sequence

from transcriber.draft.line_parts import NotePlace, Phrase, PhraseAlternative
from transcriber.draft.note import DraftNote
from transcriber.records.phrased import PhraseFingering, PhrasePlaces

COST_DECIMALS = 2


def draft_phrases(phrases: Sequence[PhrasePlaces], notes: Sequence[DraftNote]) -> tuple[Phrase, ...]:
    """Make the draft's phrases, not yet named.

    Parameters
    ----------
    phrases : sequence of PhrasePlaces
        In order.
    notes : sequence of DraftNote
        The whole take's, which the phrases count.
    """
    made = []
    for number, phrase in enumerate(phrases, 1):
        within = notes[phrase.first : phrase.stop]
        made.append(
            Phrase(
                id=f"p{number}",
                name="",
                remark=None,
                start_s=within[0].onset_s,
                end_s=max(note.end_s for note in within),
                alternatives=tuple(_alternative(other, within) for other in phrase.others),
            )
        )
    return tuple(made)


def _alternative(other: PhraseFingering, notes: Sequence[DraftNote]) -> PhraseAlternative:
    places = tuple(
        NotePlace(note.id, int(place[0]), int(place[1]))
        for note, place in zip(notes, other.places, strict=True)
        if place is not None
    )
    return PhraseAlternative(
        position=int(other.position),
        strings=tuple(sorted({place.string for place in places})),
        shifts=int(other.shifts),
        extra_cost=round(float(other.extra_cost), COST_DECIMALS) + 0.0,
        toss_up=bool(other.toss_up),
        words=other.words,
        notes=places,
    )
