"""A draft kept open by a program that corrects it for hours: nothing is read twice that has not changed.

It gives the same guarantees as `append_correction`: what was accepted is on the disk, a writer who has not
seen the newest revision is refused, and another program may write to the same journal meanwhile.
"""

from __future__ import annotations

import contextlib
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from transcriber.draft.apply import apply_journal, document_sha256
from transcriber.draft.corrections import Correction, Journal, JournalEntry
from transcriber.draft.document import Draft
from transcriber.draft.files import read_draft
from transcriber.draft.journal import (
    Corrected,
    append_lines,
    check_entry,
    journal_path,
    read_journal,
    refuse_stale,
)
from transcriber.errors import DraftError

LONGEST_TOOK_S = 3600.0

_Stamp = tuple[int, int] | None


class OpenDraft:
    """A draft and its journal as they stand on the disk.

    Parameters
    ----------
    path : Path
        Of the draft.
    """

    def __init__(self, path: Path) -> None:
        self.path = Path(path)
        self.journal_path = journal_path(self.path)
        self._draft_stamp: _Stamp = None
        self._journal_stamp: _Stamp = None
        self._machine: Draft | None = None
        self._digest = ""
        self._journal = Journal()
        self._corrected: Corrected | None = None

    @property
    def digest(self) -> str:
        """Digest of the machine's draft."""
        self.read()
        return self._digest

    @property
    def machine(self) -> Draft:
        """The machine's draft, without corrections."""
        self.read()
        assert self._machine is not None
        return self._machine

    @property
    def journal(self) -> Journal:
        """The journal as it stands."""
        self.read()
        return self._journal

    def read(self) -> Corrected:
        """Return the draft as corrected, read anew if one of its files has changed.

        Raises
        ------
        DraftError
            If the draft or its journal cannot be read or is damaged.
        """
        draft_stamp, journal_stamp = _stamp(self.path), _stamp(self.journal_path)
        if self._machine is None or draft_stamp != self._draft_stamp:
            self._machine = read_draft(self.path)
            self._digest = document_sha256(self._machine)
            self._corrected = None
        if self._corrected is None or journal_stamp != self._journal_stamp:
            self._journal = read_journal(self.journal_path)
            draft, problems = apply_journal(self._machine, self._journal, self._digest)
            self._corrected = Corrected(draft, self._journal.revision, problems)
        self._draft_stamp, self._journal_stamp = draft_stamp, journal_stamp
        return self._corrected

    def append(
        self, corrections: Sequence[Correction], seen: int, took_s: float | None = None
    ) -> tuple[JournalEntry, ...]:
        """Append what a person changed at one stroke; all of it is kept or nothing.

        Parameters
        ----------
        corrections : sequence of Correction
            Each is made on the draft with those before it applied.
        seen : int
            Revision that the person saw.
        took_s : float or None
            Seconds of work since the stroke before.

        Raises
        ------
        DraftError
            As `append_correction`.
        """
        if not corrections:
            raise DraftError("there is no correction to keep; give at least one")
        current = self.read()
        refuse_stale(current.revision, seen, self.journal_path)
        journal, draft = self._journal, current.draft
        entries: list[JournalEntry] = []
        undone = False
        for place, correction in enumerate(corrections):
            entry = JournalEntry(
                revision=seen + 1 + place,
                draft_sha256=self._digest,
                correction=correction,
                gesture=seen + 1 if len(corrections) > 1 else None,
                took_s=_told(took_s) if place == 0 else None,
            )
            after = check_entry(entry, journal, draft)
            undone = undone or after is None
            draft = draft if after is None else after
            journal = replace(journal, entries=(*journal.entries, entry))
            entries.append(entry)
        append_lines(self.journal_path, entries, seen)
        # Undoing leaves the draft to be built again; else it is known already, so long as nobody else wrote.
        self._journal, self._corrected = journal, None
        if not undone:
            self._corrected = Corrected(draft, journal.revision, current.problems)
            self._journal_stamp = _stamp(self.journal_path)
        return tuple(entries)


def strokes(journal: Journal) -> tuple[tuple[JournalEntry, ...], ...]:
    """Group the entries of a journal by the stroke at which they were made, in order."""
    grouped: list[list[JournalEntry]] = []
    for entry in journal.entries:
        if grouped and entry.gesture is not None and grouped[-1][0].gesture == entry.gesture:
            grouped[-1].append(entry)
        else:
            grouped.append([entry])
    return tuple(tuple(group) for group in grouped)


def undo_of(journal: Journal) -> tuple[Correction, ...]:
    """Corrections that take back the last stroke still in force; empty if there is none."""
    done, _ = _history(journal)
    return _taken_back(done[-1]) if done else ()


def redo_of(journal: Journal) -> tuple[Correction, ...]:
    """Corrections that take back the last undo, so long as nothing new was done since; else empty."""
    _, undone = _history(journal)
    return _taken_back(undone[-1]) if undone else ()


def _taken_back(stroke: tuple[JournalEntry, ...]) -> tuple[Correction, ...]:
    return tuple(Correction("undo", undoes=entry.revision) for entry in reversed(stroke))


def _history(
    journal: Journal,
) -> tuple[list[tuple[JournalEntry, ...]], list[tuple[JournalEntry, ...]]]:
    """Strokes in force, and undos that could be taken back, the newest last."""
    done: list[tuple[JournalEntry, ...]] = []
    undone: list[tuple[JournalEntry, ...]] = []
    stroke_of: dict[int, tuple[JournalEntry, ...]] = {}
    for stroke in strokes(journal):
        stroke_of.update(dict.fromkeys((entry.revision for entry in stroke), stroke))
        target = stroke[0].correction.undoes
        meant = None if target is None else stroke_of.get(target)
        if meant is None:
            done.append(stroke)
            undone.clear()
        elif meant[0].correction.undoes is None:
            with contextlib.suppress(ValueError):
                done.remove(meant)
            undone.append(stroke)
        else:
            # An undo taken back: what it had undone is in force again.
            with contextlib.suppress(ValueError):
                undone.remove(meant)
            original = stroke_of.get(meant[0].correction.undoes)
            if original is not None:
                done.append(original)
    return done, undone


def _told(took_s: float | None) -> float | None:
    return None if took_s is None else round(min(max(took_s, 0.0), LONGEST_TOOK_S), 1) + 0.0


def _stamp(path: Path) -> _Stamp:
    try:
        status = path.stat()
    except OSError:
        return None
    return status.st_mtime_ns, status.st_size
