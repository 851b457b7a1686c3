"""Checks across fields of a draft that a schema cannot say: order, unique ids, places on the neck."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from transcriber.draft.document import Draft, DraftInstrument
from transcriber.draft.note import DraftNote
from transcriber.draft.schema import show_value
from transcriber.errors import DraftError
from transcriber.records.technique import Technique
from transcriber.records.written import Meter


def check_consistency(draft: Draft, name: str) -> None:
    """Check what the fields of a draft say about each other.

    Parameters
    ----------
    draft : Draft
        Whose values each satisfy the schema.
    name : str
        What to call the document in an error.

    Raises
    ------
    DraftError
        One line with the JSON path, the value and the bound, for the first fault in document order.
    """
    fault = next(_faults(draft), None)
    if fault is not None:
        raise DraftError(f"{name}: {fault}")


def note_fault(note: DraftNote, draft: Draft, path: str) -> str | None:
    """Return the first fault of one note against the rest of the draft, None if there is none."""
    return next(_note_faults(note, draft, path), None)


def _faults(draft: Draft) -> Iterator[str]:
    yield from _neck_faults(draft.instrument)
    yield from _ascending_faults(draft.timing.beats_s, "$.timing.beats_s")
    for index, chord in enumerate(draft.chords):
        yield from _beat_faults(chord.beat, draft.meter, f"$.chords[{index}]")
    yield from _unique_faults((phrase.id for phrase in draft.phrases), "$.phrases")
    for place, spans in (("phrases", draft.phrases), ("shapes", draft.shapes)):
        for index, span in enumerate(spans):
            yield from _span_faults(span, f"$.{place}[{index}]")
    yield from _unique_faults((note.id for note in draft.notes), "$.notes")
    before = 0.0
    for index, note in enumerate(draft.notes):
        path = f"$.notes[{index}]"
        if note.onset_s < before:
            yield f"{path}.onset_s is {note.onset_s}; notes stand in order and the one before is at {before}"
        before = note.onset_s
        yield from _note_faults(note, draft, path)
    yield from _alternative_faults(draft)
    yield from _analysis_faults(draft)
    yield from _issue_faults(draft)


def _neck_faults(instrument: DraftInstrument) -> Iterator[str]:
    if instrument.capo >= instrument.frets:
        yield f"$.instrument.capo is {instrument.capo}; it must be below the {instrument.frets} frets"


def _note_faults(note: DraftNote, draft: Draft, path: str) -> Iterator[str]:
    if note.end_s <= note.onset_s:
        yield f"{path}.end_s is {note.end_s}; it must be after onset_s, {note.onset_s}"
    if note.end_s > draft.source.duration_s:
        yield f"{path}.end_s is {note.end_s}; the recording ends at {draft.source.duration_s}"
    yield from _beat_faults(note.beat, draft.meter, path)
    if note.is_grace != note.has("grace"):
        told = "is" if note.has("grace") else "is not"
        yield f'{path}.length is "{note.length}"; a grace alone has length "0", and this note {told} a grace'
    yield from _place_faults(note, draft.instrument, path)
    if len(note.contour.times_s) != len(note.contour.cents):
        yield (
            f"{path}.contour.cents has {len(note.contour.cents)} values; "
            f"it must have one for each of the {len(note.contour.times_s)} times_s"
        )
    yield from _ascending_faults(note.contour.times_s, f"{path}.contour.times_s")
    for index, technique in enumerate(note.techniques):
        yield from _technique_faults(technique, draft.instrument, f"{path}.techniques[{index}]")


def _place_faults(note: DraftNote, instrument: DraftInstrument, path: str) -> Iterator[str]:
    if note.pitch_midi is None and not note.has("dead_note"):
        yield f"{path}.pitch_midi is null; only a dead note has no pitch"
    if note.string is None or note.fret is None:
        for key in ("string", "fret", "finger"):
            if getattr(note, key) is not None:
                yield f"{path}.{key} is {getattr(note, key)}; a note has string and fret both or neither"
        return
    for at, place in [
        (path, note),
        *((f"{path}.alternatives[{i}]", other) for i, other in enumerate(note.alternatives)),
    ]:
        yield from _neck_place_faults(place, instrument, at)
    if note.string <= len(instrument.tuning_midi) and not note.has("dead_note", "natural_harmonic"):
        pitch = instrument.fretted.open_midi(note.string) + note.fret
        if note.pitch_midi != pitch:
            yield (
                f"{path}.pitch_midi is {note.pitch_midi}; "
                f"string {note.string} at fret {note.fret} sounds {pitch}"
            )


def _neck_place_faults(place: Any, instrument: DraftInstrument, path: str) -> Iterator[str]:
    strings, highest = len(instrument.tuning_midi), instrument.fretted.highest_fret
    if place.string > strings:
        yield f"{path}.string is {place.string}; the tuning has {strings} strings"
    if place.fret > highest:
        yield f"{path}.fret is {place.fret}; the highest fret over the capo is {highest}"


def _technique_faults(technique: Technique, instrument: DraftInstrument, path: str) -> Iterator[str]:
    start, end = technique.start_s, technique.end_s
    if start is not None and end is not None and end < start:
        yield f"{path}.end_s is {end}; it must not be before start_s, {start}"
    highest = instrument.fretted.highest_fret
    if technique.to_fret is not None and technique.to_fret > highest:
        yield f"{path}.to_fret is {technique.to_fret}; the highest fret over the capo is {highest}"


def _alternative_faults(draft: Draft) -> Iterator[str]:
    """What other fingerings say must hold of the notes that they place."""
    known = {note.id: note for note in draft.notes}
    neck = draft.instrument.fretted
    for index, phrase in enumerate(draft.phrases):
        for number, alternative in enumerate(phrase.alternatives):
            for at, place in enumerate(alternative.notes):
                path = f"$.phrases[{index}].alternatives[{number}].notes[{at}]"
                note = known.get(place.id)
                if note is None:
                    yield f'{path}.id is "{place.id}"; no note has this id'
                    continue
                faults = list(_neck_place_faults(place, draft.instrument, path))
                yield from faults
                if faults or note.has("dead_note", "natural_harmonic"):
                    continue
                pitch = neck.open_midi(place.string) + place.fret
                if pitch != note.pitch_midi:
                    yield (
                        f"{path}: string {place.string} at fret {place.fret} sounds {pitch}, "
                        f"but {place.id} is {note.pitch_midi}"
                    )


def _analysis_faults(draft: Draft) -> Iterator[str]:
    """What phrases and shapes say must point at what is there."""
    known = {note.id for note in draft.notes}
    for index, shape in enumerate(draft.shapes):
        if shape.highest_fret < shape.lowest_fret:
            yield f"$.shapes[{index}].highest_fret is {shape.highest_fret}; the lowest is {shape.lowest_fret}"
        for key in ("notes", "unexplained"):
            for place, note_id in enumerate(getattr(shape, key)):
                if note_id not in known:
                    yield f'$.shapes[{index}].{key}[{place}] is "{note_id}"; no note has this id'


def _issue_faults(draft: Draft) -> Iterator[str]:
    known = {note.id for note in draft.notes}
    for index, issue in enumerate(draft.issues):
        path = f"$.issues[{index}]"
        if (issue.start_s is None) != (issue.end_s is None):
            yield f"{path}.end_s is {show_value(issue.end_s)}; start_s and end_s are both given or both null"
        elif issue.start_s is not None and issue.end_s is not None and issue.end_s < issue.start_s:
            yield f"{path}.end_s is {issue.end_s}; it must not be before start_s, {issue.start_s}"
        for place, note_id in enumerate(issue.notes):
            if note_id not in known:
                yield f'{path}.notes[{place}] is "{note_id}"; no note has this id'


def _beat_faults(beat: Any, meter: Meter, path: str) -> Iterator[str]:
    if not 1 <= beat < meter.beats + 1:
        yield f'{path}.beat is "{beat}"; in {meter} it lies from 1 to below {meter.beats + 1}'


def _span_faults(span: Any, path: str) -> Iterator[str]:
    if span.end_s <= span.start_s:
        yield f"{path}.end_s is {span.end_s}; it must be after start_s, {span.start_s}"


def _unique_faults(ids: Iterable[str], path: str) -> Iterator[str]:
    seen: set[str] = set()
    for index, each in enumerate(ids):
        if each in seen:
            yield f'{path}[{index}].id is "{each}"; another one has this id already'
        seen.add(each)


def _ascending_faults(values: Sequence[float], path: str) -> Iterator[str]:
    for index in range(1, len(values)):
        if values[index] <= values[index - 1]:
            yield f"{path}[{index}] is {values[index]}; it must be after the one before, {values[index - 1]}"
