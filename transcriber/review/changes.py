"""Corrections that need a stage's help or touch several notes, worked out from what a person asked for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from transcriber.draft import Correction, Draft, DraftNote, NoteMark
from transcriber.errors import UsageError
from transcriber.records.written import Meter, WrittenNote
from transcriber.review.readings import beats_at
from transcriber.review.words import beat_words
from transcriber.rework import refingered, retimed
from transcriber.settings import DraftSettings
from transcriber.settings_words import parse_meter

# Grids, in quarters of a tapped beat, onto which a rhythm is put again around a note, the plainest first.
_GRIDS = (Fraction(1, 2), Fraction(1, 4), Fraction(1, 3), Fraction(1, 6))
# A finer grid must fit by so much more of a beat to be taken.
_FINER_COSTS = 0.02
_AROUND_BARS = 1
_SETTLED = 1.0


@dataclass(frozen=True)
class Refinger:
    """Put a note at a place and finger its phrase around it."""

    note: str
    string: int
    fret: int


def refinger(draft: Draft, wanted: Refinger) -> tuple[Correction, ...]:
    """Finger the phrase of a note around the place where it is told to be.

    Raises
    ------
    UsageError
        If there is no such note or place.
    """
    note = find(draft, wanted.note)
    phrase = next((one for one in draft.phrases if one.start_s <= note.onset_s < one.end_s), None)
    notes = draft.phrase_notes(phrase) if phrase is not None else draft.notes
    places = refingered(draft, {note.id: (wanted.string, wanted.fret)}, notes)
    listed: list[dict[str, Any]] = []
    for one in notes:
        place = places.get(one.id)
        if place is None:
            continue
        # A note that stays where it is was not looked at: its confidence is not touched.
        if one.id == note.id or (place.string, place.fret) != (one.string, one.fret):
            given = {"string": int(place.string), "fret": int(place.fret), "finger": place.finger}
            listed.append({**vars(NoteMark.of(one)), **given})
    return (Correction("refinger", values={"notes": listed}),)


def retime(draft: Draft, tempo_bpm: float | None, meter: str | None) -> tuple[Correction, ...]:
    """Write the rhythm anew at another tempo or in another meter.

    Raises
    ------
    UsageError
        If tempo or meter is out of its bounds.
    """
    wanted = draft.meter if meter is None else parse_meter(meter)
    DraftSettings(tempo_bpm=tempo_bpm, meter=wanted)
    written = retimed(draft, tempo_bpm, wanted)
    listed = [
        {**vars(NoteMark.of(note)), **_rhythm(one.start, one.length, wanted)}
        for note, one in zip(draft.notes, written.notes, strict=True)
    ]
    timing = {
        "tempo_bpm": round(written.tempo_bpm, 3),
        "meter": str(wanted),
        "swing": None if written.swing is None else round(written.swing, 2),
        "beats_s": [round(time, 4) for time in written.beats_s],
        "first_beat": int(written.first_beat),
    }
    return (Correction("rewrite_rhythm", values={"notes": listed, "timing": timing}),)


def downbeat(draft: Draft, times_s: Sequence[float]) -> tuple[Correction, ...]:
    """Move the bar lines to where a person tapped the first beats of bars.

    Parameters
    ----------
    draft : Draft
    times_s : sequence of float
        One tap or more, seconds in the file.

    Raises
    ------
    UsageError
        If there is no tap, or the bar lines are there already.
    """
    if not times_s:
        raise UsageError("no downbeat was tapped; tap the first beat of one bar at least")
    beats = draft.meter.beats
    phases = [round(beats_at(draft, time)) % beats for time in times_s]
    late = max(sorted(set(phases)), key=phases.count)
    if not late:
        raise UsageError("the bar lines are there already: the taps fall on first beats")
    return (bar_lines_moved(draft, late),)


def bar_lines_moved(draft: Draft, late: int) -> Correction:
    """Move the bar lines later by some denominator beats, fewer than a bar."""
    beats = draft.meter.beats
    first = min((note.start(draft.meter) for note in draft.notes), default=Fraction(0))
    # Later by nearly a bar is earlier by a little; but nothing may fall before the pickup bar.
    shift = -late if first - late >= -beats else beats - late
    return Correction("change_timing", values={"first_beat": draft.timing.first_beat + shift})


def requantised(
    draft: Draft, note_id: str, start: Fraction, length: Fraction, around: bool
) -> tuple[Correction, ...]:
    """Give a note its written place and length, and if asked put the notes around it on places again.

    Parameters
    ----------
    draft : Draft
    note_id : str
    start, length : Fraction
        Denominator beats from beat 1 of bar 1, and written length.
    around : bool
        Whether notes up to a bar away, as far as the next one that a person has settled, follow: the time
        between is stretched so that the note's onset falls on its new place, and each takes the nearest
        place of the plainest grid that fits its beat.

    Raises
    ------
    UsageError
        If there is no such note, or it would stand on or beyond the note before or after it.
    """
    note, meter = find(draft, note_id), draft.meter
    places: dict[str, tuple[Fraction, Fraction]] = {note.id: (start, length)}
    at = draft.notes.index(note)
    if around:
        low = _reach(draft, at, -1)
        high = _reach(draft, at, +1)
        places.update(_warped(draft, at, start, low, high))
    _refuse_past_neighbours(draft, at, places)
    for index in range(len(draft.notes) - 1):
        _cut_at_next(draft, index, places)
    listed = [
        {**vars(NoteMark.of(one)), **_rhythm(*places[one.id], meter)}
        for one in draft.notes
        if one.id in places and (one.id == note_id or places[one.id] != (one.start(meter), one.length))
    ]
    return (Correction("rewrite_rhythm", values={"notes": listed}),)


def find(draft: Draft, note_id: str) -> DraftNote:
    """Return the note with an id.

    Raises
    ------
    UsageError
        If there is none.
    """
    note = draft.note(note_id)
    if note is None:
        raise UsageError(f"there is no note '{note_id}'; it may have been removed in another window")
    return note


def _rhythm(start: Fraction, length: Fraction, meter: Meter) -> dict[str, Any]:
    written = WrittenNote(start, length, 1.0)
    return {"bar": written.bar(meter), "beat": str(written.beat(meter)), "length": str(length)}


def _reach(draft: Draft, at: int, step: int) -> int:
    """Index of the last note on one side that may move: up to a bar away, short of the next settled one."""
    here, span = draft.notes[at].start(draft.meter), _AROUND_BARS * draft.meter.beats
    index = at
    while 0 <= index + step < len(draft.notes):
        other = draft.notes[index + step]
        far = abs(other.start(draft.meter) - here) > span
        if far or other.confidence.rhythm >= _SETTLED or other.is_grace:
            break
        index += step
    return index


def _warped(
    draft: Draft, at: int, start: Fraction, low: int, high: int
) -> dict[str, tuple[Fraction, Fraction]]:
    """Places of the notes around one, its own left out."""
    meter = draft.meter
    pinned = draft.notes[at]
    moved = float(start) - beats_at(draft, pinned.onset_s)
    left = draft.notes[low - 1].onset_s if low else draft.notes[low].onset_s - 1.0
    right = draft.notes[high + 1].onset_s if high + 1 < len(draft.notes) else draft.notes[high].end_s
    heard: dict[str, float] = {}
    for note in draft.notes[low : high + 1]:
        edge = left if note.onset_s < pinned.onset_s else right
        share = 1.0 - abs(note.onset_s - pinned.onset_s) / max(abs(edge - pinned.onset_s), 1e-6)
        heard[note.id] = beats_at(draft, note.onset_s) + moved * max(share, 0.0)
    snapped = _snapped({key: value for key, value in heard.items() if key != pinned.id})
    places = {}
    for note in draft.notes[low : high + 1]:
        if note.id != pinned.id:
            begin = snapped[note.id]
            if begin == start:
                begin = note.start(meter)
            places[note.id] = (begin, note.length)
    return _in_order(draft, places, at, start)


def _snapped(heard: dict[str, float]) -> dict[str, Fraction]:
    """Put positions on the plainest grid that fits the beat they stand in."""
    by_beat: dict[int, list[str]] = {}
    for key, value in heard.items():
        by_beat.setdefault(int(value // 1), []).append(key)
    places = {}
    for keys in by_beat.values():

        def misfit(grid: Fraction, keys: list[str] = keys) -> float:
            points = [round(heard[key] / float(grid)) for key in keys]
            clash = len(points) - len(set(points))
            off = sum(abs(heard[key] - point * float(grid)) for key, point in zip(keys, points, strict=True))
            return off / len(keys) + clash + _FINER_COSTS * _GRIDS.index(grid)

        best = min(_GRIDS, key=misfit)
        for key in keys:
            places[key] = round(heard[key] / float(best)) * best
    return places


def _refuse_past_neighbours(draft: Draft, at: int, places: dict[str, tuple[Fraction, Fraction]]) -> None:
    """Refuse a place on or beyond that of the note before or after; graces share their note's place."""
    meter, start = draft.meter, places[draft.notes[at].id][0]
    line = [note for note in draft.notes if not note.is_grace or note is draft.notes[at]]
    here = line.index(draft.notes[at])
    for index, side in ((here - 1, "before"), (here + 1, "after")):
        if not 0 <= index < len(line) or draft.notes[at].is_grace:
            continue
        other = line[index]
        place = places.get(other.id, (other.start(meter), other.length))[0]
        if (side == "before" and place >= start) or (side == "after" and place <= start):
            written = WrittenNote(place, Fraction(1), 1.0)
            raise UsageError(
                f"the note {side} it stands on {beat_words(written.bar(meter), written.beat(meter))}; "
                "move that one first"
            )


def _in_order(
    draft: Draft, places: dict[str, tuple[Fraction, Fraction]], at: int, start: Fraction
) -> dict[str, tuple[Fraction, Fraction]]:
    """Drop new places that would put a note out of order; it then keeps its old one."""
    kept = {}
    for index, note in enumerate(draft.notes):
        if note.id in places:
            begin = places[note.id][0]
            if (index < at and begin < start) or (index > at and begin > start):
                kept[note.id] = places[note.id]
    return kept


def _cut_at_next(draft: Draft, index: int, places: dict[str, tuple[Fraction, Fraction]]) -> None:
    """Let a note end where the next begins if it did before, or would now overlap it."""
    note, after, meter = draft.notes[index], draft.notes[index + 1], draft.meter
    if (note.id not in places and after.id not in places) or note.is_grace or after.is_grace:
        return
    begin, length = places.get(note.id, (note.start(meter), note.length))
    next_begin = places.get(after.id, (after.start(meter), after.length))[0]
    if next_begin <= begin:
        return
    joined = note.end(meter) == after.start(meter) and begin + length != next_begin
    if (joined and note.id not in places) or begin + length > next_begin:
        places[note.id] = (begin, next_begin - begin)
