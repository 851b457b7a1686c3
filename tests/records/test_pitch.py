"""MIDI numbers, frequencies and names of pitches."""

import re
from pathlib import Path

import librosa
import numpy as np
import pytest

import transcriber
from transcriber.records.pitch import hz_to_midi, midi_to_hz, open_string_names, pitch_name

PACKAGE = Path(transcriber.__file__).parent
# 440 * 2 ** ((midi - 69) / 12), in whatever way it is written out.
WRITTEN_OUT = re.compile(r"2(\.0)? ?\*\* ?\(.*- ?69")


def test_known_frequencies():
    # ISO 16:1975 fixes A4; the open strings of a guitar follow from equal temperament (common practice).
    assert midi_to_hz(69) == 440.0
    for midi, hz in ((40, 82.41), (45, 110.0), (50, 146.83), (55, 196.0), (59, 246.94), (64, 329.63)):
        assert midi_to_hz(midi) == pytest.approx(hz, abs=0.005)
        assert pitch_name(midi) == librosa.midi_to_note(midi, unicode=False)


def test_arrays_and_numbers_agree_with_an_independent_library():
    midi = np.linspace(20.0, 100.0, 161)
    assert midi_to_hz(midi) == pytest.approx(librosa.midi_to_hz(midi), rel=1e-12)
    assert midi_to_hz(midi, 442.0)[98] == midi_to_hz(69.0, 442.0) == 442.0
    assert isinstance(midi_to_hz(np.float64(60.0)), float)
    assert [hz_to_midi(float(hz)) for hz in midi_to_hz(midi)] == pytest.approx(list(midi))


def test_the_formula_is_written_in_one_place():
    found = [
        str(path.relative_to(PACKAGE))
        for path in sorted(PACKAGE.rglob("*.py"))
        if WRITTEN_OUT.search(path.read_text(encoding="utf-8"))
    ]
    assert found == []


@pytest.mark.parametrize(
    ("open_midi", "names"),
    [
        ((39, 44, 49, 54, 58, 63), "Eb Ab Db Gb Bb Eb"),
        ((37, 44, 49, 54, 58, 63), "Db Ab Db Gb Bb Eb"),
        ((40, 47, 52, 56, 59, 64), "E B E G# B E"),
        ((37, 42, 47, 52, 56, 61), "C# F# B E G# C#"),
        ((38, 45, 50, 54, 57, 62), "D A D F# A D"),
    ],
)
def test_open_strings_are_named_in_sharps_or_in_flats_never_in_both(open_midi, names):
    # Common practice: half a tone down is told in flats, open E and C sharp standard in sharps.
    assert open_string_names(open_midi) == tuple(names.split())
