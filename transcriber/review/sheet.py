"""A draft as the page draws it: bars spelled out, notes in words, the questions that are open."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from transcriber.draft import Contour, Draft, DraftNote
from transcriber.draft.assemble import CHECK_NOTE
from transcriber.draft.coding import encode
from transcriber.draft.retime import DOWNBEAT_UNSURE, TEMPO_UNSURE
from transcriber.draft.sureness import UNSURE_BELOW, key_words
from transcriber.review.questions import open_questions
from transcriber.review.words import beat_words, pitch_words, string_words, techniques_words
from transcriber.rework import written_score

_NOTE_KEYS = (
    "id", "onset_s", "end_s", "pitch_midi", "string", "fret", "finger", "bar", "beat", "length", "techniques",
    "remark", "alternatives",
)  # fmt: skip
# Issues that are asked as questions.
_ASKED = frozenset((CHECK_NOTE, TEMPO_UNSURE, DOWNBEAT_UNSURE))
_NO_CONTOUR = Contour((), ())


class NoteEntries:
    """Descriptions of notes, made once for each: a correction leaves most notes the very same records."""

    def __init__(self) -> None:
        self._known: dict[str, tuple[DraftNote, dict[str, Any]]] = {}

    def of(self, note: DraftNote) -> dict[str, Any]:
        """Describe a note."""
        known = self._known.get(note.id)
        if known is None or known[0] is not note:
            known = (note, note_entry(note))
            self._known[note.id] = known
        return known[1]


def sheet_of(draft: Draft, entries: NoteEntries | None = None) -> dict[str, Any]:
    """Describe a whole draft for the page.

    Parameters
    ----------
    draft : Draft
        With corrections applied.
    entries : NoteEntries, optional
        Descriptions made before.

    Returns
    -------
    dict
        Plain JSON values. `bars`, `events` and `notes` are what is drawn, `questions` what is unsure, the
        worst first; the rest as in the document.

    Raises
    ------
    DraftError
        If the rhythm cannot be written.
    """
    entries = entries or NoteEntries()
    meter, neck = draft.meter, draft.instrument.fretted
    strings = range(1, len(draft.instrument.tuning_midi) + 1)
    return {
        "source": {"file": draft.source.file, "duration_s": draft.source.duration_s},
        "instrument": {
            "name": draft.instrument.name,
            "capo": draft.instrument.capo,
            "highest_fret": neck.highest_fret,
            "open_midi": [neck.open_midi(string) for string in strings],
            "string_names": string_words(draft.instrument.tuning_midi),
        },
        "timing": {
            **encode(draft.timing),
            "beats": meter.beats,
            "unit": meter.unit,
            "tap": meter.tap,
        },
        "key": encode(draft.key) if draft.key is not None else None,
        "key_words": key_words(draft.key) if draft.key is not None else "",
        "chords": [{**encode(one), "start": float(one.start(meter))} for one in draft.chords],
        "phrases": [_phrase(draft, phrase) for phrase in draft.phrases],
        "issues": [
            {"message": issue.message, "start_s": issue.start_s}
            for issue in draft.issues
            if issue.code not in _ASKED
        ],
        "notes": [entries.of(note) for note in draft.notes],
        **score_entry(draft),
        "questions": [
            {
                "about": question.about,
                "aspect": question.aspect,
                "words": question.words,
                "alike": question.alike,
                "notes": list(question.notes),
            }
            for question in open_questions(draft)
        ],
    }


def score_entry(draft: Draft, first_bar: int | None = None, last_bar: int | None = None) -> dict[str, Any]:
    """Describe the written bars, all of them or some, and the events in them."""
    score = written_score(draft)
    bars = [
        bar
        for bar in score.bars
        if (first_bar is None or bar.number >= first_bar) and (last_bar is None or bar.number <= last_bar)
    ]
    return {
        "events": [
            {"notes": [note.id for note in event.notes], "graces": [note.id for note in event.graces]}
            for event in score.events
        ],
        "bars": [
            {
                "number": bar.number,
                "start": float(bar.start),
                "length": float(bar.length),
                "starts_s": draft.timing.time_of(bar.start),
                "ends_s": draft.timing.time_of(bar.start + bar.length),
                "tuplets": [[one.actual, one.normal] for one in bar.tuplets],
                "pieces": [
                    {
                        "value": piece.value.base,
                        "dots": piece.value.dots,
                        "event": piece.event,
                        "start": float(piece.start - bar.start),
                        "tied_in": piece.tied_in,
                        "tied_out": piece.tied_out,
                        "tuplet": piece.tuplet,
                    }
                    for piece in bar.pieces
                ],
            }
            for bar in bars
        ],
    }


def note_entry(note: DraftNote) -> dict[str, Any]:
    """Describe one note."""
    # The contour is shown close up only; it would be most of the work and most of the bytes.
    document = encode(replace(note, contour=_NO_CONTOUR))
    return {
        **{key: document[key] for key in _NOTE_KEYS},
        "name": pitch_words(note.pitch_midi),
        "where": beat_words(note.bar, note.beat),
        "how": techniques_words(note),
        "unsure": note.confidence.overall < UNSURE_BELOW,
    }


def _phrase(draft: Draft, phrase: Any) -> dict[str, Any]:
    notes = draft.phrase_notes(phrase)
    return {
        "id": phrase.id,
        "name": phrase.name,
        "remark": phrase.remark,
        "start_s": phrase.start_s,
        "end_s": phrase.end_s,
        "first_note": notes[0].id if notes else None,
        "alternatives": [{"words": one.words, "position": one.position} for one in phrase.alternatives],
    }
