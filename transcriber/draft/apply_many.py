"""Corrections of several notes at once: a note parted in two, notes made one, a line fingered or timed anew.

What a stage would work out (another fingering, another rhythm) stands in the correction as plain results, so
that reading a journal needs no stage and always gives the same draft.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

from transcriber.draft.apply_note import added_note, changed_note, rebased
from transcriber.draft.coding import decode, encode
from transcriber.draft.corrections import BARS, JournalEntry, NoteMark
from transcriber.draft.document import Draft
from transcriber.draft.line_parts import Chord
from transcriber.draft.note import Contour, DraftNote
from transcriber.draft.schema import check_document, show_value
from transcriber.draft.timing import Timing
from transcriber.errors import DraftError
from transcriber.records.written import WrittenNote

_MARK_KEYS = ("id", "onset_s", "pitch_midi")
_PLACE_KEYS = frozenset(("string", "fret", "finger"))
_RHYTHM_KEYS = frozenset(("bar", "beat", "length"))
# Techniques that say how a note is reached; they go when it is no longer reached from the note before.
_ARRIVALS = ("hammer_on", "pull_off", "slide", "slide_in", "grace")
_SHORTEST_S = 0.001


@dataclass(frozen=True)
class Change:
    """How notes are to be: those changed or new, ids of those removed, and marks that fit no note."""

    notes: tuple[DraftNote, ...]
    timing: Timing
    chords: tuple[Chord, ...]
    removed: tuple[str, ...] = ()
    missing: tuple[str, ...] = ()


FindNote = Callable[[NoteMark], DraftNote]
ManyAction = Callable[[Draft, JournalEntry, FindNote], Change]


def split_note(draft: Draft, entry: JournalEntry, find: FindNote) -> Change:
    """Part a note in two at a time and a place in the bar; the second takes what it is not told otherwise.

    Raises
    ------
    DraftError
        If the time lies outside the note, or the place does not lie within its written length.
    """
    values = entry.correction.values
    note = find(_own_mark(entry))
    at_s = values["at_s"]
    earliest, latest = note.onset_s + _SHORTEST_S, note.end_s - _SHORTEST_S
    if not isinstance(at_s, int | float) or not earliest <= at_s <= latest:
        raise DraftError(f"at_s is {show_value(at_s)}; the note sounds from {note.onset_s} to {note.end_s}")
    second = {key: values[key] for key in values if key not in ("at_s", "techniques")}
    if "pitch_midi" not in second and "fret" not in second:
        second.update(pitch_midi=note.pitch_midi, string=note.string, fret=note.fret)
    if "string" not in second:
        second["string"] = note.string
    if "pitch_midi" not in second and isinstance(second["string"], int) and isinstance(second["fret"], int):
        within = 1 <= second["string"] <= len(draft.instrument.tuning_midi)
        opened = draft.instrument.fretted.open_midi(second["string"]) if within else 0
        second["pitch_midi"] = opened + second["fret"]
    parted = _parted(note.contour, float(at_s))
    base = {"onset_s": at_s, "end_s": note.end_s, "velocity": note.velocity, "voice": note.voice}
    later = added_note(
        draft,
        f"c{entry.revision}",
        {"pitch_midi": note.pitch_midi, **base, **second, "length": "1", "contour": encode(parted[1]),
         "techniques": values.get("techniques", [])},
    )  # fmt: skip
    later = replace(later, contour=rebased(later.contour, note.pitch_midi, later.pitch_midi))
    start, end = later.start(draft.meter), note.end(draft.meter)
    if not note.start(draft.meter) < start < end:
        raise DraftError(f"bar {later.bar}, beat {later.beat} does not lie within the note's written length")
    kept = [one for one in encode(note)["techniques"] if one.get("start_s") is None or one["start_s"] < at_s]
    for one in kept:
        if one.get("end_s") is not None:
            one["end_s"] = min(one["end_s"], at_s)
    length = {"end_s": at_s, "length": str(start - note.start(draft.meter))}
    first = changed_note(draft, note, {**length, "techniques": kept})
    first = replace(first, contour=parted[0])
    return Change((first, replace(later, length=end - start)), draft.timing, draft.chords)


def merge_notes(draft: Draft, entry: JournalEntry, find: FindNote) -> Change:
    """Make one note of several: it begins as the first does and ends with the last.

    Raises
    ------
    DraftError
        If they are not given, or not all later than the first.
    """
    first = find(_own_mark(entry))
    others = sorted((find(mark) for mark, _ in _listed(entry, frozenset())), key=lambda note: note.onset_s)
    if not others or any(note.id == first.id or note.onset_s < first.onset_s for note in others):
        raise DraftError("merge_notes needs notes that begin after the first")
    times, cents = first.contour.times_s, first.contour.cents
    techniques = encode(first)["techniques"]
    for note in others:
        moved = rebased(note.contour, note.pitch_midi, first.pitch_midi)
        begin = bisect_left(moved.times_s, times[-1] + _SHORTEST_S) if times else 0
        times, cents = times + moved.times_s[begin:], cents + moved.cents[begin:]
        techniques += [one for one in encode(note)["techniques"] if one["kind"] not in _ARRIVALS]
    end = max(first.end(draft.meter), *(note.end(draft.meter) for note in others))
    values = {
        "end_s": max(first.end_s, *(note.end_s for note in others)),
        "length": str(max(end - first.start(draft.meter), Fraction(1, 16))),
        "techniques": techniques,
    }
    merged = changed_note(draft, first, values)
    merged = replace(merged, contour=Contour(times, cents))
    return Change((merged,), draft.timing, draft.chords, removed=tuple(note.id for note in others))


def refinger_notes(draft: Draft, entry: JournalEntry, find: FindNote) -> Change:
    """Give several notes other places on the neck, at the same pitch.

    Raises
    ------
    DraftError
        If a place sounds another pitch.
    """
    change = _changed_notes(draft, entry, find, _PLACE_KEYS)
    for note in change.notes:
        before = draft.note(note.id)
        if before is not None and before.pitch_midi != note.pitch_midi:
            raise DraftError(
                f"string {note.string} at fret {note.fret} sounds {note.pitch_midi}, "
                f"but {note.id} is {before.pitch_midi}"
            )
    return change


def rewrite_rhythm(draft: Draft, entry: JournalEntry, find: FindNote) -> Change:
    """Give several notes another rhythm, and the take another timing if there is one.

    Notes and chords that are not named keep their place, counted in the new meter's beats.
    """
    timing = entry.correction.values.get("timing")
    if timing is None:
        return _changed_notes(draft, entry, find, _RHYTHM_KEYS)
    document = timing
    if isinstance(timing, dict):
        document = {**encode(draft.timing), **timing}
        if not timing.keys().isdisjoint(BARS):
            document["downbeat_confidence"] = None
    check_document(document, "timing", part="timing")
    new = decode(Timing, document)
    retimed = replace(
        draft,
        timing=new,
        notes=tuple(_in_meter(note, draft.timing, new) for note in draft.notes),
        chords=tuple(_in_meter(chord, draft.timing, new) for chord in draft.chords),
    )
    change = _changed_notes(retimed, entry, lambda mark: _same(retimed, find(mark)), _RHYTHM_KEYS)
    named = {note.id for note in change.notes}
    rest = tuple(note for note in retimed.notes if note.id not in named)
    return replace(change, notes=(*rest, *change.notes), timing=new, chords=retimed.chords)


def _changed_notes(draft: Draft, entry: JournalEntry, find: FindNote, keys: frozenset[str]) -> Change:
    changed, missing = [], []
    for mark, values in _listed(entry, keys):
        try:
            note = find(mark)
        except DraftError:
            missing.append(mark.id)
            continue
        changed.append(changed_note(draft, note, values))
    if missing and not changed:
        raise DraftError(f"none of its {len(missing)} notes is there")
    return Change(tuple(changed), draft.timing, draft.chords, missing=tuple(missing))


def _listed(entry: JournalEntry, keys: frozenset[str]) -> list[tuple[NoteMark, Mapping[str, Any]]]:
    """Read the notes that a correction lists: a mark each, and what is set."""
    listed = entry.correction.values["notes"]
    if not isinstance(listed, list) or not listed:
        raise DraftError(f"notes is {show_value(listed)}; it must be an array of at least one")
    found: list[tuple[NoteMark, Mapping[str, Any]]] = []
    for item in listed:
        if not isinstance(item, dict) or not set(_MARK_KEYS) <= set(item):
            raise DraftError(f"notes holds {show_value(item)}; each needs id, onset_s and pitch_midi")
        check_document({key: item[key] for key in _MARK_KEYS}, "note mark", part="mark")
        values = {key: value for key, value in item.items() if key not in _MARK_KEYS}
        unknown = sorted(set(values) - keys)
        if unknown:
            raise DraftError(f"{entry.correction.action} does not take the value {show_value(unknown[0])}")
        found.append((NoteMark(item["id"], float(item["onset_s"]), item["pitch_midi"]), values))
    return found


def _own_mark(entry: JournalEntry) -> NoteMark:
    mark = entry.correction.note
    if mark is None:
        raise DraftError(f"{entry.correction.action} needs 'note'")
    return mark


def _same(draft: Draft, note: DraftNote) -> DraftNote:
    found = draft.note(note.id)
    return note if found is None else found


def _parted(contour: Contour, at_s: float) -> tuple[Contour, Contour]:
    cut = bisect_left(contour.times_s, at_s)
    return (
        Contour(contour.times_s[:cut], contour.cents[:cut]),
        Contour(contour.times_s[cut:], contour.cents[cut:]),
    )


def _in_meter(item: Any, old: Timing, new: Timing) -> Any:
    """Count a note's or chord's place in the beats of another meter."""
    scale = Fraction(new.meter.unit, old.meter.unit)
    written = WrittenNote(item.start(old.meter) * scale, item.length * scale, 1.0)
    bar = written.bar(new.meter)
    if bar < 0:
        raise DraftError(f"the take would begin in bar {bar}; a pickup is one bar at most")
    return replace(item, bar=bar, beat=written.beat(new.meter), length=written.length)
