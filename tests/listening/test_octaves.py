"""Octave slips after a slur: the pitch comes down where the sound repeats only at the lower one's period."""

from __future__ import annotations

import numpy as np
import pytest

from transcriber.listening.octaves import without_octave_slips
from transcriber.listening.short_window import ShortWindow

RATE, HOP, REFERENCE_HZ = 22_050, 128, 440.0


def tone(midi: float, seconds: float, odd: float, even: float) -> np.ndarray:
    """Eight partials at one pitch, odd ones and even ones at levels of their own."""
    time_s = np.arange(round(seconds * RATE)) / RATE
    f0_hz = REFERENCE_HZ * 2 ** ((midi - 69) / 12)
    levels = [(odd if k % 2 else even) / k for k in range(1, 9)]
    return sum(level * np.sin(2 * np.pi * k * f0_hz * time_s + k) for k, level in enumerate(levels, 1))


def seen(first: float, second: float, odd: float, tracked: float) -> np.ndarray:
    """What becomes of the pitch tracked in a second tone, whose odd partials have a level of their own."""
    wave = np.concatenate([tone(first, 0.2, 1.0, 1.0), tone(second, 0.2, odd, 1.0)]).astype(np.float32)
    window = ShortWindow(wave, RATE, REFERENCE_HZ)
    half = round(0.2 * RATE / HOP)
    pitch = np.full(2 * half, float(first))
    pitch[half:] = tracked
    pitch[half - 2 : half + 3] = np.nan
    return without_octave_slips(window, pitch, HOP)[half + 3 :]


@pytest.mark.parametrize(("first", "second"), [(55, 57), (61, 59), (48, 52), (64, 62)])
def test_a_slurred_note_with_weak_odd_partials_comes_down(first, second):
    assert np.allclose(seen(first, second, 0.3, second + 12), second)


@pytest.mark.parametrize("odd", [0.3, 1.0])
def test_a_note_that_was_tracked_right_stays(odd):
    assert np.allclose(seen(55, 57, odd, 57), 57)


def test_a_true_octave_stays():
    """Nothing of the lower note is in the sound."""
    assert np.allclose(seen(55, 69, 1.0, 69), 69)


def test_a_leap_that_no_slur_makes_is_left_alone():
    """From far away it may be an octave played over a string that rings."""
    assert np.allclose(seen(45, 57, 0.3, 69), 69)
    assert np.allclose(seen(57, 57, 0.3, 69), 69)
