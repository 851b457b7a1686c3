"""A take and its draft for the tests of the page: rendered and drafted once, then changed on purpose."""

from __future__ import annotations

import functools
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

from transcriber.draft import CONFIDENCE_ASPECTS, Draft, draft_bytes
from transcriber.draft.assemble import with_overall
from transcriber.drafting import draft_take
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


def repeated(draft: Draft, times: int) -> Draft:
    """A draft that plays its line again and again: long, for the sake of being long."""
    bars = max(note.bar for note in draft.notes)
    span = Fraction(bars * draft.meter.beats)
    period = draft.timing.time_of(span) - draft.timing.time_of(Fraction(0))
    notes = []
    for number in range(times):
        late = number * period

        def moved(time_s, late=late):
            return None if time_s is None else round(time_s + late, 4)

        for note in draft.notes:
            techniques = tuple(
                replace(one, start_s=moved(one.start_s), end_s=moved(one.end_s)) for one in note.techniques
            )
            contour = replace(note.contour, times_s=tuple(map(moved, note.contour.times_s)))
            notes.append(
                replace(
                    note,
                    id=f"n{len(notes) + 1:04d}",
                    onset_s=moved(note.onset_s),
                    end_s=moved(note.end_s),
                    bar=note.bar + number * bars,
                    techniques=techniques,
                    contour=contour,
                )
            )
    notes.sort(key=lambda note: note.onset_s)
    beats = tuple(round(draft.timing.time_of(Fraction(beat)), 4) for beat in range(times * int(span)))
    return replace(
        draft,
        notes=tuple(notes),
        phrases=(),
        shapes=(),
        timing=replace(draft.timing, beats_s=beats, first_beat=0),
        source=replace(draft.source, duration_s=round(period * times + 10.0, 3)),
    )
