"""Inharmonicity against closed forms and real strings, and what it says about the string of a note."""

from __future__ import annotations

import csv
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf
import soxr
from hypothesis import given, settings
from hypothesis import strategies as st

from transcriber.fretboard.stiffness import (
    StiffnessSettings,
    StringSet,
    expected_log10_b,
    string_log_likelihoods,
)
from transcriber.listening.inharmonicity import measure_inharmonicity
from transcriber.models import load_model
from transcriber.synthesis.string_model import STRING_SET

RATE_HZ = 22050
DATA = Path(__file__).resolve().parents[1] / "data"
LIGHT_SET = StringSet((64, 59, 55, 50, 45, 40), (0.010, 0.013, 0.017, 0.026, 0.036, 0.046), 647.7)


def stiff_string(b: float, f0_hz: float, length_s: float = 0.6, pluck_share: float = 0.13) -> np.ndarray:
    """An ideally plucked stiff string: decaying sines at n f0 sqrt(1 + B n^2), peak 1."""
    time_s = np.arange(int(length_s * RATE_HZ)) / RATE_HZ
    n = np.arange(1.0, 60.0)
    hertz = n * f0_hz * np.sqrt(1.0 + b * n**2)
    n, hertz = n[hertz < 10_000.0], hertz[hertz < 10_000.0]
    sound = sum(
        np.sin(math.pi * k * pluck_share)
        / k
        * np.exp(-time_s * (1.0 + f / 800.0))
        * np.sin(2 * np.pi * f * time_s)
        for k, f in zip(n, hertz, strict=True)
    )
    return (sound / np.abs(sound).max()).astype(np.float32)


@pytest.mark.parametrize("length_s", [0.15, 0.25, 0.6])
@pytest.mark.parametrize(
    ("b", "f0_hz"), [(1.4e-5, 329.6), (4.2e-5, 246.9), (1.1e-4, 196.0), (1.0e-4, 82.4), (4.5e-4, 392.0)]
)
def test_inharmonicity_of_a_stiff_string_is_found(b: float, f0_hz: float, length_s: float) -> None:
    found = measure_inharmonicity(stiff_string(b, f0_hz), RATE_HZ, f0_hz, 0.0, length_s)
    assert found is not None
    assert found.log10_b == pytest.approx(math.log10(b), abs=0.02)
    assert abs(found.log10_b - math.log10(b)) < 3.0 * found.standard_error
    assert found.f0_hz == pytest.approx(f0_hz, rel=5e-4)


@settings(max_examples=40, deadline=None, derandomize=True)
@given(
    fret=st.integers(0, 17),
    string=st.integers(1, 6),
    cents=st.floats(-5.0, 15.0),
    gain=st.sampled_from((1e-3, 0.1, 1.0)),
)
def test_a_measured_error_covers_the_truth(fret: int, string: int, cents: float, gain: float) -> None:
    b = 10.0 ** expected_log10_b(LIGHT_SET, string, fret)
    f0_hz = 440.0 * 2.0 ** ((LIGHT_SET.tuning_midi[string - 1] + fret - 69) / 12.0)
    sound = np.float32(gain) * stiff_string(b, f0_hz)
    found = measure_inharmonicity(sound, RATE_HZ, f0_hz * 2.0 ** (cents / 1200.0), 0.0, 0.4)
    assert found is not None
    assert abs(found.log10_b - math.log10(b)) < 4.0 * found.standard_error
    assert found.standard_error < 0.15


def test_brightness_is_the_centroid_of_the_partials() -> None:
    time_s = np.arange(RATE_HZ // 2) / RATE_HZ
    n = np.arange(1.0, 7.0)
    hertz = n * 200.0 * np.sqrt(1.0 + 1e-4 * n**2)
    sound = np.sin(2 * np.pi * hertz[:, None] * time_s).sum(axis=0).astype(np.float32)
    found = measure_inharmonicity(sound, RATE_HZ, 200.0, 0.0, 0.5)
    assert found is not None
    assert found.partials == 6
    assert found.brightness == pytest.approx(3.5, abs=0.02)


def test_a_harmonic_tone_tells_of_no_string() -> None:
    assert measure_inharmonicity(stiff_string(0.0, 196.0), RATE_HZ, 196.0, 0.0, 0.5) is None


@pytest.mark.parametrize("gain", [6.0, 20.0])
@pytest.mark.parametrize(("b", "f0_hz"), [(1.4e-5, 329.6), (1.1e-4, 196.0), (1.0e-4, 110.0), (2.0e-4, 147.0)])
def test_an_overdriven_string_misleads_nobody(b: float, f0_hz: float, gain: float) -> None:
    sound = np.tanh(gain * stiff_string(b, f0_hz)).astype(np.float32)
    found = measure_inharmonicity(sound, RATE_HZ, f0_hz, 0.0, 0.5)
    assert found is None or abs(found.log10_b - math.log10(b)) < 2.0 * found.standard_error


def test_partials_beside_the_products_of_light_overdrive_are_still_read() -> None:
    clean = stiff_string(1.1e-4, 196.0)
    multiples = np.float32(0.1) * stiff_string(0.0, 196.0)
    found = measure_inharmonicity(clean + multiples, RATE_HZ, 196.0, 0.0, 0.5)
    assert found is not None
    assert found.log10_b == pytest.approx(math.log10(1.1e-4), abs=0.02)
    untouched = measure_inharmonicity(clean, RATE_HZ, 196.0, 0.0, 0.5)
    assert untouched is not None
    assert found.standard_error > 10.0 * untouched.standard_error


def test_noise_widens_the_error_and_then_silences_it() -> None:
    clean = stiff_string(1.0e-4, 110.0)
    noise = np.random.default_rng(5).normal(size=len(clean)).astype(np.float32)
    errors = []
    for level in (0.0, 0.02, 0.1):
        found = measure_inharmonicity(clean + np.float32(level) * noise, RATE_HZ, 110.0, 0.0, 0.4)
        errors.append(math.inf if found is None else found.standard_error)
    assert errors == sorted(errors)
    assert errors[0] < errors[1]
    assert measure_inharmonicity(noise, RATE_HZ, 110.0, 0.0, 0.4) is None


def test_what_is_too_short_or_silent_is_not_measured() -> None:
    sound = stiff_string(1.0e-4, 82.4)
    assert measure_inharmonicity(sound, RATE_HZ, 82.4, 0.0, 0.09) is None
    assert measure_inharmonicity(sound, RATE_HZ, 82.4, 0.55, 2.0) is None
    assert measure_inharmonicity(sound, RATE_HZ, 82.4, 5.0, 6.0) is None
    assert measure_inharmonicity(np.zeros(RATE_HZ, np.float32), RATE_HZ, 82.4, 0.0, 0.5) is None


@pytest.mark.parametrize(("string", "b"), [(1, 1.38e-5), (2, 4.15e-5), (3, 1.13e-4)])
def test_plain_strings_have_the_computed_inharmonicity(string: int, b: float) -> None:
    # Values computed from mass per length and E = 207 GPa for .010 .013 .017 on 25.5 in.
    assert 10.0 ** expected_log10_b(LIGHT_SET, string, 0) == pytest.approx(b, rel=0.01)
    synthesised = next(spec for spec in STRING_SET if spec.open_midi == LIGHT_SET.tuning_midi[string - 1])
    assert 10.0 ** expected_log10_b(LIGHT_SET, string, 0) == pytest.approx(
        synthesised.inharmonicity, rel=1e-6
    )


def test_wound_strings_follow_the_published_acoustic_set() -> None:
    # Barbancho et al. 2012 (second-hand), E2 A2 D3 G3; the gauges are assumed, a common acoustic set.
    acoustic = StringSet((55, 50, 45, 40), (0.024, 0.032, 0.042, 0.053), 648.0)
    for string, b in enumerate((2.77e-5, 4.31e-5, 6.87e-5, 9.92e-5), start=1):
        assert 10.0 ** expected_log10_b(acoustic, string, 0) == pytest.approx(b, rel=0.02)


def test_inharmonicity_doubles_every_six_frets_and_counts_the_capo() -> None:
    open_b = expected_log10_b(LIGHT_SET, 4, 0)
    assert expected_log10_b(LIGHT_SET, 4, 6) - open_b == pytest.approx(math.log10(2.0))
    assert expected_log10_b(replace(LIGHT_SET, capo=3), 4, 9) - open_b == pytest.approx(2 * math.log10(2.0))


def test_evidence_is_bounded_and_fades_with_the_error() -> None:
    places = [(1, 0), (2, 5), (3, 9), (4, 14), (5, 19)]
    truth = expected_log10_b(LIGHT_SET, 2, 5)
    sharp = string_log_likelihoods(truth, 0.01, places, LIGHT_SET)
    assert max(sharp, key=sharp.__getitem__) == (2, 5)
    assert sharp[2, 5] == 0.0
    assert -4.5 < min(sharp.values()) < -3.0
    vague = string_log_likelihoods(truth, 3.0, places, LIGHT_SET)
    assert min(vague.values()) > -0.1
    stray = string_log_likelihoods(-6.5, 0.01, places, LIGHT_SET)
    assert min(stray.values()) > -0.1
    trusting = string_log_likelihoods(truth, 0.01, places, LIGHT_SET, StiffnessSettings(outlier_share=0.001))
    assert min(trusting.values()) < min(sharp.values())
    assert string_log_likelihoods(truth, 0.01, [], LIGHT_SET) == {}


def strings_of_real_notes(drive: float) -> tuple[float, float]:
    """Shares of notes read right, and clearly wrong: second recordings of the strat, built-in strings."""
    model = load_model("instruments/standard")
    strings = StringSet(
        tuple(model["tuning_midi"]), tuple(model["string_gauges_in"]), model["scale_length_mm"]
    )
    right, clearly_wrong, notes = 0, 0, 0
    with (DATA / "index.csv").open(newline="") as stream:
        rows = [row for row in csv.DictReader(stream) if row["set"] == "strat" and "_t2" in row["file"]]
    for row in rows:
        places = [
            (s, int(row["midi"]) - open_midi) for s, open_midi in enumerate(strings.tuning_midi, start=1)
        ]
        places = [(s, fret) for s, fret in places if 0 <= fret <= model["frets"]]
        if len(places) < 2:
            continue
        notes += 1
        samples, rate = sf.read(DATA / row["file"], dtype="float32")
        samples = soxr.resample(samples / np.abs(samples).max(), rate, RATE_HZ)
        if drive > 0.0:
            samples = np.tanh(drive * samples)
        f0_hz = 440.0 * 2.0 ** ((int(row["midi"]) + float(row["tuning_cents"]) / 100.0 - 69.0) / 12.0)
        onset_s = float(row["onset_s"])
        found = measure_inharmonicity(samples, RATE_HZ, f0_hz, onset_s, onset_s + 0.5)
        if found is None:
            continue
        scores = string_log_likelihoods(found.log10_b, found.standard_error, places, strings)
        true = scores.pop((int(row["string"]), int(row["fret"])))
        right += true > max(scores.values())
        clearly_wrong += true < max(scores.values()) - 1.0
    assert notes >= 20
    return right / notes, clearly_wrong / notes


def test_real_notes_tell_their_strings_on_a_guitar_nobody_has_measured() -> None:
    right, clearly_wrong = strings_of_real_notes(drive=0.0)  # chance is about 0.3
    assert right >= 0.85
    assert clearly_wrong == 0.0


@pytest.mark.parametrize("drive", [1.5, 3.0, 6.0])
def test_overdriven_real_notes_say_little_rather_than_something_wrong(drive: float) -> None:
    assert strings_of_real_notes(drive)[1] <= 0.03
