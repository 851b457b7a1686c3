"""One real note tells its string: floors on recording 2 of a guitar measured from recording 1."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.fretboard.string_of_notes import Note, standard_strings, strat_notes
from tests.fretboard.string_profiled import DATA, measure_from, strings_from, tally
from transcriber.fretboard.stiffness import StringSet

HEAVY_SET = (0.013, 0.017, 0.026, 0.036, 0.046, 0.056)


@pytest.fixture(scope="module")
def tried() -> list[Note]:
    return strat_notes(DATA, 2)


@pytest.fixture(scope="module")
def profiled() -> StringSet:
    return strings_from(measure_from(strat_notes(DATA, 1)))


@pytest.mark.parametrize("length_s", [0.25, 0.5])
def test_a_note_of_a_measured_guitar_tells_its_string(
    tried: list[Note], profiled: StringSet, length_s: float
) -> None:
    told = tally(tried, profiled, length_s)
    assert told.notes >= 25
    assert told.right >= 0.93 * told.notes


def test_a_note_of_an_unmeasured_guitar_mostly_does(tried: list[Note]) -> None:
    told = tally(tried, standard_strings(), 0.25)
    assert told.right >= 0.70 * told.notes


def test_a_measured_guitar_needs_no_gauges(tried: list[Note], profiled: StringSet) -> None:
    """Wrong gauges mislead where nothing was measured and change nothing where everything was."""
    wrong = replace(standard_strings(), gauges_in=HEAVY_SET)
    misled = tally(tried, wrong, 0.5)
    assert misled.right < 0.8 * misled.notes
    assert tally(tried, replace(profiled, gauges_in=HEAVY_SET), 0.5) == tally(tried, profiled, 0.5)
