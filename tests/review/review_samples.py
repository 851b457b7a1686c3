"""A take and its draft for the tests of the page: rendered and drafted once, then changed on purpose."""

from __future__ import annotations

import functools
from dataclasses import replace
from pathlib import Path

from transcriber.draft import Draft, draft_bytes
from transcriber.draft.assemble import with_overall
from transcriber.draft.document import CONFIDENCE_ASPECTS
from transcriber.pipeline import draft_take
from transcriber.settings import DraftSettings

SAMPLES = Path(__file__).resolve().parents[2] / "sample_audio_generated"
TAKE = "diesel_and_rain.flac"


@functools.cache
def drafted(take: str = TAKE, tempo_bpm: float = 84.0) -> Draft:
    """The draft of a shipped sample, sure of everything."""
    draft = draft_take(SAMPLES / take, DraftSettings(tempo_bpm=tempo_bpm))
    notes = tuple(replace(note, confidence=sureness()) for note in draft.notes)
    phrases = tuple(replace(phrase, alternatives=()) for phrase in draft.phrases)
    return replace(draft, notes=notes, issues=(), phrases=phrases)


def sureness(**aspects: float):
    """Confidence with every aspect sure but those told."""
    return with_overall({**dict.fromkeys(CONFIDENCE_ASPECTS, 1.0), **aspects})


def with_note(draft: Draft, note_id: str, **fields) -> Draft:
    """Change a note of a draft as the machine might have had it."""
    notes = tuple(replace(note, **fields) if note.id == note_id else note for note in draft.notes)
    return replace(draft, notes=notes)


def write(draft: Draft, folder: Path, name: str = "line", take: bool = True) -> Path:
    """Write a draft and its take into a folder; return the draft's path."""
    path = folder / f"{name}.draft.json"
    path.write_bytes(draft_bytes(draft))
    if take:
        (folder / draft.source.file).write_bytes((SAMPLES / draft.source.file).read_bytes())
    return path
