"""`transcriber render`: sound and truth, beside each other."""

import json
from pathlib import Path

import numpy as np
import pytest
import soundfile

from transcriber.cli import run

LINE = {
    "format_version": 1,
    "title": "Three steps up the pier",
    "instrument": "electric guitar",
    "tuning_midi": [64, 59, 55, 50, 45, 40],
    "frets": 22,
    "meter": "4/4",
    "tempo_bpm": 120,
    "notes": [
        {"start": "0", "length": "1", "string": 3, "fret": 5},
        {"start": "1", "length": "1", "string": 3, "fret": 7},
        {"start": "2", "length": "2", "string": 2, "fret": 5},
    ],
}


@pytest.fixture
def line(tmp_path):
    path = tmp_path / "pier.line.json"
    path.write_text(json.dumps(LINE))
    return path


def test_sound_and_truth_are_written(line, tmp_path, capsys):
    out = tmp_path / "sound" / "pier.flac"
    assert run(["render", str(line), "--out", str(out), "-q"]) == 0
    sound, rate = soundfile.read(out)
    assert rate == 44100
    assert 0.05 < np.abs(sound).max() <= 1.0
    truth = json.loads((out.parent / "pier.truth.json").read_text())
    assert [note["pitch_midi"] for note in truth["notes"]] == [60, 62, 64]
    assert sorted(path.name for path in out.parent.iterdir()) == ["pier.flac", "pier.truth.json"]
    assert str(out) in capsys.readouterr().out


def test_one_seed_is_one_take(line, tmp_path):
    for name, seed in (("a", "4"), ("b", "4"), ("c", "5")):
        assert run(["render", str(line), "--out", str(tmp_path / f"{name}.flac"), "--seed", seed, "-q"]) == 0
    first, same, other = ((tmp_path / f"{name}.flac").read_bytes() for name in "abc")
    assert first == same
    assert first != other


def test_json_lists_the_files(line, tmp_path, capsys):
    out = tmp_path / "x.flac"
    words = ["--style", "exact", "--tone", "warm", "--tempo", "90", "--json"]
    assert run(["render", str(line), "--out", str(out), *words]) == 0
    (result,) = json.loads(capsys.readouterr().out)
    assert [Path(name).name for name in result["files"]] == ["x.flac", "x.truth.json"]


@pytest.mark.parametrize("there", ["pier.flac", "pier.truth.json"])
def test_nothing_is_replaced_unless_forced(line, tmp_path, capsys, there):
    (tmp_path / there).write_text("mine")
    assert run(["render", str(line), "--out", str(tmp_path / "pier.flac"), "-q"]) == 1
    assert there in capsys.readouterr().err
    assert (tmp_path / there).read_text() == "mine"
    assert run(["render", str(line), "--out", str(tmp_path / "pier.flac"), "-q", "--force"]) == 0


@pytest.mark.parametrize("words", [["--style", "wild"], ["--tone", "purple"]])
def test_an_unknown_style_or_tone_is_told_with_those_there_are(line, tmp_path, capsys, words):
    assert run(["render", str(line), "--out", str(tmp_path / "a.flac"), "-q", *words]) == 2
    assert words[1] in capsys.readouterr().err


def test_what_is_rendered_can_be_drafted(line, tmp_path, capsys):
    assert run(["render", str(line), "--out", str(tmp_path / "pier.flac"), "--style", "exact", "-q"]) == 0
    assert run(["draft", str(tmp_path / "pier.flac"), "--tempo", "120", "-q"]) == 0
    document = json.loads((tmp_path / "pier.draft.json").read_text())
    assert [note["pitch_midi"] for note in document["notes"]] == [60, 62, 64]
