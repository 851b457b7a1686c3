"""What is judged: the project itself, and an oracle that spoils the truth in known ways to test the bench."""

from __future__ import annotations

import copy
import json
import zlib
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np

import transcriber
from tests.accuracy.profiles import instrument_file
from tests.accuracy.takes import JudgedTake
from transcriber.draft import draft_bytes

Document = dict[str, Any]
Drafter = Callable[[JudgedTake, tuple[str, ...]], Document]

# How often the oracle spoils something, per note.
ORACLE_MISSES, ORACLE_ADDS = 0.04, 0.03
ORACLE_WRONG_PLACE, ORACLE_WRONG_LENGTH, ORACLE_WRONG_START = 0.15, 0.1, 0.05
ORACLE_DROPS_TECHNIQUE = 0.3


def draft_by_project(take: JudgedTake, given: tuple[str, ...]) -> Document:
    """Draft the take's file as a user would, with its meter and what is given; empty if nothing is heard."""
    settings = transcriber.DraftSettings(
        meter=take.composed.line.meter,
        tempo_bpm=take.composed.line.tempo_bpm if "tempo" in given else None,
        position=take.composed.position if "position" in given else None,
        instrument=str(instrument_file(take.spec.set_name)) if "profile" in given else "standard",
    )
    return draft_document(take.sound, settings)


def draft_document(sound: Path, settings: transcriber.DraftSettings) -> Document:
    """Draft a file; the document as it is written to disk."""
    try:
        draft = transcriber.draft_take(sound, settings)
    except transcriber.NoNotesError:
        return {"timing": {"tempo_bpm": 0.0, "meter": str(settings.meter or "4/4")}, "notes": []}
    document: Document = json.loads(draft_bytes(draft, sound.name))
    return document


def draft_by_oracle(take: JudgedTake, given: tuple[str, ...]) -> Document:
    """Spoil the truth; a spoilt note is mostly given a low confidence."""
    rng = np.random.default_rng(zlib.crc32(take.key.encode()))
    document = copy.deepcopy(take.truth)
    kept = []
    for note in document["notes"]:
        if rng.random() < ORACLE_MISSES:
            continue
        note["onset_s"] += float(rng.normal(0, 0.008))
        kept.append(note)
        spoilt = _spoil(note, rng)
        sure = rng.uniform(0.2, 0.8) if spoilt else rng.uniform(0.6, 1.0)
        note["confidence"] = {"overall": round(float(sure), 3)}
        if rng.random() < ORACLE_ADDS:
            extra = {**note, "onset_s": note["onset_s"] + 0.07, "pitch_midi": note["pitch_midi"] + 12}
            kept.append({**extra, "techniques": [], "confidence": {"overall": 0.3}})
    document["notes"] = kept
    return document


def _spoil(note: Document, rng: np.random.Generator) -> bool:
    spoilt = False
    if rng.random() < ORACLE_WRONG_PLACE:
        note["string"], note["fret"] = note["string"] + 1, note["fret"] + 5
        spoilt = True
    if rng.random() < ORACLE_WRONG_LENGTH:
        note["length"] = str(Fraction(note["length"]) / 2)
        spoilt = True
    if rng.random() < ORACLE_WRONG_START:
        note["beat"] = str(Fraction(note["beat"]) + Fraction(1, 12))
        spoilt = True
    if note["techniques"] and rng.random() < ORACLE_DROPS_TECHNIQUE:
        note["techniques"] = []
        spoilt = True
    return spoilt


DRAFTERS: dict[str, Drafter] = {"project": draft_by_project, "oracle": draft_by_oracle}
