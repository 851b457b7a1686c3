"""A draft with twenty planted errors, and the line it should have been: what a teacher has to correct.

The line is one of the project's own samples as it drafts it. The errors are of the kinds and in about the
shares that the accuracy bench finds; seventeen are unsure as a draft's errors mostly are, three are not.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from review_samples import drafted, sureness

from transcriber.draft import Draft, DraftNote
from transcriber.draft.apply_note import rebased
from transcriber.records.technique import Technique

TAKE, TEMPO_BPM = "wheelhouse_rattle.flac", 88.0
UNSURE = 0.3
# One string lower at the same pitch, five times alike; then two places of their own.
PLACES = {
    "n006": (3, 16), "n012": (3, 16), "n026": (3, 16), "n044": (3, 16), "n055": (3, 16), "n030": (5, 17),
}  # fmt: skip
SLURS_LOST = ("n009", "n011", "n037")
SLUR_MADE = "n020"
RHYTHMS = {"n003": Fraction(9, 4), "n048": Fraction(13, 4)}
OCTAVES = {"n034": (1, 15), "n051": (2, 15)}
PARTED = ("n046", "n073")


def right() -> Draft:
    """The line as it should be."""
    return drafted(TAKE, TEMPO_BPM)


def with_errors() -> Draft:
    """The line with its twenty errors."""
    draft = right()
    notes = {note.id: note for note in draft.notes}
    for note_id, (string, fret) in PLACES.items():
        notes[note_id] = _unsure(notes[note_id], "place", string=string, fret=fret, alternatives=())
    for note_id in SLURS_LOST:
        notes[note_id] = _unsure(notes[note_id], "technique", techniques=())
    notes[SLUR_MADE] = _unsure(notes[SLUR_MADE], "technique", techniques=(Technique("pull_off"),))
    bend = notes["n025"].techniques[0]
    low = (replace(bend, semitones=1.0),)
    notes["n025"] = _unsure(notes["n025"], "technique", techniques=low)
    notes["n064"] = _unsure(notes["n064"], "technique", techniques=())
    # The draft is sure of these two, and of the note it lacks.
    notes["n029"] = replace(notes["n029"], techniques=())
    notes["n060"] = replace(notes["n060"], length=Fraction(1, 8))
    for note_id, beat in RHYTHMS.items():
        note = notes[note_id]
        length = note.length + note.beat - beat
        notes[note_id] = _unsure(note, "rhythm", beat=beat, length=length)
        before = notes[f"n{int(note_id[1:]) - 1:03d}"]
        notes[before.id] = replace(before, length=before.length - (note.beat - beat))
    for note_id, (string, fret) in OCTAVES.items():
        note = notes[note_id]
        contour = rebased(note.contour, note.pitch_midi, note.pitch_midi + 12)
        notes[note_id] = _unsure(
            note, "pitch", pitch_midi=note.pitch_midi + 12, string=string, fret=fret, contour=contour,
            alternatives=(),
        )  # fmt: skip
    for note_id in PARTED:
        notes.update(_parted(notes[note_id]))
    del notes["n070"]
    ordered = sorted(notes.values(), key=lambda note: note.onset_s)
    return replace(draft, notes=tuple(ordered), shapes=())


def _unsure(note: DraftNote, aspect: str, **fields) -> DraftNote:
    return replace(note, confidence=sureness(**{aspect: UNSURE}), **fields)


def _parted(note: DraftNote) -> dict[str, DraftNote]:
    middle = round((note.onset_s + note.end_s) / 2, 4)
    half = note.length / 2
    first = replace(note, end_s=middle, length=half, techniques=(), contour=_empty(note))
    second = _unsure(
        note,
        "onset",
        id=f"{note.id}b",
        onset_s=middle,
        beat=note.beat + half,
        length=half,
        contour=_empty(note),
    )
    return {first.id: first, second.id: second}


def _empty(note: DraftNote):
    return replace(note.contour, times_s=(), cents=())


def differences(draft: Draft, wanted: Draft) -> list[tuple[str, str]]:
    """Errors still there: (id of the note, what is wrong), in order."""
    found = []
    taken = set()
    for truth in wanted.notes:
        near = [
            note for note in draft.notes if abs(note.onset_s - truth.onset_s) < 0.06 and note.id not in taken
        ]
        if not near:
            found.append((truth.id, "missing"))
            continue
        note = min(near, key=lambda one: abs(one.onset_s - truth.onset_s))
        taken.add(note.id)
        if (note.pitch_midi, note.string, note.fret) != (truth.pitch_midi, truth.string, truth.fret):
            found.append((note.id, "pitch or place"))
        if (note.bar, note.beat, note.length) != (truth.bar, truth.beat, truth.length):
            found.append((note.id, "rhythm"))
        if signs(note) != signs(truth):
            found.append((note.id, "technique"))
    found += [(note.id, "extra") for note in draft.notes if note.id not in taken]
    return found


def signs(note: DraftNote) -> list[tuple[str, float | None]]:
    """Techniques by kind and written amount."""
    return sorted(
        (one.kind, None if one.semitones is None else round(2 * one.semitones) / 2) for one in note.techniques
    )
