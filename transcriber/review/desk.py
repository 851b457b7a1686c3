"""The draft on the desk: what the page asks for and what it changes, one request at a time."""

from __future__ import annotations

import json
import threading
from collections.abc import Mapping, Sequence
from fractions import Fraction
from pathlib import Path
from typing import Any

from transcriber.draft import Correction, Draft, NoteMark
from transcriber.draft.apply import apply_entry
from transcriber.draft.corrections import JournalEntry, check_correction
from transcriber.draft.open_draft import OpenDraft, redo_of, undo_of
from transcriber.errors import DraftError, TranscriberError, UsageError
from transcriber.files import DRAFT_SUFFIX
from transcriber.review import changes
from transcriber.review.attempt import AttemptShown
from transcriber.review.closeup import closeup_of
from transcriber.review.meanings import Meanings, meaning_words
from transcriber.review.questions import Question, open_questions, question_about
from transcriber.review.sheet import NoteEntries, note_entry, score_entry, sheet_of
from transcriber.review.sounds import Sounds
from transcriber.review.totals import totals_of
from transcriber.review.whole_take import WHOLE_TAKE

_AROUND_S = 0.35


class StaleError(TranscriberError):
    """The page has not seen the newest revision."""


class Desk:
    """A draft, its journal and its take, for one server.

    Parameters
    ----------
    draft_path : Path
    take_path : Path or None
        None where there is no recording to hear.
    attempt_path : Path or None
        ``ATTEMPT.check.json`` of an attempt to show over the line.
    """

    def __init__(self, draft_path: Path, take_path: Path | None, attempt_path: Path | None = None) -> None:
        self._open = OpenDraft(draft_path)
        self._lock = threading.RLock()
        self._sheet: tuple[int, str, dict[str, Any]] | None = None
        self._described: tuple[Draft, dict[str, Any]] | None = None
        self._entries = NoteEntries()
        self._meanings = Meanings()
        draft = self._open.read().draft
        self.sounds = Sounds(take_path, draft.source.sha256)
        self._attempt = None if attempt_path is None else AttemptShown(attempt_path, draft)

    def revision(self) -> dict[str, Any]:
        """Tell which draft and revision is on the desk."""
        with self._lock:
            return {"revision": self._open.read().revision, "draft": self._open.digest}

    def draft(self) -> tuple[Draft, int]:
        """Return the draft as corrected and its revision."""
        with self._lock:
            corrected = self._open.read()
            return corrected.draft, corrected.revision

    def sheet(self) -> dict[str, Any]:
        """Describe everything that the page shows."""
        with self._lock:
            corrected = self._open.read()
            key = (corrected.revision, self._open.digest)
            if self._sheet is None or self._sheet[:2] != key:
                journal = self._open.journal
                shown = {
                    "revision": corrected.revision,
                    "draft": self._open.digest,
                    "name": self._open.path.name.removesuffix(DRAFT_SUFFIX),
                    **self._described_as(self._explained(corrected.draft)),
                    "problems": [problem.message for problem in corrected.problems],
                    "can_undo": bool(undo_of(journal)),
                    "can_redo": bool(redo_of(journal)),
                    "totals": totals_of(self._open.machine, corrected.draft, journal).document(),
                    "take": self.sounds.has_take,
                    "attempt": None if self._attempt is None else self._attempt.words(corrected.draft),
                }
                self._sheet = (*key, shown)
            return self._sheet[2]

    def _explained(self, draft: Draft) -> Draft:
        """Say anew what the notes mean, once somebody has corrected anything."""
        return self._meanings.of(draft) if self._open.journal.entries else draft

    def _described_as(self, draft: Draft) -> dict[str, Any]:
        """Describe a draft, or give the description of the same draft again."""
        if self._described is None or self._described[0] != draft:
            self._described = (draft, sheet_of(draft, self._entries))
        return self._described[1]

    def question(self, about: str, aspect: str | None) -> dict[str, Any]:
        """Describe a question with its readings as written and the moment seen close up."""
        with self._lock:
            draft, revision = self.draft()
            explained = self._explained(draft)
        question = question_about(draft, about, aspect)
        meant = explained.note(about)
        notes = [note for note in draft.notes if note.id in question.notes]
        readings = []
        for reading in question.readings:
            entry: dict[str, Any] = {"key": reading.key, "words": reading.words}
            try:
                entry |= _as_written(_with(draft, reading.worked_out()), draft, question)
            except DraftError:
                # A reading that cannot be written is none.
                continue
            readings.append(entry)
        alike = [one for one in open_questions(draft) if one.alike == question.alike and one.about != about]
        return {
            "revision": revision,
            "about": about,
            "aspect": question.aspect,
            "words": question.words,
            "notes": list(question.notes),
            "alike": len(alike),
            "meaning": None if meant is None else meaning_words(explained, meant),
            "readings": readings,
            "closeup": closeup_of(draft, notes, self.sounds.recording()),
        }

    def laid_over(self) -> bytes:
        """Return the pitch of the line and of the attempt over it, as JSON."""
        return json.dumps(self.attempt().laid_over(self.draft()[0])).encode("utf-8")

    def attempt_sound(self) -> bytes:
        """Return the attempt as WAV."""
        return self.attempt().sound()

    def attempt(self) -> AttemptShown:
        """Return the attempt that is shown over the line.

        Raises
        ------
        UsageError
            If none is.
        """
        if self._attempt is None:
            raise UsageError("no attempt is shown; start again with --attempt ATTEMPT.check.json")
        return self._attempt

    def moment(self, about: str) -> bytes:
        """Return the take around a note or phrase as WAV."""
        draft, _ = self.draft()
        start_s, end_s = _span(draft, question_about(draft, about))
        return self.sounds.take_wav(start_s, end_s)

    def reading(self, about: str, aspect: str | None, key: str) -> bytes:
        """Return a reading of a note or phrase, with the notes around it, as WAV."""
        draft, _ = self.draft()
        question = question_about(draft, about, aspect)
        reading = question.reading(key)
        if reading is None:
            raise UsageError(f"there is no reading '{key}' of {about}")
        start_s, end_s = _span(draft, question)
        corrected = _with(draft, reading.worked_out())
        if about in WHOLE_TAKE:
            # The notes are the same in each: what differs is the beat.
            return self.sounds.counted_wav(corrected, start_s, end_s)
        return self.sounds.part_wav(corrected, start_s, end_s)

    def answer(self, body: Mapping[str, Any]) -> dict[str, Any]:
        """Take a reading, for one question or all alike."""
        with self._lock:
            draft = self._seen(body)
            question = question_about(draft, _text(body, "about"), body.get("aspect"))
            key = _text(body, "reading")
            asked = [question]
            if body.get("alike") is True:
                others = open_questions(draft)
                asked += [
                    one for one in others if one.alike == question.alike and one.about != question.about
                ]
            taken = [reading for one in asked if (reading := one.reading(key)) is not None]
            if question.reading(key) is None:
                raise UsageError(f"there is no reading '{key}' of {question.about}")
            return self._keep(self._fitting(draft, [reading.worked_out() for reading in taken]), body)

    def keep(self, body: Mapping[str, Any]) -> dict[str, Any]:
        """Append corrections that the page has put together itself."""
        with self._lock:
            draft = self._seen(body)
            listed = body.get("corrections")
            if not isinstance(listed, list) or not listed:
                raise UsageError("corrections must be an array of at least one")
            return self._keep([_correction(draft, one) for one in listed], body)

    def change(self, body: Mapping[str, Any]) -> dict[str, Any]:
        """Work out a change that needs more than one correction, and append it."""
        with self._lock:
            draft = self._seen(body)
            return self._keep(_worked_out(draft, body), body)

    def undo(self, body: Mapping[str, Any]) -> dict[str, Any]:
        """Take back the last stroke."""
        with self._lock:
            self._seen(body)
            return self._keep(undo_of(self._open.journal), body)

    def redo(self, body: Mapping[str, Any]) -> dict[str, Any]:
        """Take back the last undo."""
        with self._lock:
            self._seen(body)
            return self._keep(redo_of(self._open.journal), body)

    def _seen(self, body: Mapping[str, Any]) -> Draft:
        corrected = self._open.read()
        if body.get("seen") != corrected.revision or body.get("draft") not in (None, self._open.digest):
            raise StaleError("the draft was changed in another window meanwhile")
        return corrected.draft

    def _keep(self, corrections: Sequence[Correction], body: Mapping[str, Any]) -> dict[str, Any]:
        if not corrections:
            raise UsageError("there is nothing to take back")
        draft, seen = self.draft()
        if corrections[0].undoes is None:
            # What could not be written out would leave the page without a sheet.
            self._described_as(self._meanings.of(_with(draft, corrections, seen)))
        took_s = body.get("took_s")
        known = isinstance(took_s, int | float) and not isinstance(took_s, bool)
        self._open.append(corrections, seen, float(took_s) if known and took_s is not None else None)
        return self.sheet()

    def _fitting(self, draft: Draft, choices: Sequence[Sequence[Correction]]) -> list[Correction]:
        """Leave out answers that no longer fit once those before them are given; the first must fit."""
        kept: list[Correction] = []
        for number, corrections in enumerate(choices):
            try:
                draft = _with(draft, corrections)
            except DraftError:
                if number == 0:
                    raise
                continue
            kept += corrections
        return kept


def _with(draft: Draft, corrections: Sequence[Correction], seen: int = 900_000_000) -> Draft:
    """Apply corrections that are not kept, as if they followed on a revision."""
    for number, correction in enumerate(corrections, start=seen + 1):
        draft = apply_entry(draft, JournalEntry(number, "0" * 64, correction), same_draft=True)
    return draft


def _as_written(corrected: Draft, draft: Draft, question: Question) -> dict[str, Any]:
    """Bars of a reading, from those that hold the moment."""
    meant = [note for note in draft.notes if note.id in question.notes]
    bars = [note.bar for note in meant] + [note.bar for note in corrected.notes if note.id in question.notes]
    low, high = min(bars), min(max(bars), min(bars) + 1)
    entry = score_entry(corrected, low, high)
    used = {piece["event"] for bar in entry["bars"] for piece in bar["pieces"]} - {None}
    shown = {
        note_id
        for index in used
        for note_id in (*entry["events"][index]["notes"], *entry["events"][index]["graces"])
    }
    numbers = {index: place for place, index in enumerate(sorted(used))}
    for bar in entry["bars"]:
        for piece in bar["pieces"]:
            piece["event"] = None if piece["event"] is None else numbers[piece["event"]]
    entry["events"] = [entry["events"][index] for index in sorted(used)]
    entry["notes"] = [note_entry(note) for note in corrected.notes if note.id in shown]
    return entry


def _span(draft: Draft, question: Question) -> tuple[float, float]:
    """The time to hear: the moment with a little before and after."""
    notes = [note for note in draft.notes if note.id in question.notes]
    start = min(note.onset_s for note in notes) - _AROUND_S
    end = max(note.end_s for note in notes) + _AROUND_S
    return max(0.0, start), min(end, draft.source.duration_s)


def _correction(draft: Draft, given: Any) -> Correction:
    if not isinstance(given, dict) or not isinstance(given.get("action"), str):
        raise UsageError("each correction needs an action")
    if given["action"] == "undo":
        raise UsageError("an undo is not sent as a correction")
    note, values = given.get("note"), given.get("values", {})
    if not isinstance(values, dict):
        raise UsageError("the values of a correction are an object")
    if given["action"] == "merge_notes":
        ids = values.get("notes")
        listed = ids if isinstance(ids, list) else []
        values = {"notes": [vars(NoteMark.of(changes.find(draft, str(one)))) for one in listed]}
    mark = None if note is None else NoteMark.of(changes.find(draft, str(note)))
    correction = Correction(given["action"], note=mark, phrase=given.get("phrase"), values=values)
    check_correction(correction, "the correction")
    return correction


def _worked_out(draft: Draft, body: Mapping[str, Any]) -> tuple[Correction, ...]:
    kind = _text(body, "kind")
    try:
        if kind == "refinger":
            wanted = changes.Refinger(_text(body, "note"), int(body["string"]), int(body["fret"]))
            return changes.refinger(draft, wanted)
        if kind == "retime":
            tempo = body.get("tempo_bpm")
            return changes.retime(draft, None if tempo is None else float(tempo), body.get("meter"))
        if kind == "downbeat":
            return changes.downbeat(draft, [float(time) for time in body["times_s"]])
        if kind == "rhythm":
            meter = draft.meter
            start = (int(body["bar"]) - 1) * meter.beats + Fraction(_text(body, "beat")) - 1
            length = Fraction(_text(body, "length"))
            around = body.get("around") is True
            return changes.requantised(draft, _text(body, "note"), start, length, around)
    except (KeyError, TypeError, ValueError, ArithmeticError) as error:
        raise UsageError(f"the change '{kind}' lacks a value or has a wrong one ({error})") from error
    raise UsageError(f"there is no change '{kind}'")


def _text(body: Mapping[str, Any], key: str) -> str:
    value = body.get(key)
    if not isinstance(value, str):
        raise UsageError(f"'{key}' is missing; it must be text")
    return value
