"""Are attacks smeared? ``python -m tests.practice.measure_stretch``: slow against original.

Rise: from 10 to 90 % of the attack's height in a 3 ms envelope of the band above 1 kHz, where the pick is
heard. Pre-echo: loudest level of that band from 25 to 5 ms before the attack against the attack's peak, minus
the same of the original. The phase vocoder is librosa's, at its usual settings.
"""

from __future__ import annotations

import numpy as np
from scipy import signal

from tests.accuracy.handwritten import handwritten
from tests.accuracy.playing import play
from tests.accuracy.splice import splice
from transcriber.practice.stretch import kept_around, stretched

RATE_HZ = 44100
SPEEDS = (0.5, 0.7, 0.85)


def envelope(sound: np.ndarray) -> np.ndarray:
    """Level of the band above 1 kHz, smoothed over 3 ms."""
    high = signal.sosfiltfilt(signal.butter(4, 1000, "highpass", fs=RATE_HZ, output="sos"), sound)
    width = int(0.003 * RATE_HZ)
    return np.sqrt(np.convolve(high**2, np.ones(width) / width, "same"))


def attack(level: np.ndarray, at_s: float) -> tuple[float, float]:
    """Rise time in ms and pre-echo in dB at an attack."""
    at = round(at_s * RATE_HZ)
    part = level[at - int(0.015 * RATE_HZ) : at + int(0.025 * RATE_HZ)]
    peak = int(np.argmax(part))
    low = float(part[: peak + 1].min())
    height = part[peak] - low
    below = np.flatnonzero(part[: peak + 1] <= low + 0.1 * height)
    above = np.flatnonzero(part[: peak + 1] >= low + 0.9 * height)
    rise = 1000 * (above[above >= below[-1]][0] - below[-1]) / RATE_HZ
    before = level[at - int(0.025 * RATE_HZ) : at - int(0.005 * RATE_HZ)].max()
    return float(rise), float(20 * np.log10(before / part[peak] + 1e-9))


def attacks_of(number: int) -> tuple[np.ndarray, list[float], list[float]]:
    """A line on real notes, the times of its notes, and of those that are picked and clear of others."""
    performance = play(handwritten()[number].line, 3)
    onsets = [note.onset_s for note in performance.notes]
    picked = [
        note.onset_s
        for before, note in zip(performance.notes, performance.notes[1:], strict=False)
        if note.picked and note.onset_s - before.onset_s > 0.12
    ]
    return splice(performance, "strat").astype(np.float32), onsets, picked


def compare(method, numbers=(1, 3, 5, 7)) -> dict[float, tuple[float, float, float]]:
    """Median change of rise time (ms), of pre-echo (dB) and its 90th percentile, by speed."""
    told = {}
    for speed in SPEEDS:
        rises, echoes = [], []
        for number in numbers:
            sound, onsets, picked = attacks_of(number)
            slow = method(sound, onsets, speed)
            level, other = envelope(sound), envelope(slow)
            for at in picked:
                was, now = attack(level, at), attack(other, at / speed)
                rises.append(now[0] - was[0])
                echoes.append(now[1] - was[1])
        told[speed] = (
            float(np.median(rises)),
            float(np.median(echoes)),
            float(np.percentile(echoes, 90)),
        )
    return told


def anchored(sound, onsets, speed):
    """What the program does."""
    return stretched(sound, RATE_HZ, speed, kept_around(onsets))


def plain(sound, onsets, speed):
    """Waveform similarity alone."""
    return stretched(sound, RATE_HZ, speed)


def vocoder(sound, onsets, speed):
    """librosa's phase vocoder."""
    import librosa

    return librosa.effects.time_stretch(sound, rate=speed)


def main() -> None:
    """Print the table."""
    print(f"{'method':<20}{'speed':>7}{'rise, ms':>10}{'pre-echo, dB':>14}{'its 90 %':>10}")
    for name, method in (("attacks kept", anchored), ("WSOLA alone", plain), ("phase vocoder", vocoder)):
        for speed, (rise, echo, worst) in compare(method).items():
            print(f"{name:<20}{speed:>7.0%}{rise:>+10.1f}{echo:>+14.1f}{worst:>+10.1f}")


if __name__ == "__main__":
    main()
