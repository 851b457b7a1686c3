"""A draft as a score: notes gathered into written events, graces hung on them, everything spelled in bars."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from transcriber.draft import Draft, DraftNote
from transcriber.draft.sureness import UNSURE_BELOW
from transcriber.export.spelling import spell
from transcriber.export.written_bars import Bar

ORPHAN_GRACE_LENGTH = Fraction(1, 4)
"""Written length, in denominator beats, of a grace that has no note left to decorate."""

CHECK_ISSUE = "check_note"
"""Code of the issue by which a draft names a note to check."""


@dataclass(frozen=True)
class Event:
    """Notes that begin together.

    Attributes
    ----------
    start, length : Fraction
        Denominator beats from beat 1 of bar 1; cut where the next event begins.
    notes, graces : tuple of DraftNote
        What sounds, thinnest string first, and the graces before it in order of onset.
    """

    start: Fraction
    length: Fraction
    notes: tuple[DraftNote, ...]
    graces: tuple[DraftNote, ...]


@dataclass(frozen=True)
class Score:
    """The events of a draft and the bars that write them out; pieces name events by index."""

    events: tuple[Event, ...]
    bars: tuple[Bar, ...]


def score_of(draft: Draft) -> Score:
    """Write a draft out.

    Parameters
    ----------
    draft : Draft
        All voices are merged into one line: an event lasts as long as its longest note, and at most until
        the next event begins.

    Returns
    -------
    Score

    Raises
    ------
    DraftError
        If a position or length cannot be written.
    """
    events = _events(draft)
    bars = spell([(event.start, event.length) for event in events], draft.meter)
    return Score(events, bars)


def unsure_notes(draft: Draft) -> tuple[DraftNote, ...]:
    """Notes to check, in order of onset: those the draft names, or if none those of low confidence."""
    named = {note for issue in draft.issues if issue.code == CHECK_ISSUE for note in issue.notes}
    if named:
        return tuple(note for note in draft.notes if note.id in named)
    return tuple(note for note in draft.notes if note.confidence.overall < UNSURE_BELOW)


def _events(draft: Draft) -> tuple[Event, ...]:
    meter = draft.meter
    starts = sorted({note.start(meter) for note in draft.notes if not note.is_grace})
    sounding: dict[Fraction, list[DraftNote]] = {start: [] for start in starts}
    graces: dict[Fraction, list[DraftNote]] = {start: [] for start in starts}
    for note in draft.notes:
        start = note.start(meter)
        if not note.is_grace:
            sounding[start].append(note)
            continue
        host = next((one for one in starts if one >= start), None)
        if host is None:
            sounding.setdefault(start, []).append(note)
            graces.setdefault(start, [])
        else:
            graces[host].append(note)
    ordered = sorted(sounding)
    found = []
    for place, start in enumerate(ordered):
        length = max(note.length or ORPHAN_GRACE_LENGTH for note in sounding[start])
        if place + 1 < len(ordered):
            length = min(length, ordered[place + 1] - start)
        notes = tuple(sorted(sounding[start], key=lambda note: (note.string or 0, note.onset_s)))
        found.append(Event(start, length, notes, tuple(graces[start])))
    return tuple(found)
