"""What else may sound in a student's room: a drone, a quiet backing, a metronome."""

from __future__ import annotations

import numpy as np

from tests.accuracy.note_bank import SAMPLE_RATE_HZ
from tests.notation.bench_audio import CLICK_SOUNDS, with_clicks
from transcriber.practice.loops import strummed

SURROUNDINGS = ("metronome", "drone", "backing")
# Level of what sounds around, dB below the line's own.
DRONE_DB, BACKING_DB = -22.0, -22.0
CLICK_LEVEL = 0.08
BACKING = ((45, 52, 57, 60), (41, 48, 53, 57), (48, 52, 55, 60), (43, 50, 55, 59))
DRONES = (40, 45)


def surrounded(sound: np.ndarray, first_s: float, kind: str, beat_s: float, seed: int) -> np.ndarray:
    """Lay one of `SURROUNDINGS` under a sound whose first note begins at `first_s`; nothing for no word."""
    if kind == "metronome":
        times = np.arange(first_s % beat_s, len(sound) / SAMPLE_RATE_HZ - 0.1, beat_s)
        return with_clicks(sound, times, CLICK_SOUNDS[seed % len(CLICK_SOUNDS)], seed, CLICK_LEVEL)
    if kind == "drone":
        return _mixed(sound, _drone(len(sound), DRONES[seed % len(DRONES)]), DRONE_DB)
    if kind == "backing":
        return _mixed(sound, _backing(len(sound), 4 * beat_s), BACKING_DB)
    return sound


def _drone(count: int, pitch: int) -> np.ndarray:
    """An open string that is kept sounding: twelve partials that beat slowly."""
    times = np.arange(count) / SAMPLE_RATE_HZ
    hz = 440.0 * 2.0 ** ((pitch - 69) / 12)
    swell = 1.0 + 0.15 * np.sin(2 * np.pi * 0.23 * times)
    return swell * sum(np.sin(2 * np.pi * hz * k * times + k) / k for k in range(1, 13))


def _backing(count: int, each_s: float) -> np.ndarray:
    """Chords struck one after the other, from the start on."""
    out = np.zeros(count)
    for number, first in enumerate(np.arange(0, count, round(each_s * SAMPLE_RATE_HZ))):
        chord = strummed(BACKING[number % len(BACKING)], each_s, SAMPLE_RATE_HZ)[: count - first]
        out[first : first + len(chord)] += chord
    return out


def _mixed(sound: np.ndarray, other: np.ndarray, level_db: float) -> np.ndarray:
    gain = 10 ** (level_db / 20) * np.sqrt(np.mean(sound**2) / np.mean(other**2))
    return (sound + gain * other).astype(np.float32)
