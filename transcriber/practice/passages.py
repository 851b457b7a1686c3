"""Passages that an attempt leaves out: told once each, and counted apart from notes that were missed."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby

from transcriber.practice.report import NoteReport

# Fewer notes in a row that did not sound are notes missed, each by itself.
LEAST_LEFT_OUT = 4

Passage = tuple[NoteReport, ...]


def passages_left_out(notes: Sequence[NoteReport]) -> tuple[Passage, ...]:
    """Find what was not played at all.

    A passage left out is a run of at least `LEAST_LEFT_OUT` missed notes that holds all notes of some bar, or
    with which the line begins or ends: who practises half a line has missed nothing of the other half.

    Parameters
    ----------
    notes : sequence of NoteReport
        One for each note of the line, in order.

    Returns
    -------
    tuple of (tuple of NoteReport)
        In order.
    """
    bars = {bar: tuple(inside) for bar, inside in groupby(notes, key=lambda note: note.bar)}
    passages = []
    for missed, run in groupby(notes, key=lambda note: note.verdict == "missed"):
        passage = tuple(run)
        if not missed or len(passage) < LEAST_LEFT_OUT:
            continue
        inside = {note.id for note in passage}
        at_an_end = passage[0] is notes[0] or passage[-1] is notes[-1]
        if at_an_end or any(inside.issuperset(n.id for n in bars[note.bar]) for note in passage):
            passages.append(passage)
    return tuple(passages)


def left_out_ids(notes: Sequence[NoteReport]) -> frozenset[str]:
    """Ids of the notes within passages that were left out."""
    return frozenset(note.id for passage in passages_left_out(notes) for note in passage)
