"""The notes as a table: CSV (RFC 4180) in UTF-8, one row a note, the columns of `COLUMNS`."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable

from transcriber.draft import Draft, DraftNote
from transcriber.export.plain_words import one_line
from transcriber.records.pitch import pitch_name
from transcriber.records.technique import Technique

Cell = str | int | float | None

OPTIONAL_SIGN = "?"
"""Behind a technique that a player is free to leave out."""

COLUMNS: tuple[tuple[str, Callable[[Draft, DraftNote], Cell]], ...] = (
    ("id", lambda draft, note: note.id),
    ("onset_s", lambda draft, note: note.onset_s),
    ("end_s", lambda draft, note: note.end_s),
    ("bar", lambda draft, note: note.bar),
    ("beat", lambda draft, note: str(note.beat)),
    ("length", lambda draft, note: str(note.length)),
    ("pitch_midi", lambda draft, note: note.pitch_midi),
    ("pitch", lambda draft, note: None if note.pitch_midi is None else pitch_name(note.pitch_midi)),
    ("string", lambda draft, note: note.string),
    ("fret", lambda draft, note: note.fret),
    ("finger", lambda draft, note: note.finger),
    ("techniques", lambda draft, note: " ".join(technique_words(one) for one in note.techniques)),
    ("voice", lambda draft, note: note.voice),
    ("velocity", lambda draft, note: note.velocity),
    ("confidence", lambda draft, note: note.confidence.overall),
    ("phrase", lambda draft, note: _phrase(draft, note)),
    ("remark", lambda draft, note: one_line(note.remark or "")),
)
"""Name of each column and what stands in it: the draft document's own keys and units."""


def note_table(draft: Draft) -> str:
    r"""Write the notes of a draft as CSV.

    Parameters
    ----------
    draft : Draft

    Returns
    -------
    str
        A head of column names, then one row a note in order of onset. Rows end in ``\r\n``; what is not known
        is empty. Beats and lengths are rationals such as ``5/2``, techniques are words parted by spaces:
        ``bend=2`` (semitones over the fret), ``slide=picked``, ``slide_out=down``, ``trill=7`` (to fret 7),
        ``vibrato``; an optional one ends in ``?``.
    """
    buffer = io.StringIO(newline="")
    writer = csv.writer(buffer, lineterminator="\r\n")
    writer.writerow([name for name, _ in COLUMNS])
    for note in draft.notes:
        writer.writerow([cell(draft, note) for _, cell in COLUMNS])
    return buffer.getvalue()


def technique_words(one: Technique) -> str:
    """One technique as a word of the table."""
    detail: Cell = None
    if one.semitones is not None:
        detail = f"{one.semitones:g}"
    elif one.kind == "slide":
        detail = "picked" if one.picked else None
    elif one.direction is not None:
        detail = one.direction
    elif one.to_fret is not None:
        detail = one.to_fret
    return one.kind + ("" if detail is None else f"={detail}") + (OPTIONAL_SIGN if one.optional else "")


def _phrase(draft: Draft, note: DraftNote) -> str:
    found = next((one for one in draft.phrases if one.start_s <= note.onset_s < one.end_s), None)
    return "" if found is None else one_line(found.name) or found.id
