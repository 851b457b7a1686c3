"""What correcting a draft took: corrections in force, for each 100 notes, and minutes of work."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from transcriber.draft import Draft, Journal
from transcriber.draft.sureness import UNSURE_BELOW

# A person who found the draft right, or wrote a remark or a name, has corrected nothing.
NO_CORRECTION = frozenset(("confirm_note", "confirm_timing", "set_remark", "set_phrase", "remove_phrase"))


@dataclass(frozen=True)
class Totals:
    """Counts over a journal.

    Attributes
    ----------
    notes : int
        Notes of the draft as corrected.
    corrections : int
        Strokes in force that changed what was drafted; those that only confirm or remark do not count.
    confirmed : int
        Notes that a person found right.
    by_action : mapping of str to int
        Corrections in force, line by line of the journal.
    minutes : float
        Work as measured by the page, over all strokes, taken back or not.
    still_unsure : int
        Notes that are still asked about.
    """

    notes: int
    corrections: int
    confirmed: int
    by_action: Mapping[str, int]
    minutes: float
    still_unsure: int

    @property
    def per_100_notes(self) -> float:
        """Corrections for each 100 notes of the machine's draft."""
        return 100.0 * self.corrections / self.notes if self.notes else 0.0

    def document(self) -> dict[str, Any]:
        """Give the counts as plain JSON values."""
        return {
            "notes": self.notes,
            "corrections": self.corrections,
            "corrections_per_100_notes": round(self.per_100_notes, 1),
            "confirmed": self.confirmed,
            "by_action": dict(self.by_action),
            "minutes": round(self.minutes, 1),
            "still_unsure": self.still_unsure,
        }


def totals_of(machine: Draft, corrected: Draft, journal: Journal) -> Totals:
    """Count what correcting a draft took.

    Parameters
    ----------
    machine, corrected : Draft
        As drafted, and with the journal applied.
    journal : Journal
    """
    in_force = journal.in_force()
    strokes = {
        entry.gesture or entry.revision for entry in in_force if entry.correction.action not in NO_CORRECTION
    }
    confirmed = {
        entry.correction.note.id
        for entry in in_force
        if entry.correction.action == "confirm_note" and entry.correction.note is not None
    }
    return Totals(
        notes=len(machine.notes),
        corrections=len(strokes),
        confirmed=len(confirmed),
        by_action=dict(sorted(Counter(entry.correction.action for entry in in_force).items())),
        minutes=sum(entry.took_s or 0.0 for entry in journal.entries) / 60.0,
        still_unsure=sum(note.confidence.overall < UNSURE_BELOW for note in corrected.notes),
    )
