"""Corrections of the sample draft, as the tests of journals make them."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from draft_samples import sample_draft

from transcriber.draft import (
    Correction,
    Journal,
    JournalEntry,
    NoteMark,
    apply_journal,
    draft_bytes,
)
from transcriber.draft.apply import document_sha256

SAMPLE = sample_draft()
FIRST, GRACE, BENT, LOW = SAMPLE.notes


def mark(note):
    return NoteMark.of(note)


def change(note, **values):
    return Correction("change_note", note=mark(note), values=values)


def remark(note, text):
    return Correction("set_remark", note=mark(note), values={"remark": text})


def undo(revision):
    return Correction("undo", undoes=revision)


def made(*corrections, draft=SAMPLE):
    """A journal with these corrections, all made on one draft."""
    digest = document_sha256(draft)
    return Journal(tuple(JournalEntry(n, digest, each) for n, each in enumerate(corrections, start=1)))


def corrected(*corrections, draft=SAMPLE):
    """The sample with these corrections; all must fit, and the result must be a good document."""
    result, problems = apply_journal(draft, made(*corrections))
    assert problems == ()
    draft_bytes(result)
    return result


def redrafted(shift=0.0, **changes):
    """The take drafted again: a note more at the front, so that every id moves, and onsets a little off."""
    extra = replace(FIRST, id="n001", onset_s=0.1, end_s=0.4, beat=Fraction(3))
    moved = [
        replace(note, id=f"n{index:03d}", onset_s=round(note.onset_s + shift, 4), **changes.get(note.id, {}))
        for index, note in enumerate(SAMPLE.notes, start=2)
    ]
    phrases = tuple(replace(phrase, alternatives=()) for phrase in SAMPLE.phrases)
    return replace(SAMPLE, notes=(extra, *moved), phrases=phrases, issues=())
