"""Slow loops: attacks, pitch, length, loudness and the seam."""

from __future__ import annotations

import io
import json

import numpy as np
import pytest
import soundfile

from tests.practice.measure_stretch import RATE_HZ, anchored, compare
from tests.review.review_samples import drafted, write
from transcriber.cli import run
from transcriber.errors import UsageError
from transcriber.loops import LoopOptions, loop_files
from transcriber.practice.stretch import stretched


@pytest.mark.parametrize("speed", [0.5, 0.85, 1.25])
def test_a_steady_tone_keeps_its_pitch_and_level(speed):
    """Within 1 cent by its spectrum's peak, and 0.5 dB."""
    times = np.arange(2 * RATE_HZ) / RATE_HZ
    tone = (0.3 * np.sin(2 * np.pi * 196.0 * times)).astype(np.float32)
    slow = stretched(tone, RATE_HZ, speed)
    assert len(slow) == round(len(tone) / speed)
    inside = slow[RATE_HZ // 4 : -RATE_HZ // 4].astype(float)
    spectrum = np.abs(np.fft.rfft(inside * np.hanning(len(inside)), 1 << 21))
    peak_hz = np.argmax(spectrum) * RATE_HZ / (1 << 21)
    assert abs(1200 * np.log2(peak_hz / 196.0)) < 1.0
    assert abs(20 * np.log10(np.sqrt(2 * np.mean(inside**2)) / 0.3)) < 0.5


def test_full_speed_gives_the_very_samples_back():
    sound = np.random.default_rng(1).normal(0, 0.1, 5000).astype(np.float32)
    assert np.array_equal(stretched(sound, RATE_HZ, 1.0), sound)


def test_a_speed_out_of_bounds_is_refused():
    with pytest.raises(UsageError, match="out of 25% to 150%"):
        stretched(np.zeros(100, dtype=np.float32), RATE_HZ, 0.1)


def test_attacks_are_neither_smeared_nor_announced():
    for rise_ms, echo_db, worst_db in compare(anchored, numbers=(3,)).values():
        assert abs(rise_ms) < 0.5
        assert abs(echo_db) < 1.0
        assert worst_db < 3.0


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    folder = tmp_path_factory.mktemp("loops")
    draft = write(drafted(), folder)
    assert run(["loops", str(draft), "--out", str(folder / "out"), "--speeds", "50,100", "-q"]) == 0
    return draft, folder / "out"


def test_loops_last_as_long_as_their_bars(made):
    draft, out = made
    told = json.loads(draft.read_text())
    beat_s = 60 / told["timing"]["tempo_bpm"]
    bars_s = 4 * beat_s
    for path in sorted(out.glob("*.050.loop.wav")):
        sound, rate = soundfile.read(path)
        assert len(sound) / rate / (2 * bars_s) == pytest.approx(
            round(len(sound) / rate / (2 * bars_s)), abs=0.06
        )
        full, _ = soundfile.read(str(path).replace(".050.", ".100."))
        assert len(sound) == pytest.approx(2 * len(full), abs=2)
        counted, _ = soundfile.read(str(path).replace(".loop.", ".counted."))
        assert np.array_equal(counted[len(counted) - len(sound) :], sound)
        assert len(counted) > len(sound) + rate


def test_loops_are_modest_and_join_without_a_step(made):
    _, out = made
    for path in out.glob("*.wav"):
        sound, _ = soundfile.read(path)
        assert np.abs(sound).max() <= 10 ** (-1 / 20)
        assert np.abs(sound).max() <= 10 ** (-4 / 20)
        assert abs(sound[0]) < 0.003
        assert abs(sound[-1]) < 0.003


def test_the_plan_steps_the_tempo_and_warns(made):
    _, out = made
    text = next(out.glob("*.practice.txt")).read_text()
    assert "volume" in text
    assert "stop if anything hurts" in text
    assert "50%" in text


def test_a_missing_take_is_told(tmp_path, capsys):
    draft = write(drafted(), tmp_path, take=False)
    assert run(["loops", str(draft)]) == 3
    assert "--take" in capsys.readouterr().err
    assert list(tmp_path.glob("*.wav")) == []


def test_chords_that_are_not_there_are_told(made, tmp_path, capsys):
    draft, _ = made
    assert run(["loops", str(draft), "--backing", "--out", str(tmp_path)]) == 2
    assert "--chords" in capsys.readouterr().err


def test_wav_is_what_it_says(made):
    _, out = made
    data = next(out.glob("*.wav")).read_bytes()
    assert soundfile.info(io.BytesIO(data)).subtype == "PCM_16"


def test_loops_are_made_when_they_are_written_not_before(tmp_path):
    draft = write(drafted(), tmp_path)
    told = []
    made = loop_files(draft, tmp_path, "line", LoopOptions(speeds=(50, 100)), told.append)
    loops = [content for path, content in made.files.items() if path.suffix == ".wav"]
    assert len(loops) > 4
    assert told == []
    assert loops[0]()[:4] == b"RIFF"
    assert told == ["loops of phrase 1"]
