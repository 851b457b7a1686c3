"""The pitch tracker against closed forms, a reference implementation and annotated singing."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import mir_eval
import numpy as np
import pytest
import soundfile as sf
import soxr
from hypothesis import given, settings
from hypothesis import strategies as st

from transcriber.errors import UsageError
from transcriber.listening.pitch import PitchSettings, track_pitch
from transcriber.listening.pitch.candidates import find_candidates
from transcriber.listening.pitch.decode import decode_path
from transcriber.listening.pitch.difference import difference_function, frame_starts, normalised_difference

RATE = 22_050
VOICE = Path(__file__).parents[1] / "data" / "voice"


def harmonic_tone(frequency_hz: np.ndarray, partials: int = 8) -> np.ndarray:
    """Tone with 1/k partials below 10 kHz that follows a frequency curve given for every sample."""
    phase = 2 * np.pi * np.cumsum(frequency_hz) / RATE
    tone = sum(np.sin(k * phase) / k for k in range(1, partials + 1) if k * frequency_hz.max() < 10_000)
    return (0.3 * tone).astype(np.float32)


def cents_off(frequency_hz: np.ndarray, truth_hz: np.ndarray) -> np.ndarray:
    return 1200 * np.log2(frequency_hz / truth_hz)


@pytest.mark.parametrize("lowest_hz", [80.0, 200.0, 420.0, 820.0])
def test_exponential_chirp_is_followed_within_cents(lowest_hz: float) -> None:
    """An octave in three seconds has a closed-form frequency at every frame."""
    seconds = np.arange(3 * RATE) / RATE
    truth = lowest_hz * 2 ** (seconds / 3)
    track = track_pitch(harmonic_tone(truth))
    inner = slice(10, -10)
    off = cents_off(track.frequency_hz, np.interp(track.times_s, seconds, truth))[inner]
    assert not np.isnan(off).any()
    assert np.abs(off).max() < 5.0
    assert np.sqrt(np.mean(off**2)) < 1.0


@pytest.mark.parametrize("rate_hz", [4.0, 6.0])
def test_vibrato_keeps_its_depth(rate_hz: float) -> None:
    """Sinusoidal vibrato of 50 cents either way: the depth is measured, not rounded to the 10-cent grid."""
    seconds = np.arange(3 * RATE) / RATE
    cents = 50 * np.sin(2 * np.pi * rate_hz * seconds)
    track = track_pitch(harmonic_tone(330 * 2 ** (cents / 1200)))
    measured = cents_off(track.frequency_hz, np.full(len(track.times_s), 330.0))[20:-20]
    assert np.percentile(measured, 98) == pytest.approx(50, abs=4)
    assert np.percentile(measured, 2) == pytest.approx(-50, abs=4)


@pytest.mark.parametrize("midi", [35.0, 40.3, 52.0, 64.0, 76.5, 88.0, 92.0])
def test_steady_notes_over_the_whole_range(midi: float) -> None:
    """From a low B (61.7 Hz) to fret 24 of string 1 bent by two tones (1,661 Hz), equal temperament."""
    truth = 440 * 2 ** ((midi - 69) / 12)
    track = track_pitch(harmonic_tone(np.full(RATE, truth)))
    off = cents_off(track.frequency_hz, np.full(len(track.times_s), truth))[10:-10]
    assert np.abs(off).max() < 2.0


def test_difference_function_equals_its_definition() -> None:
    """Equation 6 of de Cheveigné and Kawahara (2002), summed directly."""
    rng = np.random.default_rng(1)
    sound = rng.normal(size=600).astype(np.float32)
    window, lags = 120, 90
    starts = frame_starts(300, 50)
    fast = difference_function(sound, starts, window, lags)
    for row, start in enumerate(starts):
        for lag in (0, 1, 17, 89):
            direct = np.sum(
                (sound[start : start + window] - sound[start + lag : start + lag + window]) ** 2.0
            )
            assert fast[row, lag] == pytest.approx(direct, abs=2e-3)


def test_threshold_distribution_agrees_with_sampled_thresholds() -> None:
    """The closed form against YIN run at many thresholds drawn from the same beta distribution."""
    pitch = PitchSettings()
    rng = np.random.default_rng(3)
    sound = harmonic_tone(np.full(4000, 110.0)) + 0.15 * rng.normal(size=4000).astype(np.float32)
    normalised = normalised_difference(
        difference_function(sound, np.array([0]), pitch.window, pitch.longest_lag)
    )
    found = find_candidates(normalised, pitch)
    beta = (pitch.threshold_shape, pitch.threshold_shape * (1 / pitch.threshold_mean - 1))
    thresholds = rng.beta(*beta, size=20_000)
    row = normalised[0]
    lags = np.arange(pitch.shortest_lag, len(row) - 1)
    troughs = lags[(row[lags] < row[lags - 1]) & (row[lags] <= row[lags + 1])]
    counts: dict[int, int] = {}
    for threshold in thresholds:
        below = troughs[row[troughs] < threshold]
        if len(below):
            counts[int(below[0])] = counts.get(int(below[0]), 0) + 1
    best_sampled = max(counts.values()) / len(thresholds)
    assert found.probability.max() == pytest.approx(best_sampled, abs=0.03)


def test_decoding_in_chunks_gives_the_path_of_the_whole(monkeypatch: pytest.MonkeyPatch) -> None:
    rng = np.random.default_rng(5)
    curve = np.repeat(rng.choice([110.0, 147.0, 196.0, 262.0], 24), RATE // 4)
    sound = harmonic_tone(curve) + 0.02 * rng.normal(size=len(curve)).astype(np.float32)
    whole = track_pitch(sound).frequency_hz
    monkeypatch.setattr("transcriber.listening.pitch.decode._CHUNK", 300)
    monkeypatch.setattr("transcriber.listening.pitch.decode._LOOKAHEAD", 200)
    np.testing.assert_array_equal(track_pitch(sound).frequency_hz, whole)


def test_path_equals_an_exhaustive_search_on_a_small_grid() -> None:
    """The banded search against a plain Viterbi search over the full transition matrix."""
    pitch = PitchSettings(lowest_hz=200, highest_hz=260, bins_per_semitone=3)
    rng = np.random.default_rng(9)
    frames = 40
    from transcriber.listening.pitch import decode
    from transcriber.listening.pitch.candidates import Candidates

    frame = np.repeat(np.arange(frames), 2)
    bins = rng.integers(0, pitch.bins, len(frame))
    probability = rng.uniform(0.05, 0.45, len(frame)).astype(np.float32)
    candidates = Candidates(frame, bins, probability)
    path, voiced = decode_path(candidates, frames, pitch)

    observed, silent = decode._observations(candidates, 0, frames, pitch)
    size = pitch.bins + 1
    cost = np.full((size, size), -pitch.jump_cost)
    for left in range(pitch.bins):
        for right in range(pitch.bins):
            if abs(left - right) <= pitch.glide_bins:
                near = -pitch.glide_cost * abs(left - right) / pitch.glide_bins
                cost[left, right] = max(near, -pitch.jump_cost)
    cost[-1, :] = cost[:, -1] = -pitch.voicing_cost
    cost[-1, -1] = 0.0
    both = np.concatenate([observed, silent[:, None]], axis=1).astype(float)

    def score(states: np.ndarray) -> float:
        return sum(both[t, s] for t, s in enumerate(states)) + sum(cost[a, b] for a, b in pairwise(states))

    best = np.concatenate([np.full(pitch.bins, -pitch.voicing_cost), [0.0]])
    table = [np.max(best[:, None] + cost, axis=0) + both[0]]
    back = []
    for t in range(1, frames):
        options = table[-1][:, None] + cost
        back.append(options.argmax(axis=0))
        table.append(options.max(axis=0) + both[t])
    states = [int(table[-1].argmax())]
    for step in reversed(back):
        states.append(int(step[states[-1]]))
    exhaustive = np.array(states[::-1])
    ours = np.where(voiced, path, pitch.bins)
    assert score(ours) == pytest.approx(score(exhaustive), abs=1e-2)


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 40), st.floats(-60, 0), st.sampled_from(["zeros", "noise", "step"]))
def test_any_sound_gives_a_track(length: int, level_db: float, kind: str) -> None:
    """No sound, however short, quiet or shapeless, breaks the tracker; what is found lies in range."""
    rng = np.random.default_rng(length)
    n = length * 97
    sound = {"zeros": np.zeros(n), "noise": rng.normal(size=n), "step": np.ones(n)}[kind]
    track = track_pitch((sound * 10 ** (level_db / 20)).astype(np.float32))
    assert len(track.times_s) == len(track.frequency_hz) == -(-n // 128)
    known = track.frequency_hz[~np.isnan(track.frequency_hz)]
    assert ((known > 58) & (known < 1900)).all()
    assert ((track.voiced_probability >= 0) & (track.voiced_probability <= 1)).all()


def test_silence_is_unvoiced() -> None:
    assert np.isnan(track_pitch(np.zeros(RATE, np.float32)).frequency_hz).all()


def test_impossible_settings_state_the_bound() -> None:
    with pytest.raises(UsageError, match="at most 3675 Hz"):
        PitchSettings(highest_hz=5000)
    with pytest.raises(UsageError, match="range 500 to 400 Hz is empty"):
        PitchSettings(lowest_hz=500, highest_hz=400)


def sung_take() -> tuple[np.ndarray, np.ndarray]:
    sound, rate = sf.read(VOICE / "vocadito_1.flac", dtype="float32")
    curve = np.loadtxt(VOICE / "vocadito_1_f0.csv", delimiter=",")
    return soxr.resample(sound, rate, RATE).astype(np.float32), curve


def raw_pitch_accuracy(
    curve: np.ndarray, times_s: np.ndarray, frequency_hz: np.ndarray, tolerance_cents: float
) -> float:
    """As mir_eval defines it: voicing does not count, strictly within the tolerance."""
    voicing, cents, _, estimated = mir_eval.melody.to_cent_voicing(
        curve[:, 0], curve[:, 1], times_s, np.nan_to_num(frequency_hz)
    )
    return float(
        mir_eval.melody.raw_pitch_accuracy(
            voicing, cents, np.ones_like(voicing), estimated, cent_tolerance=tolerance_cents
        )
    )


def test_sung_take_against_its_annotation() -> None:
    """The annotated singing of vocadito (Bittner et al. 2021), by mir_eval's measures."""
    sound, curve = sung_take()
    track = track_pitch(sound)
    assert raw_pitch_accuracy(curve, track.times_s, track.guess_hz, 50) > 0.985
    assert raw_pitch_accuracy(curve, track.times_s, track.guess_hz, 10) > 0.90
    reference, _, estimate, _ = mir_eval.melody.to_cent_voicing(
        curve[:, 0], curve[:, 1], track.times_s, np.nan_to_num(track.frequency_hz)
    )
    recall, false_alarm = mir_eval.melody.voicing_measures(reference, estimate)
    assert recall > 0.9
    assert false_alarm < 0.02


@pytest.mark.accuracy
def test_no_worse_than_the_reference_implementation() -> None:
    """Against librosa.pyin on the sung take: no lower at 50 cents, higher at 10."""
    import librosa

    sound, curve = sung_take()
    track = track_pitch(sound)
    other, _, _ = librosa.pyin(
        sound, fmin=61.7, fmax=1700, sr=RATE, hop_length=128, resolution=0.1, fill_na=None
    )
    times = np.arange(len(other)) * 128 / RATE
    assert raw_pitch_accuracy(curve, track.times_s, track.guess_hz, 50) >= raw_pitch_accuracy(
        curve, times, other, 50
    )
    assert raw_pitch_accuracy(curve, track.times_s, track.guess_hz, 10) > raw_pitch_accuracy(
        curve, times, other, 10
    )
