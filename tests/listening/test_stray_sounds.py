"""Sounds of hands that are no notes: a finger that lands before the pick, a string brushed in silence."""

from __future__ import annotations

import numpy as np
import pytest

from tests.listening.sounds import GUITAR, Pluck, sound_of, take_of
from transcriber.listening import listen


def test_a_finger_that_lands_before_the_pick_is_no_note() -> None:
    """The string still sounds faintly when the next finger comes down, 90 ms before the pick."""
    wave = sound_of([Pluck((0.2, 0.6), (59, 59)), Pluck((0.69, 1.2), (60, 60))], 1.6)
    faint = sound_of([Pluck((0.2, 0.6, 0.6001, 0.69), (59, 59, 60, 60), 0.006)], 1.6)
    found = listen(take_of(wave + faint), GUITAR).notes
    assert [note.pitch_midi for note in found] == [59, 60]
    assert not any(note.techniques for note in found)


def test_a_hammered_note_before_a_pick_stays() -> None:
    slurred = Pluck((0.2, 0.499, 0.5, 0.6), (59, 59, 60, 60))
    found = listen(take_of(sound_of([slurred, Pluck((0.6, 1.2), (60, 60))], 1.5)), GUITAR).notes
    assert [note.pitch_midi for note in found] == [59, 60, 60]


@pytest.mark.parametrize("below_db", [31, 36])
def test_a_string_brushed_in_silence_is_no_note(below_db: float) -> None:
    line = sound_of([Pluck((0.9, 1.5), (52, 52), 0.3)], 1.8)
    brushed = sound_of([Pluck((0.3, 0.4), (40, 40), 0.3 * 10 ** (-below_db / 20))], 1.8)
    found = listen(take_of(line + brushed), GUITAR).notes
    assert [note.pitch_midi for note in found] == [52]


def test_a_faint_stroke_over_many_strings_is_no_chord() -> None:
    """A muted hand falls on the strings 35 dB below the line."""
    line = sound_of([Pluck((1.2, 1.8), (52, 52), 0.3)], 2.1)
    brushed = sum(sound_of([Pluck((0.3, 0.6), (m, m), 0.005)], 2.1) for m in (45, 50.4, 54.7, 59.2))
    heard = listen(take_of((line + np.asarray(brushed)).astype(np.float32)), GUITAR)
    assert "chord" not in {problem.code for problem in heard.problems}


def test_a_strummed_chord_is_told() -> None:
    line = sound_of([Pluck((1.2, 1.8), (52, 52), 0.3)], 2.1)
    chord = sum(sound_of([Pluck((0.3, 0.9), (m, m), 0.12)], 2.1) for m in (45, 50.4, 54.7, 59.2))
    heard = listen(take_of((line + np.asarray(chord)).astype(np.float32)), GUITAR)
    assert "chord" in {problem.code for problem in heard.problems}
