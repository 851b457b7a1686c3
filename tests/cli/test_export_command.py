"""`transcriber export`: files, words, exit codes."""

import json
import re
import subprocess
import sys

import pytest

from transcriber.cli import run
from transcriber.draft import Correction, NoteMark, append_correction, journal_path, write_draft
from transcriber.explain import explained
from transcriber.export.formats import FORMATS, formats_named, left_behind
from transcriber.settings import ExportSettings

SINGLE = [row for row in FORMATS if row.single]


@pytest.fixture
def document(tmp_path, draft):
    path = tmp_path / "line.draft.json"
    write_draft(draft, path)
    return path


def names(folder):
    return sorted(path.name for path in folder.rglob("*"))


def test_each_format_has_a_name_and_an_ending_of_its_own():
    assert len({row.name for row in FORMATS}) == len(FORMATS)
    assert len({row.suffix for row in SINGLE}) == len(SINGLE)


def test_files_stand_beside_the_draft(document, capsys):
    assert run(["export", str(document), "--to", "midi", "--to", "text"]) == 0
    assert names(document.parent) == ["line.draft.json", "line.mid", "line.tab.txt"]
    printed = capsys.readouterr()
    assert str(document.parent / "line.mid") in printed.out
    assert "writing text, midi" in printed.err


@pytest.mark.parametrize(
    ("out", "formats", "written"),
    [
        ("new/deep", "text,midi", ["line.mid", "line.tab.txt"]),
        ("lesson.1/", "midi", ["line.mid"]),
        ("other.mid", "midi", ["other.mid"]),
        ("other.TXT", "text", ["other.TXT"]),
    ],
)
def test_a_folder_or_a_file_may_be_named(document, tmp_path, out, formats, written):
    folder = tmp_path / "there"
    folder.mkdir()
    place = f"{folder}/{out}"
    assert run(["export", str(document), "--to", formats, "--out", place, "-q"]) == 0
    assert sorted(path.name for path in folder.rglob("*") if path.is_file()) == written


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (["--to", "midy"], 2, "there is no format 'midy'; did you mean 'midi'?"),
        (["--to", ","], 2, "no format is named"),
        ([], 2, "--to"),
        (["--to", "midi", "--out", "x.wav"], 2, "does not end in .mid"),
        (["--to", "midi,text", "--out", "x.mid"], 2, "looks like one file"),
        (["--to", "midi,text", "--out", "-"], 2, "takes one format"),
        (["--to", "text", "--out", "-", "--json"], 2, "leave one away"),
        (["--to", "text", "--width", "10"], 2, "60"),
        (["--to", "midi", "--timing", "late"], 2, "--timing"),
        (["--tom", "midi"], 2, "did you mean '--to'"),
    ],
)
def test_wrong_usage_is_one_line_and_nothing_is_written(document, capsys, words, code, said):
    assert run(["export", str(document), *words]) == code
    err = capsys.readouterr().err
    assert said in err
    assert err.count("\n") == 1
    assert names(document.parent) == [document.name]


def test_a_recording_in_the_draft_s_place_is_told_apart(document, capsys):
    take = document.with_name("line.wav")
    take.write_bytes(b"RIFF")
    assert run(["export", str(take), "--to", "midi"]) == 2
    assert f"its draft is '{document}'" in capsys.readouterr().err
    other = document.with_name("other.wav")
    other.write_bytes(b"RIFF")
    assert run(["export", str(other), "--to", "midi"]) == 2
    assert "draft it first" in capsys.readouterr().err


def test_a_folder_is_no_draft(tmp_path, capsys):
    assert run(["export", str(tmp_path), "--to", "midi"]) == 2
    assert "is a folder" in capsys.readouterr().err


def test_a_draft_that_is_not_there_or_damaged_fails(document, capsys):
    assert run(["export", "nowhere.draft.json", "--to", "midi", "-q"]) == 1
    assert "cannot be read" in capsys.readouterr().err
    document.write_text("{")
    assert run(["export", str(document), "--to", "midi", "-q"]) == 1
    assert "line.draft.json" in capsys.readouterr().err


@pytest.mark.parametrize("there", ["line.mid", "line.tab.txt"])
def test_nothing_is_replaced_unless_forced_and_then_all_or_none(document, capsys, there):
    old = document.with_name(there)
    old.write_text("mine")
    assert run(["export", str(document), "--to", "midi,text", "-q"]) == 1
    assert "--force" in capsys.readouterr().err
    assert names(document.parent) == sorted([document.name, there])
    assert old.read_text() == "mine"
    assert run(["export", str(document), "--to", "midi,text", "-q", "--force"]) == 0
    assert old.read_bytes() != b"mine"


def test_json_tells_the_files(document, capsys):
    assert run(["export", str(document), "--to", "midi", "--json"]) == 0
    (entry,) = json.loads(capsys.readouterr().out)
    assert entry["files"] == [str(document.with_name("line.mid"))]


def test_corrections_are_in_what_is_written_and_those_left_out_are_told(document, draft, capsys):
    run(["export", str(document), "--to", "midi", "-q"])
    before = document.with_name("line.mid").read_bytes()
    mark = NoteMark.of(draft.notes[1])
    values = {"pitch_midi": 63, "string": 3, "fret": 8}
    append_correction(document, Correction("change_note", note=mark, values=values), seen=0)
    run(["export", str(document), "--to", "midi", "-q", "--force"])
    assert document.with_name("line.mid").read_bytes() != before
    journal = journal_path(document)
    journal.write_text(journal.read_text() + '{"torn')
    capsys.readouterr()
    assert run(["export", str(document), "--to", "midi", "-q", "--force"]) == 0
    printed = capsys.readouterr()
    assert "note: " in printed.err
    assert printed.out.startswith("Written: ")


@pytest.mark.parametrize("row", [row for row in SINGLE if row.name in ("text", "midi", "csv")])
def test_standard_output_gets_the_same_bytes_as_a_file(document, row):
    folder = document.parent / "out"
    assert run(["export", str(document), "--to", row.name, "--out", str(folder), "-q"]) == 0
    words = [sys.executable, "-m", "transcriber", "export", str(document), "--to", row.name, "--out", "-"]
    done = subprocess.run(words, capture_output=True, timeout=60)
    assert (done.returncode, done.stderr) == (0, b"")
    assert done.stdout == (folder / f"line{row.suffix}").read_bytes()


def test_a_closed_pipe_is_no_failure(document):
    command = f"'{sys.executable}' -m transcriber export '{document}' --to text --out - | head -c 1"
    done = subprocess.run(["bash", "-o", "pipefail", "-c", command], capture_output=True, timeout=60)
    assert (done.returncode, done.stderr) == (0, b"")


def test_draft_writes_the_formats_asked_for(tmp_path, stub_stages):
    assert run(["draft", str(tmp_path / "line.wav"), "--to", "text", "-q"]) == 0
    assert names(tmp_path) == ["line.draft.json", "line.tab.txt"]
    assert run(["draft", str(tmp_path / "line.wav"), "--to", "middi", "-q"]) == 2


def test_what_is_not_installed_is_told_before_the_take_is_heard(tmp_path, stub_stages, capsys, monkeypatch):
    monkeypatch.setattr("importlib.util.find_spec", lambda name: None)
    assert run(["draft", str(tmp_path / "line.wav"), "--to", "text,plot", "-q"]) == 2
    assert "pip install 'transcriber[plot]'" in capsys.readouterr().err
    assert stub_stages == []
    assert names(tmp_path) == []


def test_pages_of_an_earlier_longer_export_go_and_nothing_else_does(document, capsys):
    assert run(["export", str(document), "--to", "necks", "-q"]) == 0
    made = sorted(document.parent.glob("line.neck-*.svg"))
    there = len(made)
    assert there >= 1
    more = [document.with_name(f"line.neck-{number:02d}.svg") for number in (there + 1, there + 2)]
    others = [
        document.with_name(name)
        for name in (f"line.neck-{there + 4:02d}.svg", "line.neck-xx.svg", "line2.neck-01.svg", "line.mid")
    ]
    for path in (*more, *others):
        path.write_text("old")
    # Without --force nothing is replaced, and nothing goes.
    assert run(["export", str(document), "--to", "necks", "-q"]) == 1
    assert all(path.exists() for path in more)
    capsys.readouterr()
    assert run(["export", str(document), "--to", "necks", "--force", "--json"]) == 0
    (entry,) = json.loads(capsys.readouterr().out)
    assert entry["removed"] == [str(path) for path in more]
    assert entry["files"] == [str(path) for path in made]
    assert not any(path.exists() for path in more)
    assert all(path.read_text() == "old" for path in others)
    more[0].write_text("old")
    assert run(["export", str(document), "--to", "necks", "--force"]) == 0
    assert f"Removed, as the earlier export had more of them: {more[0]}" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("format_name", "written", "there", "left"),
    [
        ("sheet-svg", ["-1", "-2"], ["-1", "-2", "-3", "-4", "-6"], ["-3", "-4"]),
        # One page has no number.
        ("sheet-svg", [""], ["", "-1", "-2", "-3"], ["-1", "-2", "-3"]),
        ("sheet-png", ["-1", "-2"], ["", "-1", "-2"], [""]),
        ("sheet-png", ["-1", "-2"], ["-1", "-2", "-10"], []),
        ("sheet-png", [], ["-1", "-2"], []),
    ],
)
def test_the_pages_left_behind_are_those_beyond_the_new_ones(format_name, written, there, left):
    (row,) = formats_named([format_name])
    ending = format_name.removeprefix("sheet-")
    name = "a.b (1)"

    def named(pages):
        return [f"{name}.sheet{page}.{ending}" for page in pages]

    strangers = [f"axb (1).sheet-3.{ending}", f"{name}.sheet-3.{ending}x", f"{name}.sheet-3a.{ending}"]
    found = left_behind(row, name, named(written), [*strangers, *named(there)])
    assert found == tuple(named(left))


@pytest.mark.parametrize("name", ["sheet-svg", "sheet-png", "phrases", "necks"])
def test_a_format_of_several_files_knows_its_own_names(name, document, draft):
    (row,) = formats_named([name])
    if row.needs is not None:
        pytest.importorskip(row.needs[0], reason="the extra 'sheet' is not installed")
    suffixes = [one for one in row.write(explained(draft), ExportSettings()) if not one.endswith(".json")]
    assert suffixes
    assert all(re.fullmatch(row.numbered, suffix) for suffix in suffixes)
