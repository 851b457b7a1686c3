"""What overall confidence a note needs to be called sure, and below which it, or a key, is to be checked."""

from __future__ import annotations

from collections.abc import Sequence

from transcriber.draft.line_parts import Key
from transcriber.draft.note import DraftNote

SURE_FROM = 0.94
"""Notes from here on are called sure: the level from which 98 of 100 notes are right in everything, on lines
of the accuracy bench's fit split that rhythm was not fitted to. ``python -m tests.accuracy.run`` measures it
on other guitars."""

UNSURE_BELOW = 0.5
"""Notes below this are to be checked first: as likely wrong in something as right."""


def sure_notes(notes: Sequence[DraftNote]) -> int:
    """How many notes are called sure."""
    return sum(note.confidence.overall >= SURE_FROM for note in notes)


def sure_words(notes: Sequence[DraftNote]) -> str:
    """Say how many notes are sure: ``"14 of 36 notes are sure"``."""
    sure = sure_notes(notes)
    counted = "1 note" if len(notes) == 1 else f"{len(notes)} notes"
    return f"{sure} of {counted} {'is' if 1 in (sure, len(notes)) else 'are'} sure"


def key_words(key: Key) -> str:
    """Name a key, with a question mark where it is little more than a guess: ``"E minor (?)"``."""
    doubt = "" if key.given or key.confidence >= UNSURE_BELOW else " (?)"
    return f"{key.tonic} {key.mode}{doubt}"
