"""Lines and profile of the measured guitar share no recording."""

from __future__ import annotations

import pytest

from tests.accuracy.note_bank import STRAT_FIRST, choose, index_rows
from tests.accuracy.profiles import PROFILE_FRETS, PROFILE_RECORDING, instrument_file
from tests.fretboard.string_of_notes import strat_notes
from tests.fretboard.string_profiled import DATA
from transcriber.fretboard import read_instrument


def test_lines_are_made_of_recording_1_alone() -> None:
    names = [row["file"] for row in index_rows(STRAT_FIRST, "picked")]
    assert len(names) >= 130
    assert all(name.endswith("_t1.flac") for name in names)
    for string, fret, pitch in [(1, 3, 67), (3, 8, 63), (6, 12, 52), (2, 0, 59)]:
        chosen = [choose(STRAT_FIRST, pitch, string, fret, 90, "picked", turn).name for turn in range(3)]
        assert all(name.endswith("_t1.flac") for name in chosen)


def test_the_guitar_is_measured_from_recording_2() -> None:
    assert PROFILE_RECORDING == 2
    places = {(note.string, note.fret) for note in strat_notes(DATA, 2)}
    for string in range(1, 7):
        # One note of string 6 is not in the set.
        assert sum((string, fret) in places for fret in PROFILE_FRETS) >= 2
    instrument = read_instrument(instrument_file(STRAT_FIRST))
    assert instrument.measured is not None
    assert all(string is not None and string.log10_b is not None for string in instrument.measured)


def test_other_guitars_have_no_profile() -> None:
    with pytest.raises(ValueError, match="emily"):
        instrument_file("emily")
