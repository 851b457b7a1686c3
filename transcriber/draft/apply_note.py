"""Changing one note: what a correction leaves out follows from what it sets.

- A new string alone keeps the pitch and finds the fret; a new fret sets the pitch; a new pitch alone moves
  the fret on the same string, and takes the note off the neck where it cannot be played there.
- A new pitch moves the contour's zero; a new place keeps the old one as the first alternative.
- Length 0 and the technique `grace` go together.
- An aspect that a person has set is sure (confidence 1).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from fractions import Fraction
from typing import Any

from transcriber.draft.assemble import with_overall
from transcriber.draft.coding import decode, encode
from transcriber.draft.consistency import note_fault
from transcriber.draft.document import Draft, DraftInstrument
from transcriber.draft.note import CONFIDENCE_ASPECTS, Alternative, Contour, DraftNote
from transcriber.draft.schema import check_document, show_value
from transcriber.errors import DraftError
from transcriber.records.technique import Technique

NEW_NOTE_VELOCITY = 80
_ASPECT_OF = {
    "pitch_midi": "pitch",
    "onset_s": "onset",
    "string": "place",
    "fret": "place",
    "bar": "rhythm",
    "beat": "rhythm",
    "length": "rhythm",
    "techniques": "technique",
}
# Gestures that need times take the note's own where a person gave none.
_TIMED = ("bend", "pre_bend", "release", "vibrato")


def changed_note(draft: Draft, note: DraftNote, values: Mapping[str, Any]) -> DraftNote:
    """Change fields of a note; raises `DraftError` if the result breaks a rule."""
    changed = _checked({**encode(note), **values})
    changed = _placed(changed, note, values, draft.instrument)
    if "length" in values:
        changed = _graced(changed)
    return _finished(draft, note, changed, values)


def retechniqued_note(draft: Draft, note: DraftNote, values: Mapping[str, Any]) -> DraftNote:
    """Replace a note's techniques; raises `DraftError` if the result breaks a rule."""
    changed = _checked({**encode(note), "techniques": _timed(values["techniques"], encode(note))})
    if changed.has("grace"):
        changed = replace(changed, length=Fraction(0))
    return _finished(draft, note, changed, values)


def confirmed_note(draft: Draft, note: DraftNote, values: Mapping[str, Any]) -> DraftNote:
    """Mark a note as right in the aspects named, in every one if none is.

    Raises
    ------
    DraftError
        If an aspect is not one of `CONFIDENCE_ASPECTS`.
    """
    sure = values.get("aspects", list(CONFIDENCE_ASPECTS))
    if not isinstance(sure, list) or not sure:
        raise DraftError(f"aspects is {show_value(sure)}; it must be an array of at least one")
    for aspect in sure:
        if aspect not in CONFIDENCE_ASPECTS:
            known = ", ".join(CONFIDENCE_ASPECTS)
            raise DraftError(f"aspects holds {show_value(aspect)}; it must be one of {known}")
    aspects = {name: float(getattr(note.confidence, name)) for name in CONFIDENCE_ASPECTS}
    return replace(note, confidence=with_overall({**aspects, **dict.fromkeys(sure, 1.0)}))


def added_note(draft: Draft, note_id: str, values: Mapping[str, Any]) -> DraftNote:
    """Make a note that the machine missed; raises `DraftError` if it breaks a rule."""
    blank: dict[str, Any] = {
        "string": None,
        "fret": None,
        "finger": None,
        "voice": 1,
        "velocity": NEW_NOTE_VELOCITY,
        "techniques": [],
        "contour": {"times_s": [], "cents": []},
        "remark": None,
        "alternatives": [],
        "confidence": dict.fromkeys((*CONFIDENCE_ASPECTS, "overall"), 1.0),
    }
    document = {"id": note_id, **blank, **values}
    document["techniques"] = _timed(document["techniques"], document)
    note = _checked(document)
    note = _placed(note, replace(note, string=None, fret=None), values, draft.instrument)
    note = _graced(note)
    return _without_fault(
        draft, replace(note, confidence=with_overall(dict.fromkeys(CONFIDENCE_ASPECTS, 1.0)))
    )


def _checked(document: dict[str, Any]) -> DraftNote:
    check_document(document, "note", part="note")
    return decode(DraftNote, document)


def _placed(
    changed: DraftNote, old: DraftNote, values: Mapping[str, Any], instrument: DraftInstrument
) -> DraftNote:
    """Let pitch, string and fret follow from those that were set."""
    changed = _with_derived_place(changed, values, instrument)
    moved = (changed.string, changed.fret) != (old.string, old.fret)
    if moved and "finger" not in values:
        changed = replace(changed, finger=0 if changed.fret == 0 else None)
    if changed.pitch_midi != old.pitch_midi:
        contour = rebased(changed.contour, old.pitch_midi, changed.pitch_midi)
        return replace(changed, contour=contour, alternatives=())
    if moved and old.string is not None and old.fret is not None:
        former = Alternative(old.string, old.fret)
        rest = (
            each for each in old.alternatives if (each.string, each.fret) != (changed.string, changed.fret)
        )
        return replace(changed, alternatives=(former, *rest))
    return changed


def _with_derived_place(
    changed: DraftNote, values: Mapping[str, Any], instrument: DraftInstrument
) -> DraftNote:
    given = {key for key in ("pitch_midi", "string", "fret") if key in values}
    free = changed.has("natural_harmonic", "dead_note")
    off_neck = ("string" in given and changed.string is None) or ("fret" in given and changed.fret is None)
    if off_neck:
        return replace(changed, string=None, fret=None)
    if not given or free or changed.string is None or changed.string > len(instrument.tuning_midi):
        return changed
    open_midi = instrument.fretted.open_midi(changed.string)
    if "fret" in given and "pitch_midi" not in given and changed.fret is not None:
        return replace(changed, pitch_midi=open_midi + changed.fret)
    if "fret" in given or changed.pitch_midi is None:
        return changed
    fret = changed.pitch_midi - open_midi
    if 0 <= fret <= instrument.fretted.highest_fret:
        return replace(changed, fret=fret)
    if "string" in given:
        raise DraftError(
            f"string {changed.string} cannot sound pitch {changed.pitch_midi}: it would be fret {fret}"
        )
    return replace(changed, string=None, fret=None)


def rebased(contour: Contour, old_midi: int | None, new_midi: int | None) -> Contour:
    """Measure a contour's cents from another pitch; as it is where there is none."""
    if old_midi is None or new_midi is None:
        return contour
    move = 100.0 * (old_midi - new_midi)
    cents = (None if value is None else round(value + move, 1) + 0.0 for value in contour.cents)
    return Contour(contour.times_s, tuple(cents))


def _graced(note: DraftNote) -> DraftNote:
    """Make the technique `grace` follow the length."""
    kept = tuple(technique for technique in note.techniques if technique.kind != "grace")
    grace = next((each for each in note.techniques if each.kind == "grace"), Technique("grace"))
    return replace(note, techniques=(grace, *kept) if note.length == 0 else kept)


def _timed(techniques: Any, note: Mapping[str, Any]) -> Any:
    if not isinstance(techniques, list):
        raise DraftError(f"techniques is {show_value(techniques)}; it must be an array")
    start = note["onset_s"]
    return [
        {"start_s": start, "end_s": start if each["kind"] == "pre_bend" else note["end_s"], **each}
        if isinstance(each, dict) and each.get("kind") in _TIMED
        else each
        for each in techniques
    ]


def _finished(draft: Draft, old: DraftNote, changed: DraftNote, values: Mapping[str, Any]) -> DraftNote:
    """Make sure of the aspects that a person set or that changed with them, and check the note."""
    aspects = {name: float(getattr(old.confidence, name)) for name in CONFIDENCE_ASPECTS}
    for key, aspect in _ASPECT_OF.items():
        if key in values or getattr(changed, key) != getattr(old, key):
            aspects[aspect] = 1.0
    if changed.string is None:
        aspects["place"] = 0.0
    return _without_fault(draft, replace(changed, confidence=with_overall(aspects)))


def _without_fault(draft: Draft, note: DraftNote) -> DraftNote:
    check_document(encode(note), "note", part="note")
    fault = note_fault(note, draft, "$")
    if fault is not None:
        raise DraftError(f"note: {fault}")
    return note
