"""The sound of one string: every excitation as a sum of decaying partials that follow the string's pitch.

Frequencies and envelopes are computed at the edges of short blocks and interpolated inside them; a phase is
the exact integral of its frequency, so bends, slides and slurs are free of clicks.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from transcriber.records.pitch import midi_to_hz
from transcriber.synthesis.excitation import Damping, Excitation, StringHistory
from transcriber.synthesis.string_model import (
    StringSpec,
    decay_rates,
    inharmonicity_at_fret,
    partial_ratios,
    pluck_spectrum,
)
from transcriber.synthesis.tone import Tone

FloatArray = npt.NDArray[np.float64]

BLOCK = 64
_MOST_PARTIALS = 64
_HIGHEST_PARTIAL_HZ = 9000.0
_WEAKEST_PARTIAL_DB = -70.0
_FADED_DB = -75.0
_LAST_FADE_S = 0.003
_LONGEST_S = 12.0
# Where the spectrum of a pick begins to fall, from the dullest to the brightest tone.
_PICK_CORNER_HZ = (900.0, 4500.0)
_CORNER_SHARE = {"pick": 1.0, "hammer": 0.45, "pull": 0.9, "slide": 0.5}
_MUTED_CORNER_SHARE = 0.25
# A pick or pickup cannot lie beyond the finger; a hammering finger is given a neutral comb.
_FARTHEST_SHARE, _HAMMER_SHARE = 0.95, 0.3
# Two directions of vibration die away at different speeds and beat against each other.
_SLOW_SHARE, _FAST_SHARE = 0.78, 0.9
_BEATING_DEPTH, _BEATING_HZ = 0.12, (0.2, 1.2)
_DECAY_SPREAD, _LEVEL_SPREAD = 0.15, 0.1
# Damping by a hand takes the high partials first.
_DAMPING_CORNER_HZ = 2500.0


@dataclass(frozen=True)
class _Partials:
    """One excitation at its start: amplitudes, decays (nepers a second) and beating of its partials."""

    amplitudes: FloatArray
    decays: FloatArray
    frequencies_hz: FloatArray
    beat_hz: FloatArray
    beat_phase: FloatArray


def add_string(
    out: npt.NDArray[np.float32],
    history: StringHistory,
    spec: StringSpec,
    tone: Tone,
    sample_rate_hz: int,
    rng: np.random.Generator,
    between: Callable[[], None] | None = None,
) -> None:
    """Add the sound of one string to `out`, in place.

    Parameters
    ----------
    out : ndarray of float32, shape (n,)
    history : StringHistory
    spec : StringSpec
    tone : Tone
    sample_rate_hz : int
    rng : Generator
    between : callable, optional
        Called before each note; what it raises ends the work.
    """
    for excitation in history.excitations:
        if between is not None:
            between()
        first = round(excitation.time_s * sample_rate_hz)
        last_s = min(excitation.stop_s + _LAST_FADE_S, excitation.time_s + _LONGEST_S)
        room = min(len(out), round(last_s * sample_rate_hz)) - first
        if room <= BLOCK:
            continue
        start_s = first / sample_rate_hz
        partials = _partials(excitation, history, spec, tone, rng)
        edges_s = np.asarray(start_s + np.arange(room // BLOCK + 2) * (BLOCK / sample_rate_hz), np.float64)
        envelope = _envelope(partials, history.dampings, excitation, edges_s)
        audible = np.flatnonzero(np.abs(envelope).max(axis=0) > 10.0 ** (_FADED_DB / 20.0))
        blocks = int(min(audible[-1] + 1, len(edges_s) - 1)) if len(audible) else 0
        if blocks == 0:
            continue
        frequencies = _frequencies(history, spec, tone, edges_s[: blocks + 1], len(partials.amplitudes))
        sound = partial_sum(frequencies / sample_rate_hz, envelope[:, : blocks + 1])[:room]
        fade = min(len(sound), round(_LAST_FADE_S * sample_rate_hz))
        sound[-fade:] *= np.linspace(1.0, 0.0, fade, dtype=np.float32)
        out[first : first + len(sound)] += sound


def _partials(
    excitation: Excitation, history: StringHistory, spec: StringSpec, tone: Tone, rng: np.random.Generator
) -> _Partials:
    moment = np.array([excitation.time_s])
    f0, stiffness = _pitch_and_stiffness(history, spec, tone, moment)
    count = int(np.clip(_HIGHEST_PARTIAL_HZ / f0[0], 1, _MOST_PARTIALS))
    frequencies = f0[0] * partial_ratios(count, float(stiffness[0]))
    # B grows with the inverse square of the vibrating length, for stopped notes and harmonics alike.
    length = math.sqrt(spec.inharmonicity / stiffness[0])
    pickup_share = min(tone.pickup_position / length, _FARTHEST_SHARE)
    spectrum = pluck_spectrum(count, _pluck_share(excitation, tone, length), pickup_share)
    low, high = _PICK_CORNER_HZ
    corner = low * (high / low) ** tone.brightness * _CORNER_SHARE[excitation.kind]
    corner *= (0.6 + 0.6 * excitation.strength) * (1.0 - (1.0 - _MUTED_CORNER_SHARE) * excitation.muted)
    spectrum = spectrum / (1.0 + (frequencies / corner) ** 2)
    amplitudes = excitation.strength * spectrum / np.sqrt(np.sum(spectrum**2))
    amplitudes *= np.exp(rng.normal(0.0, _LEVEL_SPREAD, count))
    strongest = np.abs(amplitudes).max()
    heard = np.flatnonzero(np.abs(amplitudes) > strongest * 10.0 ** (_WEAKEST_PARTIAL_DB / 20.0))
    kept = slice(0, int(heard[-1]) + 1)
    decays = decay_rates(float(f0[0]), frequencies, tone.sustain)
    decays *= np.exp(rng.normal(0.0, _DECAY_SPREAD, count))
    return _Partials(
        amplitudes[kept],
        decays[kept],
        frequencies[kept],
        rng.uniform(*_BEATING_HZ, count)[kept],
        rng.uniform(0.0, 2.0 * np.pi, count)[kept],
    )


def _pluck_share(excitation: Excitation, tone: Tone, length: float) -> float:
    if excitation.kind == "pull":
        # The finger plucks where it was, counted from the far end of the string.
        interval = (excitation.from_fret - excitation.fret) / 12.0
        return max(0.03, 1.0 - math.pow(2.0, -interval))
    if excitation.kind in ("hammer", "slide"):
        return _HAMMER_SHARE
    return min(tone.pick_position / length, _FARTHEST_SHARE)


def _envelope(
    partials: _Partials, dampings: tuple[Damping, ...], excitation: Excitation, edges_s: FloatArray
) -> FloatArray:
    since = edges_s - edges_s[0]
    natural = partials.decays[:, None] * since
    slow = np.exp(-_SLOW_SHARE * natural) * (1.0 + np.exp(-_FAST_SHARE * natural)) / 2.0
    beat = 2.0 * np.pi * partials.beat_hz[:, None] * since + partials.beat_phase[:, None]
    beating = 1.0 + _BEATING_DEPTH * (np.sin(beat) - np.sin(partials.beat_phase[:, None]))
    damped = _damping_exponent(dampings, excitation, edges_s)
    colour = 1.0 + partials.frequencies_hz / _DAMPING_CORNER_HZ
    return np.asarray(partials.amplitudes[:, None] * slow * beating * np.exp(-colour[:, None] * damped))


def _damping_exponent(
    dampings: tuple[Damping, ...], excitation: Excitation, edges_s: FloatArray
) -> FloatArray:
    """Nepers by which hands have damped the string since the excitation, at each edge."""
    total = np.zeros(len(edges_s))
    for damping in dampings:
        # What the pick or the finger did to the string before setting it in motion is past.
        start_s = max(damping.start_s, excitation.time_s)
        if damping.end_s > start_s and start_s < edges_s[-1]:
            span = np.clip(edges_s - start_s, 0.0, min(damping.end_s, edges_s[-1]) - start_s)
            total += damping.rate * span
    return total


def _pitch_and_stiffness(
    history: StringHistory, spec: StringSpec, tone: Tone, times_s: FloatArray
) -> tuple[FloatArray, FloatArray]:
    midi = np.interp(times_s, history.times_s, history.midi)
    f0 = midi_to_hz(midi, tone.reference_hz)
    index = np.maximum(np.searchsorted(history.fret_times_s, times_s + 1e-9, side="right") - 1, 0)
    return f0, inharmonicity_at_fret(spec.inharmonicity, history.length_frets[index])


def _frequencies(
    history: StringHistory, spec: StringSpec, tone: Tone, edges_s: FloatArray, count: int
) -> FloatArray:
    """Frequencies of the partials at the edges; shape (count, edges)."""
    f0, stiffness = _pitch_and_stiffness(history, spec, tone, edges_s)
    # The note is named by the frequency of its first partial.
    ratios = partial_ratios(count, stiffness)
    return np.asarray(f0 * ratios / ratios[0])


def partial_sum(cycles: FloatArray, envelope: FloatArray) -> npt.NDArray[np.float32]:
    """Sum sines whose frequency and amplitude run linearly between block edges.

    Parameters
    ----------
    cycles : ndarray, shape (partials, blocks + 1)
        Frequency at the edges, cycles a sample; a partial that reaches 0.5 is left out.
    envelope : ndarray, shape (partials, blocks + 1)
        Signed amplitude at the edges.

    Returns
    -------
    ndarray of float32, shape (blocks * BLOCK,)
        Every sine starts at phase 0; its phase is the exact integral of its frequency.
    """
    blocks = cycles.shape[1] - 1
    slope = np.diff(cycles, axis=1) / BLOCK
    advance = BLOCK * (cycles[:, :-1] + cycles[:, 1:]) / 2.0
    phase = np.concatenate([np.zeros((len(cycles), 1)), np.cumsum(advance[:, :-1], axis=1)], axis=1) % 1.0
    k = np.arange(BLOCK, dtype=np.float32)
    half_square = k * k / 2
    total = np.zeros((blocks, BLOCK), dtype=np.float32)
    two_pi = np.float32(2.0 * math.pi)
    below_nyquist = cycles.max(axis=1) < 0.5
    for n in np.flatnonzero(below_nyquist):
        turns = np.multiply.outer(slope[n].astype(np.float32), half_square)
        turns += np.multiply.outer(cycles[n, :-1].astype(np.float32), k)
        turns += phase[n].astype(np.float32)[:, None]
        np.sin(two_pi * turns, out=turns)
        level = envelope[n].astype(np.float32)
        rise = np.multiply.outer(np.diff(level) / np.float32(BLOCK), k)
        rise += level[:-1, None]
        turns *= rise
        total += turns
    return total.ravel()
