"""Applying corrections to a draft: pure functions, a new draft out for each correction in.

On the draft that it was made on, a correction finds its note by id. On another (the take was drafted again)
the note with the id counts only if onset and pitch fit as well; else the nearest note of that pitch within
50 ms is taken (the tolerance by which mir_eval holds two notes for one). What fits nowhere is a `Problem`
and stays in the journal.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

from transcriber.draft.apply_many import (
    ManyAction,
    merge_notes,
    refinger_notes,
    rewrite_rhythm,
    split_note,
)
from transcriber.draft.apply_note import added_note, changed_note, confirmed_note, retechniqued_note
from transcriber.draft.apply_whole import WHOLE_ACTIONS, answered, checked_remark
from transcriber.draft.assemble import CHECK_NOTE
from transcriber.draft.consistency import check_consistency
from transcriber.draft.corrections import Correction, Journal, JournalEntry, NoteMark
from transcriber.draft.document import Draft
from transcriber.draft.layout import draft_text
from transcriber.draft.note import DraftNote
from transcriber.draft.schema import show_value
from transcriber.draft.sureness import UNSURE_BELOW
from transcriber.errors import DraftError
from transcriber.records.problem import Problem

SAME_ONSET_S = 0.05


def apply_journal(
    draft: Draft, journal: Journal, digest: str | None = None
) -> tuple[Draft, tuple[Problem, ...]]:
    """Apply all corrections in force.

    Parameters
    ----------
    draft : Draft
        The machine's.
    journal : Journal
    digest : str, optional
        `document_sha256` of the draft, where it is known.

    Returns
    -------
    Draft
        As a person corrected it.
    tuple of Problem
        What was odd about the journal's file, then one ``correction_does_not_fit`` for each correction that
        could not be applied.
    """
    problems = list(journal.problems)
    corrected = draft
    if digest is None:
        digest = document_sha256(draft) if journal.entries else ""
    for entry in journal.in_force():
        try:
            corrected = apply_entry(corrected, entry, entry.draft_sha256 == digest)
        except PartlyAppliedError as error:
            corrected = error.draft
            problems.append(_misfit(entry, str(error)))
        except DraftError as error:
            problems.append(_misfit(entry, str(error)))
    return corrected, tuple(problems)


def document_sha256(draft: Draft) -> str:
    """Digest of a draft's document: tells whether it is the one that a correction was made on."""
    return hashlib.sha256(draft_text(draft).encode("utf-8")).hexdigest()


def apply_entry(draft: Draft, entry: JournalEntry, same_draft: bool) -> Draft:
    """Apply one correction that is not an undo.

    Parameters
    ----------
    draft : Draft
        With all earlier corrections applied.
    entry : JournalEntry
    same_draft : bool
        Whether the correction was made on this very draft, so that ids can be trusted.

    Raises
    ------
    DraftError
        If the correction does not fit: its note is not there, or what it sets breaks a rule.
    PartlyAppliedError
        If some of its notes are not there; it carries the draft with the others corrected.
    """
    correction = entry.correction
    if correction.action == "add_note":
        return _add_note(draft, entry, same_draft)
    if correction.action in _MANY_ACTIONS:
        return _apply_to_many(draft, entry, same_draft)
    if correction.note is not None:
        return _apply_to_note(draft, correction, correction.note, same_draft)
    changed = WHOLE_ACTIONS[correction.action](draft, correction)
    check_consistency(changed, "the corrected draft")
    return changed


def find_note(draft: Draft, mark: NoteMark, same_draft: bool, pitches: tuple[Any, ...] | None) -> DraftNote:
    """Find the note that a correction means.

    Parameters
    ----------
    draft : Draft
    mark : NoteMark
    same_draft : bool
        Whether ids can be trusted.
    pitches : tuple of (int or None), or None
        Pitches that fit besides the mark's own; None for any, with the mark's own preferred.

    Raises
    ------
    DraftError
        If no note fits.
    """
    named = draft.note(mark.id)
    if same_draft:
        if named is None:
            raise DraftError(f"there is no note {mark.id}")
        return named
    near = [note for note in draft.notes if round(abs(note.onset_s - mark.onset_s), 4) <= SAME_ONSET_S]
    if pitches is not None:
        near = [note for note in near if note.pitch_midi == mark.pitch_midi or note.pitch_midi in pitches]
    if not near:
        raise DraftError(f"no note with pitch {show_value(mark.pitch_midi)} begins near {mark.onset_s:.2f} s")
    return min(
        near,
        key=lambda note: (
            note.pitch_midi != mark.pitch_midi,
            note.id != mark.id,
            abs(note.onset_s - mark.onset_s),
        ),
    )


def _misfit(entry: JournalEntry, reason: str) -> Problem:
    mark = entry.correction.note
    start_s = None if mark is None else mark.onset_s
    values = entry.correction.values
    if entry.correction.action == "add_note" and isinstance(values["onset_s"], int | float):
        start_s = float(values["onset_s"])
    message = f"Correction {entry.revision} ({entry.correction.action}) does not fit this draft: {reason}."
    return Problem("correction_does_not_fit", message, start_s, start_s)


def _apply_to_note(draft: Draft, correction: Correction, mark: NoteMark, same_draft: bool) -> Draft:
    if correction.action == "set_remark":
        # A remark is about the moment, so it stays with it even where the pitch is now heard otherwise.
        note = find_note(draft, mark, same_draft, None)
        remark = checked_remark(correction.values["remark"])
        return _with_note(draft, note.id, replace(note, remark=remark), looked_at=False)
    note = find_note(draft, mark, same_draft, (correction.values.get("pitch_midi", mark.pitch_midi),))
    if correction.action == "remove_note":
        return _without_note(draft, note.id)
    changed = _NOTE_ACTIONS[correction.action](draft, note, correction.values)
    # One aspect found right does not settle a note that is unsure for another reason.
    settled = "aspects" not in correction.values or changed.confidence.overall >= UNSURE_BELOW
    return _with_note(draft, note.id, changed, settled)


def _apply_to_many(draft: Draft, entry: JournalEntry, same_draft: bool) -> Draft:
    """Apply what concerns several notes: `apply_many` says how they are to be, here they are put in place."""

    def find(mark: NoteMark) -> DraftNote:
        return find_note(draft, mark, same_draft, (mark.pitch_midi,))

    change = _MANY_ACTIONS[entry.correction.action](draft, entry, find)
    changed = replace(draft, timing=change.timing, chords=change.chords)
    if isinstance(timing := entry.correction.values.get("timing"), dict):
        # Beats were found anew for the tempo; where the bars begin was not said.
        changed = answered(changed, {key: timing[key] for key in timing if key == "tempo_bpm"})
    for note_id in change.removed:
        changed = _without_note(changed, note_id)
    for note in change.notes:
        if changed.note(note.id) is None:
            changed = replace(changed, notes=_in_order((*changed.notes, note)))
        else:
            changed = _with_note(changed, note.id, note)
    check_consistency(changed, "the corrected draft")
    if change.missing:
        raise PartlyAppliedError(changed, change.missing)
    return changed


class PartlyAppliedError(DraftError):
    """A correction of several notes fits only some of them."""

    def __init__(self, draft: Draft, missing: tuple[str, ...]) -> None:
        super().__init__(f"{len(missing)} of its notes are not there: {', '.join(missing)}")
        self.draft = draft


_MANY_ACTIONS: Mapping[str, ManyAction] = {
    "split_note": split_note,
    "merge_notes": merge_notes,
    "refinger": refinger_notes,
    "rewrite_rhythm": rewrite_rhythm,
}


_NOTE_ACTIONS: Mapping[str, Callable[[Draft, DraftNote, Mapping[str, Any]], DraftNote]] = {
    "change_note": changed_note,
    "replace_techniques": retechniqued_note,
    "confirm_note": confirmed_note,
}


def _add_note(draft: Draft, entry: JournalEntry, same_draft: bool) -> Draft:
    note = added_note(draft, f"c{entry.revision}", entry.correction.values)
    if not same_draft:
        for other in draft.notes:
            near = round(abs(other.onset_s - note.onset_s), 4) <= SAME_ONSET_S
            if near and other.pitch_midi == note.pitch_midi:
                raise DraftError(f"the draft has this note already, {other.id}")
    if draft.note(note.id) is not None:
        raise DraftError(f"the id {note.id} is taken")
    return replace(draft, notes=_in_order((*draft.notes, note)))


def _with_note(draft: Draft, note_id: str, note: DraftNote, looked_at: bool = True) -> Draft:
    """Put a changed note in place of the one with its id; a person who changed it has looked at it."""
    issues = draft.issues
    old = draft.note(note_id)
    if old is not None and old.pitch_midi != note.pitch_midi:
        note = replace(note, meaning=None)
    if looked_at:
        issues = tuple(issue for issue in issues if (issue.code, issue.notes) != (CHECK_NOTE, (note_id,)))
    notes = tuple(note if other.id == note_id else other for other in draft.notes)
    changed = replace(draft, notes=_in_order(notes), issues=issues)
    if old is not None and _played(old) != _played(note):
        return _without_alternatives_of(changed, note_id)
    return changed


def _played(note: DraftNote) -> tuple[Any, ...]:
    """What other fingerings of its phrase were found for, or would now contradict."""
    return note.pitch_midi, note.string, note.fret, note.techniques


def _without_note(draft: Draft, note_id: str) -> Draft:
    issues = (
        replace(issue, notes=tuple(each for each in issue.notes if each != note_id))
        for issue in draft.issues
        if (issue.code, issue.notes) != (CHECK_NOTE, (note_id,))
    )
    notes = tuple(note for note in draft.notes if note.id != note_id)
    shapes = tuple(
        replace(
            shape,
            notes=tuple(each for each in shape.notes if each != note_id),
            unexplained=tuple(each for each in shape.unexplained if each != note_id),
        )
        for shape in draft.shapes
    )
    left = replace(draft, notes=notes, issues=tuple(issues), shapes=shapes)
    return _without_alternatives_of(left, note_id)


def _without_alternatives_of(draft: Draft, note_id: str) -> Draft:
    """Drop the other fingerings that place a note as it no longer is."""
    phrases = tuple(
        replace(
            phrase,
            alternatives=tuple(
                each for each in phrase.alternatives if all(place.id != note_id for place in each.notes)
            ),
        )
        for phrase in draft.phrases
    )
    return replace(draft, phrases=phrases)


def _in_order(notes: tuple[DraftNote, ...]) -> tuple[DraftNote, ...]:
    return tuple(sorted(notes, key=lambda note: note.onset_s))
