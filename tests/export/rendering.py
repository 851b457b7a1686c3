"""MIDI files as sound: fluidsynth with a General MIDI bank. Nothing is ever fitted on that sound."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest
import soundfile

BANKS = (
    Path("/usr/share/sounds/sf2/FluidR3_GM.sf2"),
    Path("/usr/share/sounds/sf2/TimGM6mb.sf2"),
    Path("/usr/share/sounds/sf2/default-GM.sf2"),
)
RATE = 44100


def renderer() -> tuple[str, Path]:
    """Program and bank; skips the test where either is absent."""
    program = shutil.which("fluidsynth")
    bank = next((path for path in BANKS if path.is_file()), None)
    if program is None or bank is None:
        pytest.skip("no fluidsynth or General MIDI bank here (Debian: fluidsynth, timgm6mb-soundfont)")
    return program, bank


def render(data: bytes, folder: Path) -> np.ndarray:
    """Mono sound of a MIDI file, dry: no reverb, no chorus."""
    program, bank = renderer()
    midi, sound = folder / "line.mid", folder / "line.wav"
    midi.write_bytes(data)
    dry = ["-ni", "-R", "0", "-C", "0", "-g", "0.5", "-r", str(RATE), "-F", str(sound)]
    subprocess.run([program, *dry, str(bank), str(midi)], check=True, capture_output=True, timeout=60)
    samples, rate = soundfile.read(sound)
    assert rate == RATE
    return samples.mean(axis=1)


def cents_off(samples: np.ndarray, times: np.ndarray, midi_pitch: np.ndarray, span_s: float) -> np.ndarray:
    """How far the sound lies from an expected pitch, in cents, at each of some times.

    The sound is turned back by the phase of the expected pitch, so that its fundamental stands still; the
    speed at which it still turns, over windows of `span_s`, is the error (heterodyne analysis).

    Parameters
    ----------
    samples : ndarray
    times : ndarray
        Seconds, even steps of the sample rate: where `midi_pitch` is given.
    midi_pitch : ndarray
        Expected pitch there.
    span_s : float
        Length of the window, several periods of the note.
    """
    first = round(times[0] * RATE)
    hertz = 440.0 * 2 ** ((midi_pitch - 69) / 12)
    phase = 2 * np.pi * np.cumsum(hertz) / RATE
    still = samples[first : first + len(times)] * np.exp(-1j * phase)
    width = round(span_s * RATE)
    window = np.hanning(width + 2)[1:-1]
    slow = np.convolve(still, window / window.sum(), mode="valid")[:: width // 8]
    turns = np.angle(slow[1:] * np.conj(slow[:-1])) / (2 * np.pi) * RATE / (width // 8)
    middle = hertz[width // 2 :: width // 8][: len(turns)]
    return 1200 * np.log2(1 + turns / middle)


def onset_near(samples: np.ndarray, time_s: float, before_s: float = 0.05, after_s: float = 0.05) -> float:
    """Where the sound first rises to a twentieth of what it reaches around a time, in seconds."""
    begin = round((time_s - before_s) * RATE)
    part = np.abs(samples[max(begin, 0) : round((time_s + after_s) * RATE)])
    return (max(begin, 0) + int(np.argmax(part > part.max() / 20))) / RATE
