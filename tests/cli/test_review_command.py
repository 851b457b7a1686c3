"""`transcriber review`: what it writes instead of opening the page, and how it refuses."""

import json
import socket
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "review"))
from review_samples import drafted, write

from transcriber.cli import run
from transcriber.draft import Correction, NoteMark, append_correction


@pytest.fixture
def path(tmp_path):
    return write(drafted(), tmp_path)


def correct(path, note_id, action="remove_note", seen=0, **values):
    mark = NoteMark.of(drafted().note(note_id))
    append_correction(path, Correction(action, note=mark, values=values), seen)


def test_the_summary_counts_corrections_for_each_100_notes(path, capsys):
    correct(path, "n001")
    correct(path, "n002", "change_note", 1, velocity=50)
    correct(path, "n003", "confirm_note", 2)
    correct(path, "n004", "set_remark", 3, remark="gently")
    assert run(["review", str(path), "--summary", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["corrections"] == 2
    assert told["corrections_per_100_notes"] == round(200 / len(drafted().notes), 1)
    assert told["confirmed"] == 1
    assert run(["review", str(path), "--summary"]) == 0
    said = capsys.readouterr().out
    assert "2 corrections to 38 notes: 5.3 per 100" in said
    assert " 1 note found right, " in said


def test_labels_tell_what_became_of_each_note(path, tmp_path, capsys):
    correct(path, "n001")
    correct(path, "n002", "change_note", 1, beat="7/4", length="1/4")
    correct(path, "n003", "confirm_note", 2)
    target = tmp_path / "labels.jsonl"
    assert run(["review", str(path), "--labels", str(target)]) == 0
    lines = {one["note"]: one for one in map(json.loads, target.read_text(encoding="utf-8").splitlines())}
    assert len(lines) == len(drafted().notes)
    assert lines["n001"]["label"] == "removed"
    assert lines["n001"]["corrected"] is None
    assert (lines["n002"]["label"], lines["n002"]["wrong"]) == ("changed", ["rhythm"])
    assert lines["n002"]["corrected"]["beat"] == "7/4"
    assert lines["n003"]["label"] == "right"
    assert lines["n004"]["label"] == "not_looked_at"
    assert run(["review", str(path), "--labels", str(target)]) == 1


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (["nothing.draft.json", "--summary"], 1, "cannot be read"),
        (["{}", "--port", "80"], 2, "1024"),
        (["{}", "--port", "any"], 2, "port"),
        (["{}", "--summary", "--labels", "x.jsonl"], 2, "one of"),
        (["{}", "--standalone", "page.pdf"], 2, ".html"),
        (["{}", "--labels", "labels.csv"], 2, ".jsonl"),
        (["{}", "--json"], 2, "--json goes with"),
        (["take.flac"], 2, "is not a draft document"),
        (["{}", "--take", "nothing.wav", "--standalone", "new.html"], 3, "does not exist"),
        (["{}", "--sumary"], 2, "--summary"),
        ([], 2, "DRAFT"),
    ],
)
def test_wrong_usage_is_one_line_and_writes_nothing(path, monkeypatch, capsys, words, code, said):
    monkeypatch.chdir(path.parent)
    before = sorted(path.parent.iterdir())
    assert run(["review", *(word.format(path) for word in words)]) == code
    told = capsys.readouterr().err
    assert said in told
    assert told.count("\n") == 1
    assert sorted(path.parent.iterdir()) == before


def test_a_port_that_is_taken_is_named(path, capsys):
    with socket.create_server(("127.0.0.1", 0)) as other:
        port = other.getsockname()[1]
        assert run(["review", str(path), "--port", str(port)]) == 1
    assert f"port {port} is taken" in capsys.readouterr().err
