"""Mistyped commands, options and values: one line that says what would work."""

import pytest

from transcriber.cli import run


@pytest.mark.parametrize(
    ("words", "hint"),
    [
        ([], "draft TAKE"),
        (["drat", "a.wav"], "did you mean 'draft'?"),
        (["rendr", "a.line.json"], "did you mean 'render'?"),
        (["zzz"], "--help"),
        (["draft"], "TAKE"),
        (["draft", "a.wav", "--tepmo", "90"], "did you mean '--tempo'?"),
        (["draft", "a.wav", "--capo=2", "--posision=3"], "did you mean '--position'?"),
        (["draft", "a.wav", "--temp", "90"], "did you mean '--tempo'?"),
        (["draft", "a.wav", "--tempo"], "--tempo"),
        (["--verison"], "did you mean '--version'?"),
        (["-x", "draft", "a.wav"], "no option '-x'"),
        (["draft", "a.wav", "--tempo", "fast"], "20 to 400"),
        (["draft", "a.wav", "--tempo", "19.9"], "nearest that works is 20"),
        (["draft", "a.wav", "--tempo", "401"], "nearest that works is 400"),
        (["draft", "a.wav", "--tempo", "nan"], "20 to 400"),
        (["draft", "a.wav", "--meter", "waltz"], "like 4/4"),
        (["draft", "a.wav", "--meter", "4/5"], "nearest that works is 4/4"),
        (["draft", "a.wav", "--meter", "0/4"], "nearest that works is 1/4"),
        (["draft", "a.wav", "--meter", "99/8"], "nearest that works is 32/8"),
        (["draft", "a.wav", "--position", "-1"], "nearest that works is 0"),
        (["draft", "a.wav", "--position", "five"], "whole number"),
        (["draft", "a.wav", "--position", "40"], "out of 0 to 24; the nearest that works is 24"),
        (["draft", "a.wav", "--capo", "99"], "nearest that works is 23"),
        (["draft", "a.wav", "--capo", "30"], "nearest that works is 23"),
        (["draft", "a.wav", "--frets", "3"], "out of 5 to 36; the nearest that works is 5"),
        (["draft", "a.wav", "--frets", "21", "--position", "22"], "0 to 21"),
        (["draft", "a.wav", "--capo", "10", "--position", "15"], "0 to 14"),
        (["draft", "a.wav", "--tuning", "X Y Z"], "lowest string up"),
        (["draft", "a.wav", "--tuning", "E9 A9 D9 G9 B9 E9"], "open string"),
        (["draft", "a.wav", "--instrument", "banjolele"], "standard"),
        (["draft", "a.wav", "--start", "-1"], "0 or more"),
        (["draft", "a.wav", "--start", "now"], "not a number"),
        (["draft", "a.wav", "--start", "5", "--end", "5"], "more than 5"),
        (["draft", "a.wav", "--end", "0"], "more than 0"),
        (["draft", "a.wav", "--width", "10"], "nearest that works is 60"),
        (["draft", "a.wav", "--jobs", "0"], "nearest that works is 1"),
        (["draft", "a.wav", "--jobs", "many"], "whole number"),
        (["render", "a.line.json"], "--out"),
        (["render", "a.line.json", "--out", "a.wav"], ".flac"),
        (["render", "a.line.json", "--out", "a.flac", "--seed", "-1"], "nearest that works is 0"),
        (["render", "a.line.json", "--out", "a.flac", "--seed", "-1"], "out of 0 to 2147483647;"),
        (["render", "a.line.json", "--out", "a.flac", "--tempo", "7"], "nearest that works is 20"),
    ],
)
def test_wrong_usage_is_told_in_one_line(tmp_path, monkeypatch, capsys, words, hint):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("OMP_NUM_THREADS", "1")
    assert run(words) == 2
    printed = capsys.readouterr()
    assert printed.out == ""
    assert printed.err.count("\n") == 1
    assert hint in printed.err
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("words", [["--help"], ["draft", "--help"], ["render", "-h"]])
def test_help_is_printed(capsys, words):
    assert run(words) == 0
    printed = capsys.readouterr()
    assert "usage: transcriber" in printed.out
    assert printed.err == ""


def test_the_version_is_that_of_the_package(capsys):
    import transcriber

    assert run(["--version"]) == 0
    assert capsys.readouterr().out == f"transcriber {transcriber.__version__}\n"
