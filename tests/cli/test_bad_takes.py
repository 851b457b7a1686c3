"""Recordings that cannot be drafted, through the whole program: one line, the right code, nothing left."""

import numpy as np
import pytest
import soundfile

from transcriber.cli import run

RATE = 22050


def sine(seconds=1.0, amplitude=0.3):
    return amplitude * np.sin(2 * np.pi * 220 * np.arange(round(RATE * seconds)) / RATE)


def hiss(seconds=2.0):
    return 0.1 * np.random.default_rng(0).standard_normal(round(RATE * seconds))


SOUNDS = {
    "silent": np.zeros(RATE),
    "constant": np.full(RATE, 0.25),
    "short": sine(0.1),
    "no_samples": np.zeros(0),
    "nan": np.r_[sine(), np.nan],
    "infinite": np.r_[sine(), np.inf],
    "clipped": np.sign(sine(amplitude=1.0) + 1e-9),
}
BYTES = {
    "empty": b"",
    "text": b"these are not samples\n" * 100,
    "zeros": bytes(10_000),
    "random": np.random.default_rng(1).bytes(50_000),
    "riff_only": b"RIFF\x24\x00\x00\x00WAVEfmt ",
}


@pytest.mark.parametrize("name", [*SOUNDS, *BYTES, "missing", "folder", "cut"])
@pytest.mark.parametrize("suffix", ["wav", "mp3"])
def test_a_bad_take_is_refused(tmp_path, capfd, name, suffix):
    path = tmp_path / f"{name}.{suffix}"
    if name in SOUNDS:
        soundfile.write(path, SOUNDS[name], RATE, format="WAV", subtype="FLOAT")
    elif name in BYTES:
        path.write_bytes(BYTES[name])
    elif name == "folder":
        path.mkdir()
    elif name == "cut":
        soundfile.write(path, sine(), RATE, format="WAV")
        path.write_bytes(path.read_bytes()[:1000])
    before = sorted(tmp_path.iterdir())
    assert run(["draft", str(path), "-q"]) == 3
    printed = capfd.readouterr()
    assert printed.out == ""
    assert printed.err.count("\n") == 1
    assert path.name in printed.err
    assert sorted(tmp_path.iterdir()) == before


@pytest.mark.parametrize(
    ("words", "hint"),
    [
        (["--start", "1.0"], "1.000 s long"),
        (["--start", "30"], "1.000 s long"),
        (["--end", "1.2"], "1.000 s"),
        (["--start", "0.5", "--end", "0.6"], "0.7"),
    ],
)
def test_a_part_that_is_not_in_the_take_is_wrong_usage(tmp_path, capsys, words, hint):
    soundfile.write(tmp_path / "a.wav", sine(), RATE)
    assert run(["draft", str(tmp_path / "a.wav"), "-q", *words]) == 2
    assert hint in capsys.readouterr().err


def test_the_loudest_noise_holds_no_notes(tmp_path, capsys):
    soundfile.write(tmp_path / "hiss.wav", hiss(), RATE)
    assert run(["draft", str(tmp_path / "hiss.wav"), "-q"]) == 4
    err = capsys.readouterr().err
    assert err.count("\n") == 1
    assert "no single-note line was found" in err
    assert [path.name for path in tmp_path.iterdir()] == ["hiss.wav"]


@pytest.mark.parametrize("content", ["", "[]", "{", '{"format_version": 99}', '{"format_version": 1}'])
def test_a_bad_line_file_is_refused(tmp_path, capsys, content):
    line = tmp_path / "a.line.json"
    line.write_text(content)
    assert run(["render", str(line), "--out", str(tmp_path / "a.flac"), "-q"]) in (1, 2)
    err = capsys.readouterr().err
    assert err.count("\n") == 1
    assert "unexpected" not in err
    assert list(tmp_path.iterdir()) == [line]


def test_a_missing_line_file_is_told(tmp_path, capsys):
    assert run(["render", str(tmp_path / "no.line.json"), "--out", str(tmp_path / "a.flac"), "-q"]) in (1, 2)
    err = capsys.readouterr().err
    assert "no.line.json" in err
    assert err.count("\n") == 1
