"""Corrections of the whole take: its timing, key and chords, and its phrases."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

from transcriber.draft.coding import decode, encode
from transcriber.draft.corrections import BARS, Correction
from transcriber.draft.document import Draft
from transcriber.draft.line_parts import Chord, Key, Phrase
from transcriber.draft.retime import DOWNBEAT_UNSURE, TEMPO_UNSURE
from transcriber.draft.schema import check_document, show_value
from transcriber.draft.timing import Timing
from transcriber.errors import DraftError
from transcriber.records.written import Meter, WrittenNote

# A tempo within this share of another is the same one (the tolerance of the tempo figure).
_SAME_TEMPO = 0.04
_ANSWERED_BY = {
    TEMPO_UNSURE: {"tempo_bpm", "beats_s"},
    DOWNBEAT_UNSURE: {"first_beat", "beats_s", "meter"},
}


def _change_timing(draft: Draft, correction: Correction) -> Draft:
    """Change the timing; notes keep their place in time when the bars are cut anew or the downbeat moves."""
    document = {**encode(draft.timing), **correction.values}
    if not correction.values.keys().isdisjoint(BARS):
        document["downbeat_confidence"] = None
    check_document(document, "timing", part="timing")
    old, new = draft.timing, decode(Timing, document)
    if new.meter.unit != old.meter.unit:
        raise DraftError(f"the meter {new.meter} counts other beats than {old.meter}; write the rhythm anew")
    # With new beats, `first_beat` tells where their list begins; with the old ones, it moves the downbeat.
    shift = 0 if "beats_s" in correction.values else new.first_beat - old.first_beat
    notes = tuple(_moved(note, old.meter, new.meter, shift) for note in draft.notes)
    chords = tuple(_moved(chord, old.meter, new.meter, shift) for chord in draft.chords)
    changed = replace(draft, timing=new, notes=notes, chords=chords)
    return answered(changed, correction.values)


def _confirm_timing(draft: Draft, correction: Correction) -> Draft:
    """Settle tempo or bar lines that were found right, if they still are what was found right."""
    for key, value in correction.values.items():
        now = getattr(draft.timing, key)
        known = isinstance(value, int | float) and not isinstance(value, bool)
        if not known or abs(now - value) > _SAME_TEMPO * (now if key == "tempo_bpm" else 0):
            raise DraftError(f"{key} is {show_value(now)}; {show_value(value)} was found right")
    settled = answered(draft, correction.values)
    if "first_beat" not in correction.values:
        return settled
    # Where a person said so, there is no chance to tell.
    return replace(settled, timing=replace(settled.timing, downbeat_confidence=None))


def answered(draft: Draft, values: Mapping[str, Any]) -> Draft:
    """Take away the doubts that a person has answered who said tempo or bar lines."""
    codes = {code for code, keys in _ANSWERED_BY.items() if keys & set(values)}
    return replace(draft, issues=tuple(issue for issue in draft.issues if issue.code not in codes))


def _moved(item: Any, old: Meter, new: Meter, shift: int) -> Any:
    written = WrittenNote(item.start(old) + shift, item.length, 1.0)
    if written.bar(new) < 0:
        raise DraftError(f"the take would begin in bar {written.bar(new)}; a pickup is one bar at most")
    return replace(item, bar=written.bar(new), beat=written.beat(new))


def _set_key(draft: Draft, correction: Correction) -> Draft:
    value = correction.values["key"]
    check_document(value, "key", part="key")
    return _unexplained(replace(draft, key=None if value is None else decode(Key, value)))


def _set_chords(draft: Draft, correction: Correction) -> Draft:
    values = correction.values["chords"]
    if not isinstance(values, list):
        raise DraftError(f"chords is {show_value(values)}; it must be an array")
    for value in values:
        check_document(value, "chord", part="chord")
    return _unexplained(replace(draft, chords=tuple(decode(Chord, value) for value in values)))


def _unexplained(draft: Draft) -> Draft:
    """Take away what the notes meant in another key or over other chords, until it is looked at anew."""
    return replace(draft, notes=tuple(replace(note, meaning=None) for note in draft.notes))


def _set_phrase(draft: Draft, correction: Correction) -> Draft:
    old = _phrase(draft, correction.phrase)
    blank: dict[str, Any] = {"id": correction.phrase, "name": "", "remark": None, "alternatives": []}
    document = {**(blank if old is None else encode(old)), **correction.values}
    if old is not None and (document["start_s"], document["end_s"]) != (old.start_s, old.end_s):
        # Other fingerings were found for the notes between the old bounds.
        document["alternatives"] = []
    check_document(document, "phrase", part="phrase")
    rest = [phrase for phrase in draft.phrases if phrase.id != correction.phrase]
    return _with_phrases(draft, [*rest, decode(Phrase, document)])


def _remove_phrase(draft: Draft, correction: Correction) -> Draft:
    if _phrase(draft, correction.phrase) is None:
        raise DraftError(f"there is no phrase {correction.phrase}")
    return _with_phrases(draft, [phrase for phrase in draft.phrases if phrase.id != correction.phrase])


def _remark_on_phrase(draft: Draft, correction: Correction) -> Draft:
    old = _phrase(draft, correction.phrase)
    if old is None:
        raise DraftError(f"there is no phrase {correction.phrase}")
    rest = [phrase for phrase in draft.phrases if phrase.id != correction.phrase]
    return _with_phrases(draft, [*rest, replace(old, remark=checked_remark(correction.values["remark"]))])


def _phrase(draft: Draft, phrase_id: str | None) -> Phrase | None:
    return next((phrase for phrase in draft.phrases if phrase.id == phrase_id), None)


def _with_phrases(draft: Draft, phrases: list[Phrase]) -> Draft:
    return replace(draft, phrases=tuple(sorted(phrases, key=lambda phrase: (phrase.start_s, phrase.id))))


def checked_remark(value: Any) -> str | None:
    """A remark as it is kept: None for an empty one; raises `DraftError` where it is no remark."""
    if value is not None:
        check_document(value, "remark", part="remark")
    return value or None


WHOLE_ACTIONS: Mapping[str, Callable[[Draft, Correction], Draft]] = {
    "change_timing": _change_timing,
    "confirm_timing": _confirm_timing,
    "set_key": _set_key,
    "set_chords": _set_chords,
    "set_phrase": _set_phrase,
    "remove_phrase": _remove_phrase,
    "set_remark": _remark_on_phrase,
}
