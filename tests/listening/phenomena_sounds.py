"""Sound of the phenomena: by the project's synthesiser, and spliced from real notes along the same curves."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import soxr
from scipy import signal

from tests.accuracy.necks import GUITAR
from tests.accuracy.note_bank import SAMPLE_RATE_HZ, choose
from tests.accuracy.splice import detune_of, splice
from tests.accuracy.takes import SYNTH_TONES
from tests.listening.phenomena import PHENOMENA, phenomenon_line
from transcriber.records.line import Performance, PlayedNote
from transcriber.synthesis import TONES, Tone, perform, render_performance

RATE = 22_050
SPLICER_EFFECTS = ("drive", "noise", "hum", "detune")
SQUEAK_S, SQUEAK_DB, SWELL_S, RESIDUE_DB = 0.12, -26.0, 0.25, -42.0


def phenomenon_take(name: str, set_name: str, seed: int) -> tuple[Performance, np.ndarray, float]:
    """Perform and render a phenomenon's line.

    Returns
    -------
    performance : Performance
    samples : ndarray of float32, shape (n,)
        At 22,050 Hz.
    reference_hz : float
        MIDI 69 on this guitar.
    """
    line, style = phenomenon_line(name, seed)
    performance = perform(line, style, seed)
    effects = PHENOMENA[name].effects
    detune = (0.35 if seed % 2 else -0.35) if "detune" in effects else 0.0
    sound = _sound_of(performance, set_name, effects, detune, seed)
    if set_name != "synth":
        detune = detune_of(performance, effects)
    doubles = second_notes(name, performance)
    if doubles:
        other = _sound_of(replace(performance, notes=doubles), set_name, effects, detune, seed)
        sound = np.pad(sound, (0, max(0, len(other) - len(sound))))
        sound[: len(other)] += other
    touched = tuple(note for note in performance.notes if note.techniques and _touched(note))
    if touched:
        sound = sound + _residue(replace(performance, notes=touched), set_name, seed, sound)
    sound = _laid_over(sound, performance, set_name, effects, seed)
    return performance, sound.astype(np.float32), 440.0 * 2 ** (detune / 12)


def second_notes(name: str, performance: Performance) -> tuple[PlayedNote, ...]:
    """The notes that sound with every third of a line of double stops (the fragment's own)."""
    above = PHENOMENA[name].above
    if not above:
        return ()
    return tuple(
        replace(
            note,
            string=max(note.string - 1, 1),
            fret=0,
            pitch_midi=note.pitch_midi + above[turn % len(above)],
        )
        for turn, note in enumerate(performance.notes[::3])
    )


def _sound_of(
    performance: Performance, set_name: str, effects: tuple[str, ...], detune: float, seed: int
) -> np.ndarray:
    if set_name == "synth":
        return render_performance(performance, _tone(effects, detune, seed), seed, RATE)
    return _spliced(performance, set_name, effects)


def _touched(note: PlayedNote) -> bool:
    return any(technique.kind == "natural_harmonic" for technique in note.techniques)


def _open_residue(note: PlayedNote, off_semitones: float) -> PlayedNote:
    """The open string under a touched harmonic, whose own partials the touch leaves at some -46 dB."""
    pitch = GUITAR.open_midi(note.string)
    curve = 0 * note.curve_semitones + off_semitones
    return replace(note, fret=0, pitch_midi=pitch, techniques=(), curve_semitones=curve)


def _residue(touched: Performance, set_name: str, seed: int, sound: np.ndarray) -> np.ndarray:
    """What three recorded harmonics (shared takes of another guitar) show at 40 to 58 dB below the
    fundamental.

    One string sounds both, so they are in tune: what a first rendering is off is taken out in a second.
    """
    off = [0.0] * len(touched.notes)
    for _ in range(2):
        notes = tuple(_open_residue(note, by) for note, by in zip(touched.notes, off, strict=True))
        opened = replace(touched, notes=notes)
        quiet = np.zeros(len(sound))
        if set_name == "synth":
            kept = render_performance(opened, _tone((), 0.0, seed), seed, RATE)[: len(sound)]
        else:
            kept = _spliced(opened, set_name, ())[: len(sound)]
        quiet[: len(kept)] = kept * 10 ** (RESIDUE_DB / 20)
        off = [
            by + 12 * np.log2(_sounding_hz(note, sound) / _sounding_hz(note, quiet))
            for note, by in zip(touched.notes, off, strict=True)
        ]
    return quiet


def _sounding_hz(note: PlayedNote, sound: np.ndarray) -> float:
    """Where a touched note's own partial really is, within half a semitone of where it is written."""
    stretch = sound[round((note.onset_s + 0.06) * RATE) : round(note.end_s * RATE)]
    levels = np.abs(np.fft.rfft(stretch * np.hanning(len(stretch)), 1 << 19))
    places = np.arange(len(levels)) * RATE / (1 << 19)
    written = 440.0 * 2 ** ((note.pitch_midi - 69) / 12)
    near = np.abs(12 * np.log2(np.maximum(places, 1e-9) / written)) < 0.5
    return float(places[near][np.argmax(levels[near])])


def _tone(effects: tuple[str, ...], detune: float, seed: int) -> Tone:
    tone = TONES["driven" if "drive" in effects else SYNTH_TONES[seed % len(SYNTH_TONES)]]
    if "noise" in effects:
        tone = replace(tone, noise_db=-42.0, hum_db=-50.0)
    return replace(tone, detune_cents=100.0 * detune)


def _spliced(performance: Performance, set_name: str, effects: tuple[str, ...]) -> np.ndarray:
    wave = splice(performance, set_name, tuple(e for e in effects if e in SPLICER_EFFECTS))
    return soxr.resample(wave, SAMPLE_RATE_HZ, RATE)


def _laid_over(
    sound: np.ndarray, performance: Performance, set_name: str, effects: tuple[str, ...], seed: int
) -> np.ndarray:
    """Add squeaks between notes, a second string that rings on, or the swell of a volume knob."""
    rng = np.random.default_rng([seed, 5])
    loud = float(np.sqrt(np.mean(sound**2)))
    out = np.array(sound, np.float64)
    if "squeaks" in effects:
        for note in performance.notes[1::2]:
            begin = int((note.end_s - 0.5 * SQUEAK_S) * RATE)
            squeak = _squeak(rng) * loud * 10 ** (SQUEAK_DB / 20)
            out[begin : begin + len(squeak)] += squeak[: max(0, len(out) - begin)]
    if "ringing" in effects:
        low = choose("strat" if set_name == "synth" else set_name, 45, 5, 1, 90, "picked", seed)
        ringing = soxr.resample(low.samples[low.onset :], SAMPLE_RATE_HZ, RATE)
        for note in performance.notes[::6]:
            begin = int(note.onset_s * RATE) + RATE // 10
            kept = ringing[: max(0, len(out) - begin)] * loud * 10 ** (-16 / 20)
            kept = kept * np.minimum(
                np.arange(len(kept)) / (0.15 * RATE), 1.0
            )  # it rang before; no new attack
            out[begin : begin + len(kept)] += kept
    if "swell" in effects:
        for note in performance.notes:
            begin, end = int((note.onset_s - 0.004) * RATE), int((note.onset_s + SWELL_S) * RATE)
            length = min(end, len(out)) - begin
            out[begin : begin + length] *= np.linspace(0.02, 1.0, length) ** 1.5
    return out * min(1.0, 0.85 / float(np.abs(out).max()))


def _squeak(rng: np.random.Generator) -> np.ndarray:
    """A finger along a wound string: noise through a band that glides between 1.5 and 4 kHz."""
    count = int(SQUEAK_S * RATE)
    centre = float(rng.uniform(1500, 3000))
    low, high = centre / 1.15, centre * 1.15
    band = signal.butter(2, (low, high), "bandpass", fs=RATE, output="sos")
    noise = signal.sosfilt(band, rng.normal(0, 1, count))
    return noise / float(np.sqrt(np.mean(noise**2))) * np.hanning(count)
