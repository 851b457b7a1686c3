"""Several channels: none cancels another, the cleaner one wins, agreement is used where it helps."""

import numpy as np
import pytest
import soundfile
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from transcriber.audio import read_take

RATE = 22050
QUICK = settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


def plucks(seconds=3.0, seed=0):
    """Decaying tones with pauses, like a line that is picked."""
    time = np.arange(round(RATE * seconds)) / RATE
    rng = np.random.default_rng(seed)
    sound = np.zeros_like(time)
    for onset in np.arange(0, seconds, 0.5):
        since = time - onset
        on = (since >= 0) & (since < 0.4)
        sound[on] += 0.4 * np.exp(-4 * since[on]) * np.sin(2 * np.pi * rng.uniform(100, 600) * since[on])
    return sound


def noise(level, seed):
    return level * np.random.default_rng(seed).standard_normal(len(plucks()))


def read(tmp_path, *channels):
    soundfile.write(tmp_path / "many.wav", np.stack(channels, axis=1), RATE, subtype="FLOAT")
    return read_take(tmp_path / "many.wav")


def codes(take):
    return [problem.code for problem in take.problems]


def test_out_of_phase_channels_do_not_cancel(tmp_path):
    line = plucks()
    take = read(tmp_path, line, -line)
    assert codes(take) == ["channels_out_of_phase"]
    assert np.abs(take.samples).max() == pytest.approx(np.abs(line).max(), rel=0.01)


@QUICK
@given(gain=st.floats(-1, 1), delay=st.integers(0, 200))
def test_a_second_channel_never_costs_level(tmp_path, gain, delay):
    line = plucks()
    take = read(tmp_path, line, gain * np.roll(line, delay))
    assert np.sqrt(np.mean(take.samples**2)) > 0.7 * np.sqrt(np.mean(line**2))


@pytest.mark.parametrize("side", [0, 1])
def test_a_silent_channel_is_left_out(tmp_path, side):
    channels = [plucks(), np.zeros_like(plucks())]
    take = read(tmp_path, *(channels if side == 0 else channels[::-1]))
    np.testing.assert_allclose(take.samples, plucks() - plucks().mean(), atol=1e-4)
    assert codes(take) == ["channel_choice"]
    assert f"channel {side + 1}" in take.problems[0].message


@pytest.mark.parametrize("side", [0, 1])
def test_the_clean_channel_wins_over_a_louder_one_with_hum(tmp_path, side):
    time = np.arange(len(plucks())) / RATE
    hummed = plucks() + 0.5 * np.sin(2 * np.pi * 50 * time)
    channels = [0.3 * plucks(), hummed]
    take = read(tmp_path, *(channels if side == 0 else channels[::-1]))
    np.testing.assert_allclose(take.samples, 0.3 * plucks(), atol=1e-3)


def test_the_mean_is_taken_where_it_lowers_the_noise(tmp_path):
    line = plucks()
    take = read(tmp_path, line + noise(0.02, 1), line + noise(0.02, 2))
    left_over = take.samples - line
    assert np.sqrt(np.mean(left_over**2)) == pytest.approx(0.02 / np.sqrt(2), rel=0.05)
    assert "mean of channels 1, 2" in take.problems[0].message


def test_the_same_sound_in_every_channel_is_the_mono_sound_exactly(tmp_path):
    line = plucks()
    assert read(tmp_path, line, line, line).samples.tobytes() == read(tmp_path, line).samples.tobytes()
    assert codes(read(tmp_path, line, line, line)) == []


def test_a_channel_that_turns_against_the_other_now_and_then_is_not_added(tmp_path):
    line = plucks()
    time = np.arange(len(line)) / RATE
    turning = line * np.cos(2 * np.pi * 0.7 * time)
    take = read(tmp_path, line + noise(0.01, 1), turning + noise(0.01, 2))
    correlation = np.corrcoef(take.samples, line)[0, 1]
    assert correlation > 0.98


def test_the_guitar_is_found_among_many_channels(tmp_path):
    channels = [noise(0.001, seed) for seed in range(6)]
    channels[4] = channels[4] + plucks()
    take = read(tmp_path, *channels)
    assert "channel 5" in take.problems[0].message
    assert np.corrcoef(take.samples, plucks())[0, 1] > 0.99


def test_a_clipped_channel_gives_way_to_its_quieter_copy(tmp_path):
    line = plucks()
    take = read(tmp_path, np.clip(6 * line, -1, 1), line)
    assert "clipping" not in codes(take)
    np.testing.assert_allclose(take.samples, line, atol=1e-3)


def test_each_channel_loses_its_own_offset(tmp_path):
    line = plucks()
    take = read(tmp_path, line + noise(0.02, 1) + 0.2, line + noise(0.02, 2) - 0.1)
    assert abs(float(take.samples.mean())) < 1e-3
