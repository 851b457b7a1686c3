"""An answer to an attempt, read back from the document that was written of it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from transcriber.errors import DraftError
from transcriber.practice.report import (
    Advice,
    CheckReport,
    ExtraNote,
    NoteReport,
    PhraseReport,
    PlayedPitch,
    Stop,
    TechniqueReport,
)
from transcriber.practice.words import FORMAT_VERSION


def read_answer(path: Path) -> tuple[CheckReport, dict[str, Any]]:
    """Read ``ATTEMPT.check.json``.

    Returns
    -------
    CheckReport
    dict
        The whole document.

    Raises
    ------
    DraftError
        If it cannot be read, is no such document, or is newer than this program.
    """
    try:
        document = json.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise DraftError(f"'{path}' cannot be read: {error.strerror or error}") from error
    except (ValueError, RecursionError) as error:
        raise DraftError(f"'{path}' is not the answer to an attempt: it is not JSON") from error
    version = document.get("format_version") if isinstance(document, dict) else None
    if isinstance(version, int) and version > FORMAT_VERSION:
        raise DraftError(
            f"'{path}' is of version {version}; this program reads up to {FORMAT_VERSION}; use a newer one"
        )
    try:
        report = _report(document)
        for part in ("attempt", "reference"):
            if not all(isinstance(document[part][key], str) for key in ("file", "sha256")):
                raise TypeError(part)
    except (KeyError, TypeError, AttributeError, ValueError) as error:
        raise DraftError(
            f"'{path}' is not the answer to an attempt ({error}); "
            "make one with: transcriber check ATTEMPT DRAFT"
        ) from error
    return report, document


def _report(document: dict[str, Any]) -> CheckReport:
    return CheckReport(
        tolerance=str(document["tolerance"]["name"]),
        tempo_bpm=_number(document["tempo_bpm"]),
        tempo_ratio=_number(document["tempo_ratio"]),
        transposed=int(document["transposed_semitones"]),
        tuning_cents=float(document["tuning_cents"]),
        notes=tuple(_note(each) for each in document["notes"]),
        extra=tuple(ExtraNote(**each) for each in document["extra"]),
        stops=tuple(Stop(**each) for each in document["stops"]),
        restarts=int(document["summary"]["restarts"]),
        phrases=tuple(PhraseReport(**each) for each in document["phrases"]),
        advice=tuple(Advice(**{**each, "notes": tuple(each["notes"])}) for each in document["work_on"]),
    )


def read_pitches(document: dict[str, Any]) -> tuple[PlayedPitch, ...]:
    """Read what was heard in an attempt; nothing from an answer that was written before it was kept.

    Raises
    ------
    DraftError
        If it is damaged.
    """
    try:
        return tuple(_pitch(each) for each in document.get("pitches", ()))
    except (KeyError, TypeError, AttributeError, ValueError) as error:
        raise DraftError(
            f"the pitches in the answer to '{document['attempt']['file']}' are damaged ({error}); "
            "make it anew with: transcriber check ATTEMPT DRAFT --force"
        ) from error


def _pitch(given: dict[str, Any]) -> PlayedPitch:
    times_s = tuple(float(time_s) for time_s in given["times_s"])
    cents = tuple(_number(value) for value in given["cents"])
    if len(times_s) != len(cents):
        raise ValueError("times_s and cents are not of one length")
    return PlayedPitch(float(given["onset_s"]), int(given["pitch_midi"]), times_s, cents)


def _note(given: dict[str, Any]) -> NoteReport:
    for key in ("attempt_onset_s", "timing_ms"):
        _number(given[key])
    techniques = tuple(TechniqueReport(**each) for each in given["techniques"])
    return NoteReport(**{**given, "techniques": techniques, "remarks": tuple(given["remarks"])})


def _number(value: Any) -> float | None:
    return None if value is None else float(value)
