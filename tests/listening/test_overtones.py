"""A note whose odd partials sink and come back is one note; octaves that are played stay notes."""

from __future__ import annotations

import numpy as np
import pytest

from tests.listening.sounds import GUITAR, RATE, Pluck, sound_of, take_of
from transcriber.listening import listen


def beating(midi: float, length_s: float, from_s: float, to_s: float) -> np.ndarray:
    """A long note whose odd partials fade away slowly, stay out and come back slowly, as beats do."""
    seconds = np.arange(round(length_s * RATE)) / RATE
    f0 = 440 * 2 ** ((midi - 69) / 12)
    sunk = 10 ** (np.interp(seconds, [from_s, from_s + 1.8, to_s, to_s + 1.8], [0, -60, -60, 0]) / 20)
    decay = np.exp(-0.6 * seconds) * np.minimum(1, seconds / 0.002)
    odd = sum(np.sin(2 * np.pi * k * f0 * seconds) / k for k in (1, 3, 5)) * sunk
    even = sum(np.sin(2 * np.pi * k * f0 * seconds) / k for k in (2, 4, 6))
    rng = np.random.default_rng(3)
    wave = np.concatenate([np.zeros(RATE // 3), 0.3 * decay * (odd + even)])
    return (wave + 1e-4 * rng.normal(size=len(wave))).astype(np.float32)


@pytest.mark.parametrize("midi", [50, 57, 62])
def test_a_fundamental_that_sinks_and_returns_makes_no_notes(midi: int) -> None:
    found = listen(take_of(beating(midi, 8.0, 1.0, 4.5)), GUITAR).notes
    assert [note.pitch_midi for note in found] == [midi]


@pytest.mark.parametrize("interval", [12, 19, 24])
def test_leaps_that_are_played_stay(interval: int) -> None:
    line = [45, 45 + interval, 45, 45 + interval]
    strokes = [Pluck((0.3 + 0.4 * i, 0.7 + 0.4 * i), (m, m)) for i, m in enumerate(line)]
    found = listen(take_of(sound_of(strokes, 2.2)), GUITAR).notes
    assert [note.pitch_midi for note in found] == line


def test_an_octave_over_a_string_that_rings_on_stays() -> None:
    strokes = [Pluck((0.3, 2.0), (50, 50), 0.3), Pluck((1.0, 2.0), (62, 62), 0.2)]
    found = listen(take_of(sound_of(strokes, 2.4)), GUITAR).notes
    assert len(found) == 2
