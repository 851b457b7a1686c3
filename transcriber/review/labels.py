"""Corrections as labelled data: each note as drafted and as a person left it, for fitting and judging."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from transcriber.draft import CONFIDENCE_ASPECTS, Draft, DraftNote, Journal
from transcriber.draft.coding import encode
from transcriber.draft.open_draft import OpenDraft
from transcriber.review.totals import Totals, totals_of

LABELS_VERSION = 1
_ASPECT_KEYS = {
    "pitch": ("pitch_midi",),
    "onset": ("onset_s", "end_s"),
    "place": ("string", "fret"),
    "rhythm": ("bar", "beat", "length"),
    "technique": ("techniques",),
}
_KEYS = tuple(key for keys in _ASPECT_KEYS.values() for key in keys)


def labelled_lines(draft_path: Path) -> list[str]:
    """Give each note of a draft with what became of it, one JSON object a line.

    Parameters
    ----------
    draft_path : Path

    Returns
    -------
    list of str
        In order of onset. `label` is ``"right"`` (a person looked at it and left it), ``"changed"``,
        ``"removed"``, ``"added"`` or ``"not_looked_at"``; `wrong` lists the aspects that were changed;
        `drafted` and `corrected` hold the fields of the document, null where there is no such note;
        `confidence` is the machine's.

    Raises
    ------
    DraftError
        If the draft or its journal cannot be read or is damaged.
    """
    opened = OpenDraft(draft_path)
    corrected, machine = opened.read().draft, opened.machine
    looked_at = _looked_at(opened.journal)
    ids = sorted(
        {note.id for note in (*machine.notes, *corrected.notes)},
        key=lambda each: (_either(machine, corrected, each).onset_s, each),
    )
    return [_line(machine, corrected, each, each in looked_at) for each in ids]


def summary_of(draft_path: Path) -> Totals:
    """Count what correcting a draft took."""
    opened = OpenDraft(draft_path)
    return totals_of(opened.machine, opened.read().draft, opened.journal)


def _line(machine: Draft, corrected: Draft, note_id: str, looked_at: bool) -> str:
    before, after = machine.note(note_id), corrected.note(note_id)
    drafted, left = _fields(before), _fields(after)
    wrong = [
        aspect
        for aspect in CONFIDENCE_ASPECTS
        if drafted and left and any(drafted[key] != left[key] for key in _ASPECT_KEYS[aspect])
    ]
    label = "right" if looked_at else "not_looked_at"
    if before is None or after is None:
        label = "added" if before is None else "removed"
    elif wrong:
        label = "changed"
    document = {
        "format_version": LABELS_VERSION,
        "take": machine.source.file,
        "take_sha256": machine.source.sha256,
        "note": note_id,
        "label": label,
        "wrong": wrong,
        "drafted": drafted,
        "corrected": left,
        "confidence": None if before is None else encode(before.confidence),
    }
    return json.dumps(document, ensure_ascii=False) + "\n"


def _fields(note: DraftNote | None) -> dict[str, Any] | None:
    if note is None:
        return None
    document = encode(note)
    return {key: document[key] for key in _KEYS}


def _looked_at(journal: Journal) -> set[str]:
    """Ids of notes that a correction in force concerns, a mere remark apart."""
    found: set[str] = set()
    for entry in journal.in_force():
        correction = entry.correction
        if correction.action == "set_remark":
            continue
        if correction.note is not None:
            found.add(correction.note.id)
        listed = correction.values.get("notes", ())
        if "timing" not in correction.values:
            found.update(one["id"] for one in listed)
    return found


def _either(machine: Draft, corrected: Draft, note_id: str) -> DraftNote:
    note = machine.note(note_id) or corrected.note(note_id)
    assert note is not None
    return note
