"""Short made sounds whose notes and gestures are known in closed form."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from transcriber.records.placed import Instrument
from transcriber.records.take import Take

RATE = 22_050
GUITAR = Instrument("standard", (64, 59, 55, 50, 45, 40))


@dataclass(frozen=True)
class Pluck:
    """One stroke: pitch in MIDI numbers at given times (linear between them), from a pick to its damping."""

    times_s: Sequence[float]
    midi: Sequence[float]
    level: float = 0.2


def sound_of(strokes: Sequence[Pluck], length_s: float, noise_db: float = -70.0) -> np.ndarray:
    """Strokes of decaying partials with a burst of noise at each pick, over a little hiss."""
    rng = np.random.default_rng(7)
    wave = 10 ** (noise_db / 20) * rng.normal(size=round(length_s * RATE))
    for stroke in strokes:
        first, last = round(stroke.times_s[0] * RATE), round(stroke.times_s[-1] * RATE)
        seconds = np.arange(last - first) / RATE
        midi = np.interp(seconds + stroke.times_s[0], stroke.times_s, stroke.midi)
        phase = 2 * np.pi * np.cumsum(440 * 2 ** ((midi - 69) / 12)) / RATE
        tone = sum(np.sin(k * phase) * np.exp(-(1 + 0.4 * k) * seconds) / k for k in range(1, 9))
        pick = rng.normal(size=len(seconds)) * np.exp(-seconds / 0.004) * 0.6
        fade = np.minimum(1, np.minimum(seconds / 0.001, (seconds[-1] - seconds) / 0.01))
        wave[first:last] += stroke.level * fade * (tone + pick)
    return wave.astype(np.float32)


def take_of(wave: np.ndarray, start_s: float = 0.0) -> Take:
    """A take of this sound."""
    return Take(wave, RATE, start_s, "made.wav", "0" * 64, RATE, start_s + len(wave) / RATE)
