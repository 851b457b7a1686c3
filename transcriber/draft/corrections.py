"""Corrections as records: what a person may change, and how it stands in one line of the journal."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from transcriber.draft.note import DraftNote
from transcriber.draft.schema import check_document, show_value
from transcriber.errors import DraftError
from transcriber.records.problem import Problem

JOURNAL_VERSION = 2


@dataclass(frozen=True)
class _Needs:
    """What an action needs: a note or a phrase it is about, and the keys that `values` may hold."""

    note: bool = False
    phrase: bool = False
    keys: frozenset[str] = frozenset()
    required: frozenset[str] = frozenset()


_PLACE = frozenset(("pitch_midi", "string", "fret", "finger"))
_RHYTHM = frozenset(("bar", "beat", "length", "voice"))
_CHANGEABLE = _PLACE | _RHYTHM | {"onset_s", "end_s", "velocity"}
_NEW_NOTE = frozenset(("onset_s", "end_s", "pitch_midi", "bar", "beat", "length"))
_TIMING = frozenset(("tempo_bpm", "meter", "swing", "beats_s", "first_beat"))
BARS = frozenset(("meter", "beats_s", "first_beat"))
"""Values of a correction of the timing that say where bars begin."""
_PHRASE = frozenset(("name", "remark", "start_s", "end_s"))
_SECOND_HALF = frozenset(("at_s", "bar", "beat", "pitch_midi", "string", "fret", "techniques"))


def _only(key: str, note: bool = False) -> _Needs:
    return _Needs(note=note, keys=frozenset((key,)), required=frozenset((key,)))


ACTIONS: Mapping[str, _Needs] = {
    "change_note": _Needs(note=True, keys=_CHANGEABLE),
    "add_note": _Needs(keys=_CHANGEABLE | {"techniques", "contour", "remark"}, required=_NEW_NOTE),
    "remove_note": _Needs(note=True),
    "replace_techniques": _only("techniques", note=True),
    "split_note": _Needs(note=True, keys=_SECOND_HALF, required=frozenset(("at_s", "bar", "beat"))),
    "merge_notes": _only("notes", note=True),
    "confirm_note": _Needs(note=True, keys=frozenset(("aspects",))),
    "refinger": _only("notes"),
    "rewrite_rhythm": _Needs(keys=frozenset(("notes", "timing")), required=frozenset(("notes",))),
    "set_remark": _only("remark"),
    "change_timing": _Needs(keys=_TIMING),
    "confirm_timing": _Needs(keys=frozenset(("tempo_bpm", "first_beat"))),
    "set_key": _only("key"),
    "set_chords": _only("chords"),
    "set_phrase": _Needs(phrase=True, keys=_PHRASE),
    "remove_phrase": _Needs(phrase=True),
    "undo": _Needs(),
}


@dataclass(frozen=True)
class NoteMark:
    """How a correction names a note: by its id and by its onset and pitch when the correction was made.

    When the take is drafted again ids may move; the onset and pitch then find the note.
    """

    id: str
    onset_s: float
    pitch_midi: int | None

    @classmethod
    def of(cls, note: DraftNote) -> NoteMark:
        """Mark a note as it stands in the draft that the person sees."""
        return cls(note.id, note.onset_s, note.pitch_midi)


@dataclass(frozen=True)
class Correction:
    """One thing that a person changed.

    Attributes
    ----------
    action : str
        One of `ACTIONS`.
    note : NoteMark, optional
        The note it is about (`change_note`, `remove_note`, `replace_techniques`, `confirm_note`, and
        `set_remark` on a note).
    phrase : str, optional
        Id of the phrase it is about (`set_phrase`, `remove_phrase`, and `set_remark` on a phrase). A
        `set_phrase` with a new id makes a phrase.
    values : mapping of str to JSON value
        Keys and values as in the document: the fields to change, ``{"techniques": [...]}``,
        ``{"remark": "..."}``, ``{"key": {...}}``, ``{"chords": [...]}``. `split_note` holds where the second
        note begins. The ``notes`` of `merge_notes` are marks of those that join the first; the ``notes`` of
        `refinger` and `rewrite_rhythm` are marks with the new place or rhythm of each. `confirm_timing` holds
        what was found right, as it was then.
    undoes : int, optional
        For `undo`: the revision taken back. To undo an undo is to have the first again.
    """

    action: str
    note: NoteMark | None = None
    phrase: str | None = None
    values: Mapping[str, Any] = field(default_factory=dict)
    undoes: int | None = None


@dataclass(frozen=True)
class JournalEntry:
    """A correction in the journal.

    Attributes
    ----------
    revision : int
        From 1.
    draft_sha256 : str
        Digest of the draft it was made on.
    correction : Correction
    gesture : int or None
        Corrections that a person made at one stroke bear the revision of the first of them; None for one that
        stands alone.
    took_s : float or None
        Seconds of work since the correction before, where they were measured.
    """

    revision: int
    draft_sha256: str
    correction: Correction
    gesture: int | None = None
    took_s: float | None = None


@dataclass(frozen=True)
class Journal:
    """All corrections to one draft, in the order they were made, and what was odd about the file."""

    entries: tuple[JournalEntry, ...] = ()
    problems: tuple[Problem, ...] = ()

    @property
    def revision(self) -> int:
        """Revision of the last entry, 0 for none: what a writer says it has seen."""
        return self.entries[-1].revision if self.entries else 0

    def in_force(self) -> tuple[JournalEntry, ...]:
        """Entries that are not undone, without the undos themselves."""
        undone = self.undone()
        return tuple(
            entry
            for entry in self.entries
            if entry.revision not in undone and entry.correction.action != "undo"
        )

    def undone(self) -> frozenset[int]:
        """Revisions that a later undo took back, unless that undo was itself undone."""
        undone: set[int] = set()
        for entry in reversed(self.entries):
            if entry.correction.undoes is not None and entry.revision not in undone:
                undone.add(entry.correction.undoes)
        return frozenset(undone)


def encode_entry(entry: JournalEntry) -> dict[str, Any]:
    """Turn an entry into the JSON object of its line; parts that it does not use are left out."""
    correction = entry.correction
    line: dict[str, Any] = {
        "format_version": JOURNAL_VERSION,
        "revision": entry.revision,
        "draft_sha256": entry.draft_sha256,
        "action": correction.action,
    }
    if correction.note is not None:
        line["note"] = dict(vars(correction.note))
    if correction.phrase is not None:
        line["phrase"] = correction.phrase
    if correction.values:
        line["values"] = dict(correction.values)
    if correction.undoes is not None:
        line["undoes"] = correction.undoes
    if entry.gesture is not None:
        line["gesture"] = entry.gesture
    if entry.took_s is not None:
        line["took_s"] = entry.took_s
    return line


def decode_entry(line: Any, name: str) -> JournalEntry:
    """Build an entry from the JSON object of its line.

    Raises
    ------
    DraftError
        If it is newer than this program or breaks the form; `name` says where.
    """
    version = line.get("format_version") if isinstance(line, dict) else None
    if isinstance(version, int) and version > JOURNAL_VERSION:
        raise DraftError(
            f"{name}: $.format_version is {version}; this program reads up to "
            f"{JOURNAL_VERSION}; use a newer one"
        )
    check_document(line, name, part="correction")
    mark = line.get("note")
    correction = Correction(
        action=line["action"],
        note=None if mark is None else NoteMark(mark["id"], float(mark["onset_s"]), mark["pitch_midi"]),
        phrase=line.get("phrase"),
        values=line.get("values", {}),
        undoes=line.get("undoes"),
    )
    check_correction(correction, name)
    took_s = line.get("took_s")
    return JournalEntry(
        revision=int(line["revision"]),
        draft_sha256=line["draft_sha256"],
        correction=correction,
        gesture=line.get("gesture"),
        took_s=None if took_s is None else float(took_s),
    )


def check_correction(correction: Correction, name: str) -> None:
    """Check that a correction has what its action needs and nothing else.

    Raises
    ------
    DraftError
        One line that names what is missing or not known.
    """
    needs = ACTIONS.get(correction.action)
    if needs is None:
        known = ", ".join(ACTIONS)
        raise DraftError(f"{name}: the action is {show_value(correction.action)}; it must be one of {known}")
    either = correction.action == "set_remark"
    if either and (correction.note is None) == (correction.phrase is None):
        raise DraftError(f"{name}: set_remark needs a note or a phrase, not both")
    if not either:
        _need(correction.note is not None, needs.note, "note", correction.action, name)
        _need(correction.phrase is not None, needs.phrase, "phrase", correction.action, name)
    _need(correction.undoes is not None, correction.action == "undo", "undoes", correction.action, name)
    for key in correction.values:
        if key not in needs.keys:
            raise DraftError(f"{name}: {correction.action} does not take the value {show_value(key)}")
    for key in sorted(needs.required):
        if key not in correction.values:
            raise DraftError(f"{name}: {correction.action} needs the value '{key}'")


def _need(given: bool, needed: bool, key: str, action: str, name: str) -> None:
    if needed and not given:
        raise DraftError(f"{name}: {action} needs '{key}'")
    if given and not needed:
        raise DraftError(f"{name}: {action} does not take '{key}'")
