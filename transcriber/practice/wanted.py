"""What is to be played: the notes of a draft on a scale of beats that knows no tempo."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from transcriber.draft import Draft, DraftNote

_BENDS = ("bend", "pre_bend")
# Where a grace stands, beats before the note it decorates: a quarter of a beat at most, whatever the tempo.
_GRACE_BEATS = 0.15


@dataclass(frozen=True)
class Wanted:
    """One note of the reference.

    Attributes
    ----------
    note : DraftNote
    at, length : float
        Beats from beat 1 of bar 1 at which it is due, swing applied, and its length; denominator beats.
    pitch : int or None
        Fretted pitch; None for a dead note.
    height : float
        Highest bend on it in semitones, 0 without; it may be heard anywhere from `pitch` up to that.
    phrase : int
        Number of its phrase from 0, -1 outside all.
    optional : bool
        Whether a player is free to leave the note out (an optional grace).
    opens : bool
        Whether a phrase or a bar begins with it: where players start again.
    """

    note: DraftNote
    at: float
    length: float
    pitch: int | None
    height: float
    phrase: int
    optional: bool
    opens: bool


def wanted_notes(draft: Draft) -> tuple[Wanted, ...]:
    """List the notes of a draft's line in playing order.

    Only voice 1 is asked of a student; graces stand a little before the note they decorate.
    """
    counted = replace(draft.timing, beats_s=(0.0,), first_beat=0, tempo_bpm=60.0 / draft.meter.tap)
    line = [note for note in draft.notes if note.voice == 1]
    line.sort(key=lambda note: (note.start(draft.meter), not note.is_grace, note.onset_s))
    found: list[Wanted] = []
    for place, note in enumerate(line):
        start = note.start(draft.meter)
        after = 0
        if note.is_grace:
            after = _graces_from(line, place)
        phrase = _phrase_of(draft, note)
        found.append(
            Wanted(
                note=note,
                at=counted.time_of(start) - _GRACE_BEATS * after,
                length=counted.time_of(start + note.length) - counted.time_of(start),
                pitch=note.pitch_midi,
                height=max(
                    (each.semitones or 0.0 for each in note.techniques if each.kind in _BENDS), default=0.0
                ),
                phrase=phrase,
                optional=note.is_grace and any(each.optional for each in note.techniques),
                opens=not found or phrase != found[-1].phrase or note.bar != found[-1].note.bar,
            )
        )
    return tuple(found)


def _graces_from(line: Sequence[DraftNote], place: int) -> int:
    """How many graces stand from here to the note that they decorate."""
    count = 0
    while place + count < len(line) and line[place + count].is_grace:
        count += 1
    return count


def _phrase_of(draft: Draft, note: DraftNote) -> int:
    for number, phrase in enumerate(draft.phrases):
        if phrase.start_s <= note.onset_s < phrase.end_s:
            return number
    return -1
