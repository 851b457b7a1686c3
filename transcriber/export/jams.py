"""JAMS, the JSON annotated music specification (Humphrey et al., ISMIR 2014): a take and its annotations.

Namespaces: `note_midi`, `pitch_contour`, `beat`, `tempo`, `key_mode`, `chord`, `segment_open`. None of them
knows string, fret, technique or written rhythm: these stand in the `sandbox` of the notes' annotation, in the
order of its data, in the draft's own words.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from statistics import fmean
from typing import Any

from transcriber.draft import Contour, Draft, DraftNote
from transcriber.export.chord_symbols import NONE, OTHER, parse_chord
from transcriber.export.plain_words import one_line, title_of
from transcriber.records.pitch import midi_to_hz
from transcriber.records.technique import Technique

JAMS_VERSION = "0.3.5"

CHORD_QUALITIES = {
    "major": "maj",
    "minor": "min",
    "dominant": "7",
    "major-seventh": "maj7",
    "minor-seventh": "min7",
    "major-minor": "minmaj7",
    "major-sixth": "maj6",
    "minor-sixth": "min6",
    "dominant-ninth": "9",
    "major-ninth": "maj9",
    "minor-ninth": "min9",
    "dominant-11th": "11",
    "major-11th": "maj11",
    "minor-11th": "min11",
    "dominant-13th": "13",
    "major-13th": "maj13",
    "minor-13th": "min13",
    "suspended-second": "sus2",
    "suspended-fourth": "sus4",
    "diminished": "dim",
    "diminished-seventh": "dim7",
    "half-diminished": "hdim7",
    "augmented": "aug",
    "augmented-seventh": "aug7",
    "power": "5",
}
"""Kinds of chords in the words of the namespace `chord`; a bass is left out, as it wants a degree."""

NO_CHORD, UNKNOWN_CHORD = "N", "X"


def jams_bytes(draft: Draft) -> bytes:
    """Write a draft as JAMS.

    Parameters
    ----------
    draft : Draft

    Returns
    -------
    bytes
        JSON in UTF-8, valid against the JAMS schema; the same for the same draft. All times are seconds in
        the recording.
    """
    pitched = [note for note in draft.notes if note.pitch_midi is not None]
    annotations = [
        _annotation(draft, "note_midi", _notes(pitched), {"notes": [_aside(note) for note in pitched]}),
        _annotation(draft, "pitch_contour", _contours(draft, pitched)),
        _annotation(draft, "beat", _beats(draft)),
        _annotation(draft, "tempo", [_tempo(draft)]),
    ]
    if draft.key is not None:
        whole = (0.0, draft.source.duration_s)
        name = f"{draft.key.tonic}:{draft.key.mode}"
        annotations.append(_annotation(draft, "key_mode", [_observation(*whole, name)]))
    if draft.chords:
        names = [one_line(chord.name) for chord in draft.chords]
        annotations.append(_annotation(draft, "chord", _chords(draft), {"names": names}))
    if draft.phrases:
        remarks = [phrase.remark for phrase in draft.phrases]
        annotations.append(_annotation(draft, "segment_open", _phrases(draft), {"remarks": remarks}))
    document = {
        "file_metadata": {
            "title": title_of(draft),
            "artist": "",
            "release": "",
            "duration": draft.source.duration_s,
            "identifiers": {"file": one_line(draft.source.file), "sha256": draft.source.sha256},
            "jams_version": JAMS_VERSION,
        },
        "annotations": annotations,
        "sandbox": _sandbox(draft),
    }
    return (json.dumps(document, ensure_ascii=False, indent=1, allow_nan=False) + "\n").encode("utf-8")


def _annotation(
    draft: Draft, namespace: str, data: Any, sandbox: dict[str, Any] | None = None
) -> dict[str, Any]:
    return {
        "namespace": namespace,
        "annotation_metadata": {
            "curator": {"name": "", "email": ""},
            "annotator": {},
            "version": draft.made_by.version,
            "corpus": "",
            "annotation_tools": one_line(f"transcriber {draft.made_by.version}"),
            "annotation_rules": "",
            "validation": "",
            "data_source": "program",
        },
        "data": data,
        "sandbox": sandbox or {},
        "time": 0.0,
        "duration": draft.source.duration_s,
    }


def _observation(
    time_s: float, duration_s: float, value: Any, confidence: float | None = None
) -> dict[str, Any]:
    return {
        "time": round(max(time_s, 0.0), 6),
        "duration": round(max(duration_s, 0.0), 6),
        "value": value,
        "confidence": confidence,
    }


def _notes(notes: Sequence[DraftNote]) -> list[dict[str, Any]]:
    return [
        _observation(note.onset_s, note.end_s - note.onset_s, note.pitch_midi, note.confidence.overall)
        for note in notes
    ]


def _aside(note: DraftNote) -> dict[str, Any]:
    """What the namespace of notes cannot say."""
    return {
        "id": note.id,
        "string": note.string,
        "fret": note.fret,
        "finger": note.finger,
        "bar": note.bar,
        "beat": str(note.beat),
        "length": str(note.length),
        "voice": note.voice,
        "velocity": note.velocity,
        "techniques": [_technique(one) for one in note.techniques],
        "remark": note.remark,
    }


def _technique(one: Technique) -> dict[str, Any]:
    return {key: value for key, value in vars(one).items() if value not in (None, False)}


def _contours(draft: Draft, notes: Sequence[DraftNote]) -> dict[str, list[Any]]:
    """All contours, each with the index of its note; where there is no pitch the frequency is 0."""
    dense: dict[str, list[Any]] = {"time": [], "duration": [], "value": [], "confidence": []}
    for index, note in enumerate(notes):
        for time_s, hertz in _hertz(draft, note, note.contour):
            dense["time"].append(time_s)
            dense["duration"].append(0.0)
            dense["value"].append({"index": index, "frequency": hertz, "voiced": hertz > 0})
            dense["confidence"].append(None)
    return dense


def _hertz(draft: Draft, note: DraftNote, contour: Contour) -> list[tuple[float, float]]:
    base = midi_to_hz(note.pitch_midi or 0, draft.instrument.reference_hz)
    return [
        (time_s, 0.0 if cents is None else round(base * 2 ** (cents / 1200), 4))
        for time_s, cents in zip(contour.times_s, contour.cents, strict=True)
    ]


def _beats(draft: Draft) -> list[dict[str, Any]]:
    first = draft.timing.first_beat
    return [
        _observation(time_s, 0.0, float((first + place) % draft.meter.beats + 1))
        for place, time_s in enumerate(draft.timing.beats_s)
    ]


def _tempo(draft: Draft) -> dict[str, Any]:
    """Tapped beats a minute; the namespace wants a confidence, which is that of the notes' rhythm."""
    sure = fmean([note.confidence.rhythm for note in draft.notes]) if draft.notes else 0.0
    return _observation(0.0, draft.source.duration_s, draft.timing.tempo_bpm, round(sure, 3))


def _chords(draft: Draft) -> list[dict[str, Any]]:
    found = []
    for chord in draft.chords:
        start = chord.start(draft.meter)
        begin, end = (draft.timing.time_of(place) for place in (start, start + chord.length))
        found.append(_observation(begin, end - max(begin, 0.0), chord_label(chord.name)))
    return found


def chord_label(name: str) -> str:
    """Name of a chord in the namespace `chord`; what it cannot say is X, no chord is N.

    Examples
    --------
    >>> chord_label("F#m7/C#"), chord_label("E7#9"), chord_label("N.C.")
    ('F#:min7', 'X', 'N')
    """
    symbol = parse_chord(name)
    if symbol.kind == NONE:
        return NO_CHORD
    if symbol.root is None or symbol.kind == OTHER:
        return UNKNOWN_CHORD
    return f"{symbol.root}:{CHORD_QUALITIES[symbol.kind]}"


def _phrases(draft: Draft) -> list[dict[str, Any]]:
    return [
        _observation(phrase.start_s, phrase.end_s - phrase.start_s, one_line(phrase.name) or phrase.id)
        for phrase in draft.phrases
    ]


def _sandbox(draft: Draft) -> dict[str, Any]:
    """What JAMS has no namespace for."""
    guitar = draft.instrument
    return {
        "instrument": {
            "name": guitar.name,
            "tuning_midi": list(guitar.tuning_midi),
            "capo": guitar.capo,
            "frets": guitar.frets,
            "reference_hz": guitar.reference_hz,
        },
        "meter": str(draft.meter),
        "swing": draft.timing.swing,
        "dead_notes": [
            {"time": note.onset_s, "duration": round(note.end_s - note.onset_s, 6), **_aside(note)}
            for note in draft.notes
            if note.pitch_midi is None
        ],
    }
