"""What hands do, heard on sounds that are known: closed forms, and lines of single phenomena."""

import numpy as np
import pytest

from tests.listening.measure_phenomena import measure, technique_f
from tests.listening.phenomena import PHENOMENA, phenomenon_line
from transcriber.listening.attacks import AttackStrength
from transcriber.listening.short_window import ShortWindow
from transcriber.listening.signs import Sound
from transcriber.listening.trills import find_trills
from transcriber.listening.two_notes import is_one_pitch, mixture, spectrum_peaks

RATE = 22_050


def harmonic(f0_hz: float, seconds: float, partials: int = 8) -> np.ndarray:
    """A sum of partials with amplitudes 1/k."""
    times = np.arange(int(seconds * RATE)) / RATE
    return sum(np.sin(2 * np.pi * k * f0_hz * times + k) / k for k in range(1, partials + 1))


def hertz(midi: float) -> float:
    return 440.0 * 2 ** ((midi - 69) / 12)


@pytest.mark.parametrize("midi", [52.0, 57.25, 64.0, 71.5, 79.0])
def test_the_short_window_finds_the_pitch_of_a_tone_within_three_cents(midi):
    window = ShortWindow(harmonic(hertz(midi), 0.2).astype(np.float32), RATE, 440.0)
    found, depth = window.look(np.arange(1500, 2500, 64), midi + 2.0)
    assert np.abs(found - midi).max() < 0.03
    assert depth.max() < 0.02


def test_the_short_window_sees_a_step_within_twenty_milliseconds():
    step = 0.1
    sound = np.concatenate([harmonic(hertz(64), step), harmonic(hertz(67), step)]).astype(np.float32)
    contour, step_s = ShortWindow(sound, RATE, 440.0).contour(800, len(sound) - 800, 65.5)
    between = np.count_nonzero((np.abs(contour - 64) > 0.6) & (np.abs(contour - 67) > 0.6))
    assert between * step_s <= 0.02


def alternation(low: float, high: float, half_s: float, shape: str) -> Sound:
    """A contour that goes between two pitches, as a trill steps or as a vibrato swings."""
    frame_s = 128 / RATE
    times = np.arange(int(1.2 / frame_s)) * frame_s
    phase = np.sin(np.pi * times / half_s)
    wave = np.tanh(6 * phase) if shape == "steps" else phase
    quiet = np.zeros(len(times))
    strength = AttackStrength(quiet, quiet, quiet - 20, quiet - 50)
    return Sound((low + high) / 2 + (high - low) / 2 * wave, quiet + 1, strength, frame_s, 1.0, 0.0, 0.0)


@pytest.mark.parametrize("interval", [1, 2, 3])
def test_steps_between_two_frets_are_a_trill(interval):
    (trill,) = find_trills(alternation(64, 64 + interval, 0.08, "steps"))
    assert {trill.pitch, trill.pitch + trill.interval} == {64, 64 + interval}


@pytest.mark.parametrize("depth", [0.6, 1.0, 1.6])
@pytest.mark.parametrize("rate_hz", [4.0, 5.5, 7.0])
def test_a_swing_is_no_trill(depth, rate_hz):
    assert find_trills(alternation(64, 64 + depth, 0.5 / rate_hz, "swing")) == []


@pytest.mark.parametrize("interval", [3, 4, 5, 7, 8, 9])
@pytest.mark.parametrize("lower", [48, 55, 62])
def test_two_tones_are_told_apart(lower, interval):
    sound = harmonic(hertz(lower), 0.25) + 0.8 * harmonic(hertz(lower + interval), 0.25)
    peaks = spectrum_peaks(sound.astype(np.float32), RATE)
    found = mixture(peaks, 75.0, 1400.0)
    assert [round(69 + 12 * np.log2(hz / 440)) for hz in found.pair_hz] == [lower, lower + interval]
    assert found.pair_share - found.one_share > 0.17


@pytest.mark.parametrize("midi", [40, 45, 52, 60, 69, 76, 86])
def test_one_tone_is_one_pitch(midi):
    peaks = spectrum_peaks(harmonic(hertz(midi), 0.25).astype(np.float32), RATE)
    assert is_one_pitch(peaks, hertz(midi))


def test_every_phenomenon_makes_a_line_that_can_be_played():
    for name in PHENOMENA:
        line, _ = phenomenon_line(name, 3)
        assert len(line.notes) >= 18, name


@pytest.mark.parametrize("name", ["slide in from above", "trill", "grace", "palm mute", "dead note"])
def test_a_phenomenon_is_heard_on_the_synthesiser(name):
    table = measure((name,), ("synth",), 1)
    assert technique_f(table[name], PHENOMENA[name].kind) >= 0.75
    assert table[name].note_f >= 0.85


def test_a_plain_line_has_no_techniques():
    counts = measure(("plain",), ("synth",), 1)["plain"]
    assert (counts.note_f, counts.false_on_plain) == (1.0, 0)


@pytest.mark.accuracy
def test_phenomena_on_guitars_that_nothing_was_fitted_to():
    names = tuple(name for name in PHENOMENA if PHENOMENA[name].kind or PHENOMENA[name].above)
    table = measure(names, ("strat", "emily"), 1)
    floors = {"bend": 0.93, "vibrato": 0.95, "slide": 0.85, "slur": 0.8, "trill": 0.8, "dead_note": 0.9}
    for kind, floor in floors.items():
        pooled = [counts for name, counts in table.items() if PHENOMENA[name].kind == kind]
        mean = sum(technique_f(counts, kind) for counts in pooled) / len(pooled)
        assert mean >= floor, (kind, mean)
