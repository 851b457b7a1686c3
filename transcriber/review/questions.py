"""What a draft is unsure of, as questions in words with the readings there could be.

A note is asked about while its overall confidence is below `UNSURE_BELOW`, by the aspect that is least sure.
An answer settles that aspect (its confidence becomes 1), so the note leaves the queue or is asked about the
next aspect. The first reading is always the draft's own.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from transcriber.draft import CONFIDENCE_ASPECTS, Correction, Draft, DraftNote, NoteMark, Phrase
from transcriber.draft.sureness import UNSURE_BELOW
from transcriber.errors import UsageError
from transcriber.review.readings import Reading, readings_of
from transcriber.review.whole_take import (
    WHOLE_TAKE,
    asked_words,
    readings_of_take,
    shown_notes,
    unsure_of,
)
from transcriber.review.words import beat_words, place_words

MOST_READINGS = 5
AS_DRAFTED = "as_drafted"
_SETTLED = 1.0


@dataclass(frozen=True)
class Question:
    """One thing that the draft is unsure of.

    Attributes
    ----------
    about : str
        Id of the note or phrase, or one of `WHOLE_TAKE`.
    aspect : str
        One of `CONFIDENCE_ASPECTS`, ``"fingering"`` for a phrase or ``"take"`` for the whole take.
    words : str
        The question, such as ``"Bar 7, beat 2: picked or hammered?"``.
    alike : str
        Questions with the same value may be given the same answer.
    notes : tuple of str
        Ids of the notes concerned, in order.
    readings : tuple of Reading
        The draft's own first.
    """

    about: str
    aspect: str
    words: str
    alike: str
    notes: tuple[str, ...]
    readings: tuple[Reading, ...]

    def reading(self, key: str) -> Reading | None:
        """Return the reading with a key, or None."""
        return next((reading for reading in self.readings if reading.key == key), None)


def open_questions(draft: Draft) -> tuple[Question, ...]:
    """List what is unsure: what concerns the whole take, then the worst first.

    Parameters
    ----------
    draft : Draft
        With corrections applied.
    """
    asked: list[tuple[float, float, Question]] = []
    for index, note in enumerate(draft.notes):
        if note.confidence.overall < UNSURE_BELOW:
            question = _about_note(draft, index, least_sure(note))
            asked.append((note.confidence.overall, note.onset_s, question))
    for phrase in draft.phrases:
        notes = draft.phrase_notes(phrase)
        unsettled = [note.confidence.place for note in notes if note.confidence.place < _SETTLED]
        if unsettled and any(one.toss_up for one in phrase.alternatives):
            # A whole phrase that may lie elsewhere weighs as much as its least sure note.
            asked.append((min(unsettled), phrase.start_s, _about_phrase(draft, phrase)))
    whole = [_about_take(draft, about) for about in WHOLE_TAKE if unsure_of(draft, about)]
    return (*whole, *(question for _, _, question in sorted(asked, key=lambda one: one[:2])))


def question_about(draft: Draft, about: str, aspect: str | None = None) -> Question:
    """Ask about any note, about the fingering of a phrase, or about the whole take.

    Parameters
    ----------
    draft : Draft
    about : str
        Id of a note or phrase, or one of `WHOLE_TAKE`.
    aspect : str or None
        Which aspect of the note; None for the least sure one.

    Raises
    ------
    UsageError
        If there is no such note, phrase or aspect.
    """
    if about in WHOLE_TAKE and draft.notes:
        return _about_take(draft, about)
    index = next((place for place, note in enumerate(draft.notes) if note.id == about), None)
    if index is not None:
        if aspect is not None and aspect not in CONFIDENCE_ASPECTS:
            raise UsageError(f"aspect '{aspect}' is not one of {', '.join(CONFIDENCE_ASPECTS)}")
        return _about_note(draft, index, aspect or least_sure(draft.notes[index]))
    phrase = next((one for one in draft.phrases if one.id == about), None)
    if phrase is None or not phrase.alternatives:
        raise UsageError(f"there is no note '{about}' to ask about; it may have been removed")
    return _about_phrase(draft, phrase)


def least_sure(note: DraftNote) -> str:
    """Name the aspect of a note with the lowest confidence."""
    return min(CONFIDENCE_ASPECTS, key=lambda aspect: float(getattr(note.confidence, aspect)))


def _about_take(draft: Draft, about: str) -> Question:
    return Question(
        about=about,
        aspect="take",
        words=asked_words(draft, about),
        alike=about,
        notes=shown_notes(draft),
        readings=readings_of_take(draft, about, AS_DRAFTED),
    )


def _about_note(draft: Draft, index: int, aspect: str) -> Question:
    note = draft.notes[index]
    found = readings_of(draft, index, aspect)
    own = Reading(
        AS_DRAFTED,
        found.drafted,
        (Correction("confirm_note", note=NoteMark.of(note), values={"aspects": [aspect]}),),
    )
    readings = (own, *found.others)[:MOST_READINGS]
    where = beat_words(note.bar, note.beat)
    keys = "|".join(sorted(reading.key for reading in readings[1:]))
    return Question(
        about=note.id,
        aspect=aspect,
        words=f"{where[0].upper()}{where[1:]}: {found.words}",
        alike=f"{aspect}:{found.kind}:{keys}",
        notes=(note.id,),
        readings=readings,
    )


def _about_phrase(draft: Draft, phrase: Phrase) -> Question:
    notes = draft.phrase_notes(phrase)
    right = tuple(
        Correction("confirm_note", note=NoteMark.of(note), values={"aspects": ["place"]}) for note in notes
    )
    low = min((note.fret for note in notes if note.fret), default=0)
    readings = [Reading(AS_DRAFTED, f"as drafted, from fret {low} up", right)]
    for number, other in enumerate(phrase.alternatives):
        words = (
            f"in position {other.position}: {other.words}" if other.words else f"position {other.position}"
        )
        given = {place.id: (place.string, place.fret) for place in other.notes}
        readings.append(Reading(f"fingering_{number + 1}", words, (_refingered(draft, given),)))
    where = beat_words(notes[0].bar, notes[0].beat)
    first = place_words(notes[0].string, notes[0].fret)
    return Question(
        about=phrase.id,
        aspect="fingering",
        words=f"From {where} on: {len(notes)} notes from {first} on, or elsewhere on the neck?",
        alike=f"fingering:{phrase.id}",
        notes=tuple(note.id for note in notes),
        readings=tuple(readings[:MOST_READINGS]),
    )


def _refingered(draft: Draft, places: Mapping[str, tuple[int, int]]) -> Correction:
    listed = []
    for note_id, (string, fret) in places.items():
        note = draft.note(note_id)
        if note is not None:
            listed.append({**vars(NoteMark.of(note)), "string": string, "fret": fret})
    return Correction("refinger", values={"notes": listed})
