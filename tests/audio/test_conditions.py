"""What is reported about a recording, and where."""

import re

import numpy as np
import pytest
import soundfile

from transcriber.audio import read_take

RATE = 44100


def steady(seconds, frequency=220.0, amplitude=0.3):
    return amplitude * np.sin(2 * np.pi * frequency * np.arange(round(RATE * seconds)) / RATE)


def read(tmp_path, sound, subtype="PCM_16", **part):
    soundfile.write(tmp_path / "take.wav", sound, RATE, subtype=subtype)
    return read_take(tmp_path / "take.wav", **part)


def found(take, code):
    return [problem for problem in take.problems if problem.code == code]


@pytest.mark.parametrize("offset", [0.25, -0.04])
def test_an_offset_is_measured_and_removed(tmp_path, offset):
    take = read(tmp_path, steady(1.0) + offset)
    (problem,) = found(take, "dc_offset")
    assert f"{offset:+.3f}" in problem.message
    assert abs(float(np.mean(take.samples))) < 1e-3


def test_a_rounding_offset_of_8_bits_is_not_reported(tmp_path):
    assert read(tmp_path, steady(1.0), "PCM_U8").problems == ()


@pytest.mark.parametrize("subtype", ["PCM_U8", "PCM_16", "PCM_24", "FLOAT"])
def test_clipping_is_reported_where_it_is(tmp_path, subtype):
    sound = steady(6.0)
    sound[2 * RATE : round(2.5 * RATE)] = np.clip(steady(0.5, amplitude=3.0), -1, 1)
    (problem,) = found(read(tmp_path, sound, subtype), "clipping")
    assert problem.start_s == pytest.approx(2.0, abs=0.1)
    assert problem.end_s == pytest.approx(2.5, abs=0.1)
    # A sine of three times full scale lies beyond it for 1 - 2/pi asin(1/3) = 78.4 % of the time.
    share = float(re.search(r"([\d.]+) %", problem.message)[1])
    assert share == pytest.approx(78.4, abs=1.0)


def test_clipping_times_are_times_in_the_file(tmp_path):
    sound = steady(6.0)
    sound[4 * RATE : round(4.3 * RATE)] = np.clip(steady(0.3, amplitude=3.0), -1, 1)
    (problem,) = found(read(tmp_path, sound, start_s=3.0, end_s=5.5), "clipping")
    assert problem.start_s == pytest.approx(4.0, abs=0.1)


def test_many_clipped_places_are_gathered(tmp_path):
    sound = steady(60.0)
    for second in range(0, 60, 3):
        sound[second * RATE : second * RATE + 2000] = np.clip(steady(1, amplitude=3.0), -1, 1)[:2000]
    problems = found(read(tmp_path, sound), "clipping")
    assert 1 <= len(problems) <= 8
    assert problems[-1].end_s == pytest.approx(57.1, abs=0.2)


def test_single_samples_at_full_scale_are_not_clipping(tmp_path):
    sound = steady(2.0)
    sound[1000::5000] = 1.0
    assert found(read(tmp_path, sound), "clipping") == []


@pytest.mark.parametrize("mains", [50, 60])
@pytest.mark.parametrize("note", [82.41, 98.0, 110.0, 123.47, 196.0])
def test_hum_is_reported_under_notes(tmp_path, mains, note):
    rng = np.random.default_rng(1)
    hum = steady(8.0, mains, 0.004) + steady(8.0, 3 * mains, 0.002)
    take = read(tmp_path, steady(8.0, note) + hum + 1e-4 * rng.standard_normal(8 * RATE))
    (problem,) = found(take, "mains_hum")
    assert f" {mains}, " in problem.message
    # An amplitude of 0.004 is a level of 20 log10(0.004) - 3 = -51 dB.
    assert "(-51 dB" in problem.message
    # It is left in the sound.
    spectrum = np.abs(np.fft.rfft(take.samples[: 4 * 22050])) / (2 * 22050)
    assert spectrum[4 * mains] == pytest.approx(0.004, rel=0.1)


# G1 49.0 Hz and B1 61.7 Hz are notes of baritone and seven-string guitars; 100 Hz is a G2 35 cents sharp.
@pytest.mark.parametrize("note", [49.0, 61.74, 82.41, 98.0, 100.0, 120.0])
def test_notes_are_not_taken_for_hum(tmp_path, note):
    sound = sum(steady(8.0, k * note, 0.2 / k) for k in (1, 2, 3, 4))
    rng = np.random.default_rng(1)
    assert found(read(tmp_path, sound + 1e-4 * rng.standard_normal(len(sound))), "mains_hum") == []


@pytest.mark.parametrize(("before", "silent", "after"), [(0, 5, 2), (2, 6, 0), (2, 4.5, 2)])
def test_a_long_silence_is_reported_where_it_is(tmp_path, before, silent, after):
    take = read(tmp_path, np.r_[steady(before), np.zeros(round(silent * RATE)), steady(after)])
    (problem,) = found(take, "long_silence")
    assert problem.start_s == pytest.approx(before, abs=0.11)
    assert problem.end_s == pytest.approx(before + silent, abs=0.11)


def test_a_short_rest_is_not_reported(tmp_path):
    assert found(read(tmp_path, np.r_[steady(1), np.zeros(3 * RATE), steady(1)]), "long_silence") == []


@pytest.mark.parametrize(("amplitude", "reported"), [(0.002, True), (0.02, False)])
def test_a_very_low_level_is_reported(tmp_path, amplitude, reported):
    take = read(tmp_path, steady(2.0, amplitude=amplitude), "PCM_24")
    assert bool(found(take, "low_level")) == reported


def test_samples_in_other_units_are_scaled_to_full_scale(tmp_path):
    take = read(tmp_path, 32768 * steady(1.0, amplitude=0.5), "FLOAT")
    assert np.abs(take.samples).max() == pytest.approx(1.0, abs=0.01)
    assert found(take, "over_full_scale")


def test_a_float_file_a_little_over_full_scale_is_left_alone(tmp_path):
    take = read(tmp_path, steady(1.0, amplitude=1.3), "FLOAT")
    assert np.abs(take.samples).max() == pytest.approx(1.3, abs=0.01)
    assert found(take, "over_full_scale") == []
