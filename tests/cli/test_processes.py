"""The program as a process: signals, pipes, terminals, full disks, and both ways to start it."""

import json
import os
import pty
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
import soundfile

from transcriber.draft import write_draft

PROGRAM = [sys.executable, "-m", "transcriber"]
SAMPLES = Path(__file__).resolve().parents[2] / "sample_audio_generated"


def start(*words, **options):
    return subprocess.run(
        [*PROGRAM, *words], capture_output=True, text=True, timeout=120, check=False, **options
    )


# The program with drafting replaced by reading a draft: for what does not depend on listening.
WITHOUT_LISTENING = """
import os, signal, sys
from pathlib import Path
import transcriber.drafting
from transcriber.draft import read_draft
from transcriber.cli import run
transcriber.drafting.draft_take = lambda path, *_: read_draft(Path(os.environ["READY_DRAFT"]))
"""


@pytest.fixture
def quick_program(draft, tmp_path_factory, monkeypatch):
    """Arguments that start the program without listening; more code may be put in before it runs."""
    ready = tmp_path_factory.mktemp("ready") / "ready.draft.json"
    write_draft(draft, ready)
    monkeypatch.setenv("READY_DRAFT", str(ready))

    def arguments(code=""):
        return [sys.executable, "-c", f"{WITHOUT_LISTENING}\n{code}\nsys.exit(run())"]

    return arguments


def names(folder):
    return sorted(path.name for path in folder.rglob("*"))


def test_a_take_is_drafted_for_real(recording, tmp_path):
    out = tmp_path / "out"
    done = start("draft", str(recording), "--out", str(out), "--json")
    assert done.returncode == 0
    (result,) = json.loads(done.stdout)
    assert names(out) == ["line.draft.json", "line.mid", "line.tab.txt"]
    # Four plucks of A3 (220 Hz, MIDI 57), half a second apart.
    document = json.loads((out / "line.draft.json").read_text())
    assert result["notes"] == len(document["notes"]) == 4
    assert {note["pitch_midi"] for note in document["notes"]} == {57}
    assert document["made_by"]["options"]["meter"] is None


def test_the_same_take_gives_the_same_bytes_with_one_thread_or_two(recording, tmp_path):
    for jobs in ("1", "2"):
        assert start("draft", str(recording), "--out", str(tmp_path / jobs), "--jobs", jobs).returncode == 0
    for path in (tmp_path / "1").iterdir():
        assert path.read_bytes() == (tmp_path / "2" / path.name).read_bytes()


@pytest.mark.parametrize("moment", ["reading the recording", "listening"])
def test_ctrl_c_leaves_nothing_and_exits_130(tmp_path, moment):
    # Long enough that the run is not over before this process gets to interrupt it.
    wave, rate = soundfile.read(next(iter(sorted(SAMPLES.glob("*.flac")))))
    sample = tmp_path / "long.wav"
    soundfile.write(sample, np.tile(wave, 8), rate)
    out = tmp_path / "out"
    process = subprocess.Popen(
        [*PROGRAM, "draft", str(sample), "--out", str(out)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    told = []
    while line := process.stderr.readline():
        told.append(line)
        if moment in line:
            time.sleep(0.05)
            process.send_signal(signal.SIGINT)
            break
    printed, rest = process.communicate(timeout=60)
    assert process.returncode == 130
    assert printed == ""
    assert "interrupted" in rest
    assert "Traceback" not in rest
    assert names(tmp_path) == ["long.wav"]


def test_ctrl_c_while_files_are_written_leaves_all_or_none(quick_program, recording, tmp_path):
    code = """
place, calls = os.link, []
def link(*words):
    place(*words)
    calls.append(words)
    if len(calls) == 2:
        os.kill(os.getpid(), signal.SIGINT)
os.link = link
"""
    words = ["draft", str(recording), "--out", str(tmp_path / "out"), "-q"]
    done = subprocess.run([*quick_program(code), *words], capture_output=True, text=True, check=False)
    assert done.returncode == 130
    assert names(tmp_path) == ["line.wav"]


def test_a_reader_that_leaves_early_is_no_trouble(quick_program, recording, tmp_path):
    reading, writing = os.pipe()
    os.close(reading)
    done = subprocess.run(
        [*quick_program(), "draft", str(recording), "-q"],
        stdout=writing,
        stderr=subprocess.PIPE,
        text=True,
        check=False,
    )
    os.close(writing)
    assert done.stderr == ""
    assert done.returncode == 0
    assert (tmp_path / "line.mid").exists()


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="/dev/full is Linux's")
def test_results_that_cannot_be_printed_are_an_error(quick_program, recording):
    with open("/dev/full", "w") as full:
        done = subprocess.run(
            [*quick_program(), "draft", str(recording), "-q"],
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
            check=False,
        )
    assert done.returncode == 1
    assert done.stderr.count("\n") == 1
    assert "No space left" in done.stderr


def on_a_terminal(program, words, **environment):
    """What the program writes to a terminal, stdout and stderr together."""
    parent, child = pty.openpty()
    kept = {key: value for key, value in os.environ.items() if key not in {"NO_COLOR", "FORCE_COLOR"}}
    process = subprocess.Popen(
        [*program, *words], stdout=child, stderr=child, env={**kept, "TERM": "xterm-256color", **environment}
    )
    os.close(child)
    told = b""
    while True:
        try:
            chunk = os.read(parent, 65536)
        except OSError:
            break
        if not chunk:
            break
        told += chunk
    os.close(parent)
    assert process.wait(timeout=60) == 0
    return told


def test_colour_on_a_terminal_unless_it_is_not_wanted(quick_program, recording):
    assert b"\x1b[1m" in on_a_terminal(quick_program(), ["draft", str(recording), "-q"])
    plain = on_a_terminal(quick_program(), ["draft", str(recording), "-q", "--force"], NO_COLOR="1")
    assert b"\x1b" not in plain
    assert b"4 notes" in plain


def test_progress_on_a_terminal_does_not_disturb_the_results(recording):
    told = on_a_terminal(PROGRAM, ["draft", str(recording)]).decode()
    stages = ("getting ready:", "reading the recording:", "listening:", "writing the rhythm:")
    assert any(stage in told for stage in stages), "which ones are drawn depends on their pace"
    assert "4 notes" in told


@pytest.mark.skipif(os.name == "nt", reason="names are bytes on POSIX only")
def test_a_file_name_that_is_no_text_is_taken(recording):
    odd = recording.with_name(os.fsdecode(b"caf\xe9.wav"))
    recording.rename(odd)
    done = start("draft", str(odd))
    assert done.returncode == 0
    assert done.stderr.count("Traceback") == 0


def test_the_module_and_the_command_are_one_program():
    assert start("--version").stdout.startswith("transcriber ")
