"""Where notes may end: at places that the beat has, no triplet for the sake of a rest."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest

from transcriber.drafting import draft_take
from transcriber.notation.lengths import BeatGrids
from transcriber.settings import DraftSettings

SAMPLES = Path(__file__).parents[2] / "sample_audio_generated"
TICKS = 360
QUARTERS, THIRDS = ("1/4", "3/4"), ("1/3", "2/3")


def ends(starts: str, beat: int, compound: bool = False) -> set[str]:
    """Quarters and thirds of a beat at which a note may end."""
    grids = BeatGrids([Fraction(start) for start in starts.split()], compound)
    return {each for each in QUARTERS + THIRDS if grids.has(round((beat + Fraction(each)) * TICKS))}


@pytest.mark.parametrize(
    ("starts", "beat", "found"),
    [
        ("0 1/2 3/4", 0, QUARTERS),
        ("0 1/3 2/3", 0, THIRDS),
        ("0 2/3", 0, THIRDS),
        ("0 1/2 1", 0, QUARTERS),
        ("0 1", 0, QUARTERS),
        # Nothing begins within the beat: those beside it tell, both if they differ.
        ("0 1/3 2/3 1 2", 1, THIRDS),
        ("0 1/3 2/3 1 2 9/4", 1, QUARTERS + THIRDS),
        # Sixteenth triplets that give way to plain sixteenths within a beat.
        ("0 1/6 1/3 1/2 3/4", 0, ("1/3", "3/4")),
        # Five in a beat: a note lasts to the next, or to the half or the whole beat.
        ("0 1/5 2/5 3/5 4/5", 0, ()),
    ],
)
def test_a_note_ends_where_its_beat_has_a_place(starts, beat, found):
    assert ends(starts, beat) == set(found)


def test_a_compound_beat_has_three_parts():
    assert ends("0 1", 0, compound=True) == set(THIRDS)
    assert ends("0 1/4 1/2 3/4", 0, compound=True) == set(QUARTERS)


def test_lifted_and_dead_notes_among_sixteenths_make_no_triplets():
    draft = draft_take(SAMPLES / "ticket_window.flac", DraftSettings(tempo_bpm=100.0))
    assert {note.length.denominator for note in draft.notes} <= {1, 2, 4, 8}
