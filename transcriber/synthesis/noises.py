"""Sounds of the hands and of the electric chain: the pick's scrape, fingers on windings, hum and hiss."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from transcriber.records.line import Performance, PlayedNote
from transcriber.synthesis.string_model import StringSpec
from transcriber.synthesis.tone import Tone

FloatArray = npt.NDArray[np.float64]
Sound = npt.NDArray[np.float32]

_PICK_LEAD_S, _PICK_DECAY_S = 0.003, 0.004
_PICK_BAND_HZ = (1200.0, 6500.0)
_DEAD_NOTE_DECAY_S, _DEAD_NOTE_LEVEL_DB = 0.012, -14.0
_FINGER_BAND_HZ = (900.0, 4500.0)
_FINGER_LEVEL_DB = {True: -45.0, False: -58.0}
_HUM_PARTIALS = (1.0, 0.6, 0.4, 0.15, 0.2, 0.05, 0.1)
# A driven amplifier raises what lies under the notes.
_DRIVE_RAISES_DB = 14.0


def add_hand_noises(
    out: Sound, performance: Performance, specs: dict[int, StringSpec], tone: Tone, rate: int, seed: int
) -> None:
    """Add the noises of pick and fingers to `out`, in place; `specs` by string number."""
    rng = np.random.default_rng([seed, 2])
    pick = np.zeros(len(out))
    finger = np.zeros(len(out))
    for note in performance.notes:
        kinds = {technique.kind for technique in note.techniques}
        strength = (note.velocity / 127.0) ** 1.5
        if note.picked:
            level = 10.0 ** (tone.pick_noise_db / 20.0) * strength
            _add_burst(pick, note.onset_s, _PICK_DECAY_S, level, rate)
        if "dead_note" in kinds:
            level = 10.0 ** (_DEAD_NOTE_LEVEL_DB / 20.0) * strength
            _add_burst(pick, note.onset_s, _DEAD_NOTE_DECAY_S, level, rate)
        _add_glides(finger, note, 10.0 ** (_FINGER_LEVEL_DB[specs[note.string].wound] / 20.0), rate)
    out += (pick * _band_noise(len(out), _PICK_BAND_HZ, rate, rng)).astype(np.float32)
    out += (finger * _band_noise(len(out), _FINGER_BAND_HZ, rate, rng)).astype(np.float32)


def add_circuit_noise(out: Sound, tone: Tone, rate: int, seed: int) -> None:
    """Add mains hum and hiss to `out`, in place."""
    rng = np.random.default_rng([seed, 3])
    raised = _DRIVE_RAISES_DB * tone.drive
    if tone.hum_db > -120.0:
        time_s = np.arange(len(out)) / rate
        phase = rng.uniform(0.0, 1.0)
        hum = np.zeros(len(out))
        for n, level in enumerate(_HUM_PARTIALS, start=1):
            hum += level * np.sin(2.0 * np.pi * n * (tone.hum_hz * time_s + phase))
        out += (hum * 10.0 ** ((tone.hum_db + raised) / 20.0)).astype(np.float32)
    if tone.noise_db > -120.0:
        hiss = rng.standard_normal(len(out), dtype=np.float32)
        out += hiss * np.float32(10.0 ** ((tone.noise_db + raised) / 20.0))


def _add_burst(envelope: FloatArray, onset_s: float, decay_s: float, level: float, rate: int) -> None:
    first = max(0, round((onset_s - _PICK_LEAD_S) * rate))
    last = min(len(envelope), round((onset_s + 8.0 * decay_s) * rate))
    since = (np.arange(first, last) / rate) - onset_s
    rise = np.clip(1.0 + since / _PICK_LEAD_S, 0.0, 1.0)
    envelope[first:last] += level * rise * np.exp(-np.maximum(since, 0.0) / decay_s)


def _add_glides(envelope: FloatArray, note: PlayedNote, level: float, rate: int) -> None:
    for technique in note.techniques:
        if technique.kind not in ("slide", "slide_in", "slide_out"):
            continue
        if technique.start_s is None or technique.end_s is None:
            continue
        first, last = round(technique.start_s * rate), min(len(envelope), round(technique.end_s * rate))
        if last > first:
            envelope[first:last] += level * np.sin(np.pi * np.linspace(0.0, 1.0, last - first))


def _band_noise(count: int, band_hz: tuple[float, float], rate: int, rng: np.random.Generator) -> FloatArray:
    from scipy.signal import butter, sosfilt

    noise = rng.standard_normal(count)
    filtered = np.asarray(sosfilt(butter(2, band_hz, "bandpass", fs=rate, output="sos"), noise))
    return filtered / max(float(np.std(filtered)), 1e-12)
