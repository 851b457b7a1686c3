"""The journal of corrections, ``NAME.corrections.jsonl`` beside the draft: one JSON object a line, appended.

The draft is the machine's and is never edited. Every reader sees it with the journal applied
(`read_corrected`). Undo appends. A last line that was torn off is dropped with a `Problem`; damage anywhere
else is an error. Two writers are kept apart by a lock and by the revision that each has seen.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from transcriber.draft.apply import apply_entry, apply_journal, document_sha256
from transcriber.draft.corrections import (
    Correction,
    Journal,
    JournalEntry,
    check_correction,
    decode_entry,
    encode_entry,
)
from transcriber.draft.document import Draft
from transcriber.draft.files import load_json, read_draft
from transcriber.draft.layout import compact
from transcriber.draft.lock import hold_lock
from transcriber.errors import DraftError
from transcriber.files import DRAFT_SUFFIX
from transcriber.records.problem import Problem

JOURNAL_SUFFIX = ".corrections.jsonl"


@dataclass(frozen=True)
class Corrected:
    """A draft as its readers see it.

    Attributes
    ----------
    draft : Draft
        With the journal applied.
    revision : int
        Of the journal, 0 for none: what `append_correction` wants to know.
    problems : tuple of Problem
        A torn line, corrections that no longer fit.
    """

    draft: Draft
    revision: int
    problems: tuple[Problem, ...]


def journal_path(draft_path: Path) -> Path:
    """Path of the journal that belongs to a draft: ``NAME.corrections.jsonl`` beside it."""
    draft_path = Path(draft_path)
    name = draft_path.name
    stem = name.removesuffix(DRAFT_SUFFIX) if name.endswith(DRAFT_SUFFIX) else draft_path.stem
    return draft_path.with_name(stem + JOURNAL_SUFFIX)


def read_corrected(draft_path: Path) -> Corrected:
    """Read a draft with its journal applied: what every reader uses.

    Raises
    ------
    DraftError
        If the draft or its journal cannot be read or is damaged.
    """
    journal = read_journal(journal_path(draft_path))
    draft, problems = apply_journal(read_draft(draft_path), journal)
    return Corrected(draft, journal.revision, problems)


def read_journal(path: Path) -> Journal:
    """Read a journal; none there is an empty one.

    Parameters
    ----------
    path : Path
        Of the journal itself, see `journal_path`.

    Raises
    ------
    DraftError
        If it cannot be read, or a line other than a torn last one is damaged; the line's number is named.
    """
    path = Path(path)
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        return Journal()
    except OSError as error:
        raise DraftError(f"journal '{path}' cannot be read: {error.strerror or error}") from error
    return _parse(data, path.name)[0]


def append_correction(draft_path: Path, correction: Correction, seen: int) -> JournalEntry:
    """Append a correction to a draft's journal, on the disk when this returns.

    Parameters
    ----------
    draft_path : Path
        Of the draft; the journal is made beside it if there is none.
    correction : Correction
    seen : int
        Revision of the journal that the person saw (`Corrected.revision`).

    Returns
    -------
    JournalEntry
        With the new revision.

    Raises
    ------
    DraftError
        If another writer was faster (`seen` is not the journal's revision) or holds the lock, or the
        correction does not fit the draft. Nothing is written then.
    """
    path = journal_path(draft_path)
    draft = read_draft(draft_path)
    journal = read_journal(path)
    refuse_stale(journal.revision, seen, path)
    digest = document_sha256(draft)
    entry = JournalEntry(seen + 1, digest, correction)
    corrected = None if correction.undoes is not None else apply_journal(draft, journal, digest)[0]
    check_entry(entry, journal, corrected)
    append_lines(path, (entry,), seen)
    return entry


def append_lines(path: Path, entries: Sequence[JournalEntry], seen: int) -> None:
    """Append checked entries to a journal, on the disk when this returns.

    Parameters
    ----------
    path : Path
        Of the journal; made if it is not there.
    entries : sequence of JournalEntry
        Their revisions follow on `seen`.
    seen : int

    Raises
    ------
    DraftError
        If another writer was faster or holds the lock, or the system refuses. The file is as it was then.
    """
    lines = "".join(compact(encode_entry(entry)) + "\n" for entry in entries).encode("utf-8")
    try:
        handle = os.open(path, os.O_RDWR | os.O_CREAT | getattr(os, "O_BINARY", 0), 0o666)
        try:
            with hold_lock(handle, path):
                _append(handle, lines, seen, path)
        finally:
            os.close(handle)
    except OSError as error:
        reason = error.strerror or str(error)
        raise DraftError(
            f"journal '{path}' cannot be written: {reason}; the correction is not kept"
        ) from error


def refuse_stale(revision: int, seen: int, path: Path) -> None:
    """Refuse a correction made on another revision than the journal's."""
    if seen != revision:
        raise DraftError(
            f"journal '{path.name}' is at revision {revision} and this correction was made on {seen}; "
            "read the draft again and repeat it"
        )


def check_entry(entry: JournalEntry, journal: Journal, corrected: Draft | None) -> Draft | None:
    """Check an entry before it is written.

    Parameters
    ----------
    entry : JournalEntry
    journal : Journal
        All entries before it.
    corrected : Draft or None
        The draft with these applied; not needed for an undo.

    Returns
    -------
    Draft or None
        With the entry applied as well; None for an undo.

    Raises
    ------
    DraftError
        If the correction does not fit the draft.
    """
    name = f"correction {entry.revision}"
    check_correction(entry.correction, name)
    # What is accepted must be readable again: the line is checked as a reader will.
    decode_entry(encode_entry(entry), name)
    target = entry.correction.undoes
    if target is None:
        assert corrected is not None
        return apply_entry(corrected, entry, same_draft=True)
    if not 1 <= target <= journal.revision:
        raise DraftError(f"{name}: there is no revision {target} to undo; the last is {journal.revision}")
    if target in journal.undone():
        raise DraftError(f"{name}: revision {target} is undone already")
    return None


def _append(handle: int, line: bytes, seen: int, path: Path) -> None:
    """Add one line after the last good one, or leave the file as it was."""
    data = _read_all(handle)
    journal, good = _parse(data, path.name)
    refuse_stale(journal.revision, seen, path)
    if good and not data[:good].endswith(b"\n"):
        line = b"\n" + line
    try:
        os.ftruncate(handle, good)
        os.lseek(handle, good, os.SEEK_SET)
        _write_all(handle, line)
        os.fsync(handle)
    except BaseException:
        os.ftruncate(handle, good)
        raise


def _read_all(handle: int) -> bytes:
    os.lseek(handle, 0, os.SEEK_SET)
    parts = []
    while part := os.read(handle, 1 << 20):
        parts.append(part)
    return b"".join(parts)


def _write_all(handle: int, data: bytes) -> None:
    while data:
        data = data[os.write(handle, data) :]


def _parse(data: bytes, name: str) -> tuple[Journal, int]:
    """Read a journal's bytes; also return how many of them are good, a torn tail left out."""
    lines = data.split(b"\n")
    tail = lines.pop()
    entries: list[JournalEntry] = []
    for number, line in enumerate(lines, start=1):
        entries.append(_entry(line, number, f"{name} line {number}"))
    if not tail:
        return Journal(tuple(entries)), len(data)
    number = len(lines) + 1
    try:
        load_json(tail, name)
    except DraftError:
        problem = Problem(
            "journal_torn", f"Line {number} of {name} was cut off as it was written; it is left out."
        )
        return Journal(tuple(entries), (problem,)), len(data) - len(tail)
    # Only the newline was lost: no part of an object cut short is itself an object.
    entries.append(_entry(tail, number, f"{name} line {number}"))
    return Journal(tuple(entries)), len(data)


def _entry(line: bytes, number: int, name: str) -> JournalEntry:
    entry = decode_entry(load_json(line, name), name)
    if entry.revision != number:
        raise DraftError(f"{name}: $.revision is {entry.revision}; it must be {number}, a line is missing")
    if entry.correction.undoes is not None and entry.correction.undoes >= number:
        raise DraftError(f"{name}: $.undoes is {entry.correction.undoes}; it must be below {number}")
    return entry
