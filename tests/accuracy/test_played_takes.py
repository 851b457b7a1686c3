"""Real played takes, drafted whole and held against marks made by eye, within the marks' stated exactness.

The marks (tests/data/takes/*.notes.json) say: picked onsets within 10 ms, slurs and slides within 30 ms. A
drafted onset is given the same 50 ms as everywhere plus the mark's own inexactness. A slide is marked where
the pitch leaves the old fret, a draft puts its onset where the new pitch is reached: `GLIDES_S` says
how long that takes, measured with librosa.pyin (until within 0.25 semitone).
"""

from __future__ import annotations

import functools
import json
from pathlib import Path
from typing import Any

import pytest

import transcriber
from tests.accuracy.drafters import draft_document

pytestmark = [pytest.mark.accuracy, pytest.mark.timeout(600)]

TAKES = Path(__file__).resolve().parents[1] / "data" / "takes"
NAMES = ("bend_slide_g", "slide_g", "glines3")
NOTE_TOLERANCE_S = 0.05
EXACTNESS_S = {"picked": 0.01}
OTHER_EXACTNESS_S = 0.03
# Share of the marked notes that must be found, and drafted notes allowed beyond them.
FLOORS = {"bend_slide_g": (1.0, 1), "slide_g": (1.0, 1), "glines3": (0.85, 3)}
# Seconds from the mark to the arrival, by take and mark.
GLIDES_S = {
    ("slide_g", 0.81): 0.135,
    ("slide_g", 1.29): 0.055,
    ("slide_g", 1.65): 0.05,
    ("slide_g", 2.07): 0.07,
    ("bend_slide_g", 2.77): 0.08,
}
BEND_TOLERANCE_SEMITONES = 0.5
Note = dict[str, Any]


@functools.cache
def marks(name: str) -> tuple[Note, ...]:
    """Marked notes that the marker was sure of."""
    notes = json.loads((TAKES / f"{name}.notes.json").read_text())["notes"]
    return tuple(note for note in notes if not note.get("unsure"))


@functools.cache
def unsure_times(name: str) -> tuple[float, ...]:
    """Onsets that may or may not be there."""
    notes = json.loads((TAKES / f"{name}.notes.json").read_text())["notes"]
    return tuple(note["onset_s"] for note in notes if note.get("unsure"))


@functools.cache
def drafted(name: str) -> tuple[Note, ...]:
    document = draft_document(TAKES / f"{name}.flac", transcriber.DraftSettings())
    return tuple(document["notes"])


@functools.cache
def pairs(name: str) -> tuple[tuple[Note, Note | None], ...]:
    """Each mark with the nearest drafted note of its pitch, each drafted note used once."""
    left = list(drafted(name))
    found = []
    for mark in marks(name):
        reach = NOTE_TOLERANCE_S + EXACTNESS_S.get(mark["sounded"], OTHER_EXACTNESS_S)
        arrival = mark["onset_s"] + GLIDES_S.get((name, mark["onset_s"]), 0.0)
        near = [
            note
            for note in left
            if note["pitch_midi"] == mark["pitch_midi"] and abs(note["onset_s"] - arrival) <= reach
        ]
        best = min(near, key=lambda note: abs(note["onset_s"] - arrival), default=None)
        if best is not None:
            left.remove(best)
        found.append((mark, best))
    return tuple(found)


def kinds(note: Note) -> list[str]:
    return [technique["kind"] for technique in note["techniques"]]


def in_a_trill(name: str, mark: Note) -> bool:
    """Whether a mark is one of the notes that a trill in the draft stands for: a trill is one entry."""
    return any(
        "trill" in kinds(note) and note["onset_s"] - 0.05 <= mark["onset_s"] <= note["end_s"]
        for note in drafted(name)
    )


@pytest.mark.parametrize("name", NAMES)
def test_marked_notes_are_found(name: str) -> None:
    missed = [mark["onset_s"] for mark, note in pairs(name) if note is None and not in_a_trill(name, mark)]
    assert 1 - len(missed) / len(marks(name)) >= FLOORS[name][0], f"missed at {missed}"


@pytest.mark.parametrize("name", NAMES)
def test_few_notes_beyond_the_marks(name: str) -> None:
    used = [note["id"] for _, note in pairs(name) if note is not None]
    beyond = [
        note["onset_s"]
        for note in drafted(name)
        if note["id"] not in used and all(abs(note["onset_s"] - time) > 0.1 for time in unsure_times(name))
    ]
    assert len(beyond) <= FLOORS[name][1], f"beyond the marks at {beyond}"


def test_two_bends_and_releases_of_nearly_a_whole_step() -> None:
    note = pairs("bend_slide_g")[0][1]
    assert note is not None
    assert kinds(note) == ["bend", "release", "bend", "release"]
    bends = [technique for technique in note["techniques"] if technique["kind"] == "bend"]
    marked = pairs("bend_slide_g")[0][0]["bends"]
    for bend, mark in zip(bends, marked, strict=True):
        assert bend["semitones"] == pytest.approx(mark["semitones"], abs=BEND_TOLERANCE_SEMITONES)


def test_slides_are_called_slides() -> None:
    slid = [note for name in NAMES for mark, note in pairs(name) if mark["sounded"] == "slide"]
    assert len(slid) >= 5
    right = [note for note in slid if note is not None and "slide" in kinds(note)]
    assert len(right) >= len(slid) - 1


def test_trill_between_neighbours_is_a_trill() -> None:
    """Marked are a picked 62, then 64 and 62 hammered and pulled four times in a third of a second."""
    (trill,) = [note for note in drafted("glines3") if "trill" in kinds(note)]
    assert trill["pitch_midi"] == 62
    assert trill["onset_s"] == pytest.approx(11.027, abs=0.05)
    assert trill["end_s"] == pytest.approx(11.69, abs=0.1)
    (technique,) = [each for each in trill["techniques"] if each["kind"] == "trill"]
    assert technique["to_fret"] - trill["fret"] == 2


def test_a_slow_alternation_is_written_out_as_slurs() -> None:
    notes = drafted("hammer_pull_high_e")
    slurred = [note for note in notes[1:] if {"hammer_on", "pull_off"} & set(kinds(note))]
    assert len(slurred) >= 0.9 * (len(notes) - 1)
    assert {note["pitch_midi"] for note in notes} == {76, 79}


def test_picked_notes_are_not_called_slurs() -> None:
    picked = [
        note
        for name in NAMES
        for mark, note in pairs(name)
        if mark["sounded"] == "picked" and note is not None
    ]
    called = [note["onset_s"] for note in picked if {"hammer_on", "pull_off", "slide"} & set(kinds(note))]
    assert len(called) <= 0.15 * len(picked), f"called slurred at {called}"


def test_vibrato_where_it_was_marked() -> None:
    marked = [note for mark, note in pairs("glines3") if mark.get("vibrato")]
    assert [note is not None and "vibrato" in kinds(note) for note in marked] == [True, True]
