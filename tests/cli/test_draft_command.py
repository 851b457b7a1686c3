"""`transcriber draft` with stand-ins for the stages: files, words, exit codes."""

import errno
import json
import os

import pytest

from transcriber.cli import run

SUFFIXES = (".draft.json", ".tab.txt", ".mid")


def names(folder):
    return sorted(path.name for path in folder.rglob("*"))


def files_of(*stems):
    return sorted(stem + suffix for stem in stems for suffix in SUFFIXES)


def test_three_files_are_written_beside_the_take(tmp_path, stub_stages, capsys):
    assert run(["draft", str(tmp_path / "line.wav")]) == 0
    assert names(tmp_path) == files_of("line")
    document = json.loads((tmp_path / "line.draft.json").read_text())
    assert [note["pitch_midi"] for note in document["notes"]] == [60, 62, 64, 65]
    assert (tmp_path / "line.mid").read_bytes().startswith(b"MThd")
    assert (tmp_path / "line.tab.txt").read_text().strip()


def test_the_folder_given_is_made(tmp_path, stub_stages):
    out = tmp_path / "new" / "deep"
    assert run(["draft", "somewhere/take.01.flac", "--out", str(out)]) == 0
    assert names(out) == files_of("take.01")


def test_the_summary_tells_what_to_check_and_what_was_written(tmp_path, stub_stages, capsys):
    run(["draft", str(tmp_path / "line.wav")])
    printed = capsys.readouterr()
    assert "120 beats a minute, meter 4/4, 4 notes" in printed.out
    assert "Check first (1 of 4 notes)" in printed.out
    assert "0.50 s, bar 1, beat 2: the pitch (0.30 sure)" in printed.out
    assert "clipped from 1.0 to 1.2 s" in printed.out
    for suffix in SUFFIXES:
        assert str(tmp_path / f"line{suffix}") in printed.out
    assert "\x1b" not in printed.out + printed.err
    assert "listening" in printed.err
    assert "listening" not in printed.out


def test_quiet_takes_away_progress_only(tmp_path, stub_stages, capsys):
    run(["draft", str(tmp_path / "line.wav"), "-q"])
    printed = capsys.readouterr()
    assert printed.err == ""
    assert "4 notes" in printed.out


def test_json_is_all_there_is_on_stdout(tmp_path, stub_stages, capsys):
    assert run(["draft", str(tmp_path / "line.wav"), str(tmp_path / "bad.wav"), "--json"]) == 3
    first, second = json.loads(capsys.readouterr().out)
    assert first["ok"] is True
    assert (first["tempo_bpm"], first["meter"], first["notes"]) == (120.0, "4/4", 4)
    assert first["files"] == [str(tmp_path / f"line{suffix}") for suffix in SUFFIXES]
    (check,) = first["check_first"]
    assert (check["note"], check["bar"], check["beat"], check["start_s"]) == ("n002", 1, "2", 0.5)
    assert [issue["code"] for issue in first["issues"]] == ["clipping"]
    assert second["ok"] is False
    assert second["error"]["exit_code"] == 3
    assert "empty" in second["error"]["message"]


def test_json_is_valid_where_nothing_could_start(tmp_path, capsys):
    assert run(["draft", "a.wav", "b.wav", "--json", "--tempo", "5"]) == 2
    printed = capsys.readouterr()
    results = json.loads(printed.out)
    assert [(result["take"], result["error"]["exit_code"]) for result in results] == [
        ("a.wav", 2),
        ("b.wav", 2),
    ]
    assert printed.err.count("\n") == 1


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_nothing_is_replaced_unless_forced(tmp_path, stub_stages, capsys, suffix):
    old = tmp_path / f"line{suffix}"
    old.write_text("mine")
    assert run(["draft", str(tmp_path / "line.wav")]) == 1
    assert str(old) in capsys.readouterr().err
    assert names(tmp_path) == [old.name]
    assert old.read_text() == "mine"
    assert stub_stages == [], "refused before the work"
    assert run(["draft", str(tmp_path / "line.wav"), "--force"]) == 0
    assert names(tmp_path) == files_of("line")
    assert old.read_bytes() != b"mine"


def test_after_a_take_that_fails_the_next_is_drafted(tmp_path, stub_stages, capsys):
    takes = ["mute.wav", "one.wav", "bad.wav", "two.wav"]
    assert run(["draft", *(str(tmp_path / name) for name in takes)]) == 4
    assert names(tmp_path) == files_of("one", "two")
    err = capsys.readouterr().err
    assert "2 of 4 takes failed" in err
    assert "no notes" in err
    assert "empty" in err


@pytest.mark.parametrize(
    ("name", "code", "words"),
    [("bad.wav", 3, "empty"), ("mute.wav", 4, "no notes"), ("stop.wav", 130, "interrupted")],
)
def test_each_failure_has_its_exit_code_and_one_line(tmp_path, stub_stages, capsys, name, code, words):
    assert run(["draft", str(tmp_path / name), "-q"]) == code
    printed = capsys.readouterr()
    assert printed.out == ""
    assert words in printed.err
    assert printed.err.count("\n") == 1
    assert names(tmp_path) == []


def test_what_nobody_expected_is_one_line_with_a_hint(tmp_path, stub_stages, capsys):
    assert run(["draft", str(tmp_path / "crash.wav"), "-q"]) == 1
    err = capsys.readouterr().err
    assert err.count("\n") == 1
    assert "ZeroDivisionError" in err
    assert "-v" in err
    assert run(["draft", str(tmp_path / "crash.wav"), "-q", "-v"]) == 1
    assert "Traceback" in capsys.readouterr().err


def test_an_interrupt_ends_the_run_and_keeps_what_was_done(tmp_path, stub_stages, capsys):
    takes = [str(tmp_path / name) for name in ("one.wav", "stop.wav", "two.wav")]
    assert run(["draft", *takes, "--json"]) == 130
    assert names(tmp_path) == files_of("one")
    done, stopped = json.loads(capsys.readouterr().out)
    assert done["ok"] is True
    assert stopped["error"]["exit_code"] == 130


@pytest.mark.parametrize(
    ("takes", "out"),
    [
        (("a/solo.wav", "b/solo.flac"), "out"),
        (("solo.wav", "solo.flac"), None),
        (("solo.wav", "./solo.wav"), None),
        (("solo.wav", "solo.wav"), "out"),
    ],
)
def test_two_takes_for_one_name_are_refused_before_work_starts(
    tmp_path, monkeypatch, stub_stages, capsys, takes, out
):
    monkeypatch.chdir(tmp_path)
    assert run(["draft", *takes, *(["--out", out] if out else [])]) == 2
    err = capsys.readouterr().err
    assert takes[0] in err
    assert takes[1] in err
    assert stub_stages == []
    assert names(tmp_path) == []


def test_takes_of_one_name_in_two_folders_are_fine_beside_themselves(tmp_path, monkeypatch, stub_stages):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "a").mkdir()
    (tmp_path / "b").mkdir()
    assert run(["draft", "a/solo.wav", "b/solo.wav"]) == 0


def test_a_path_below_a_file_is_no_folder(tmp_path, stub_stages, capsys):
    (tmp_path / "file").write_text("x")
    assert run(["draft", "line.wav", "--out", str(tmp_path / "file" / "out")]) == 1
    assert "is not a folder" in capsys.readouterr().err
    assert stub_stages == []
    assert names(tmp_path) == ["file"]


def test_a_folder_that_is_not_ours_to_write_is_refused_before_work(
    tmp_path, stub_stages, capsys, monkeypatch
):
    monkeypatch.setattr(os, "access", lambda *_args, **_kwargs: False)
    assert run(["draft", str(tmp_path / "line.wav")]) == 1
    assert "cannot be written to" in capsys.readouterr().err
    assert stub_stages == []


@pytest.mark.parametrize("call", ["fsync", "link"])
def test_a_full_disk_leaves_nothing_behind(tmp_path, stub_stages, capsys, monkeypatch, call):
    def refuse(*_args, **_kwargs):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, call, refuse)
    if call == "link":
        monkeypatch.setattr(os, "rename", refuse)
    assert run(["draft", str(tmp_path / "line.wav"), "--out", str(tmp_path / "out"), "-q"]) == 1
    err = capsys.readouterr().err
    assert "No space left on device" in err
    assert err.count("\n") == 1
    assert names(tmp_path) == []


def test_a_folder_that_cannot_be_made_is_told(tmp_path, stub_stages, capsys, monkeypatch):
    def refuse(*_args, **_kwargs):
        raise OSError(errno.EROFS, "Read-only file system")

    monkeypatch.setattr("pathlib.Path.mkdir", refuse)
    assert run(["draft", "line.wav", "--out", str(tmp_path / "out"), "-q"]) == 1
    assert "Read-only file system" in capsys.readouterr().err


def test_a_name_with_control_characters_stays_on_one_line(tmp_path, stub_stages, capsys):
    assert run(["draft", str(tmp_path / "bad\nname\x1b[31m.wav"), "-q"]) == 3
    err = capsys.readouterr().err
    assert err.count("\n") == 1
    assert "\x1b" not in err
    assert r"bad\nname\x1b[31m" in err


def test_options_reach_the_settings(tmp_path, stub_stages):
    rhythm = ["--tempo", "96.5", "--meter", "6/8", "--start", "1", "--end", "9.5"]
    hand = ["--capo", "2", "--position", "5", "--tuning", "D A D G B E"]
    assert run(["draft", str(tmp_path / "line.wav"), *rhythm, *hand]) == 0
    ((_, settings),) = stub_stages
    assert settings.tempo_bpm == 96.5
    assert str(settings.meter) == "6/8"
    assert (settings.capo, settings.position, settings.start_s, settings.end_s) == (2, 5, 1.0, 9.5)
    assert settings.tuning == "D A D G B E"


def test_width_shapes_the_tab(tmp_path, stub_stages):
    run(["draft", str(tmp_path / "line.wav"), "--width", "60"])
    assert max(len(line) for line in (tmp_path / "line.tab.txt").read_text().splitlines()) <= 60
