"""The journal: appended, undone by appending, robust against a torn tail and a second writer."""

from __future__ import annotations

import errno
import json
import os
from dataclasses import replace

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from journal_samples import (
    BENT,
    FIRST,
    GRACE,
    SAMPLE,
    change,
    mark,
    redrafted,
    remark,
    undo,
)

from transcriber.draft import (
    Correction,
    append_correction,
    journal,
    journal_path,
    read_corrected,
    read_draft,
    read_journal,
    write_draft,
)
from transcriber.errors import DraftError


@pytest.fixture
def path(tmp_path):
    path = tmp_path / "harbour.draft.json"
    write_draft(SAMPLE, path)
    return path


@pytest.mark.parametrize(
    ("correction", "said"),
    [
        (change(FIRST, fret=23), r"fret is 23; the highest fret over the capo is 22"),
        (change(FIRST, fret=-1), r"fret is -1; it must be at least 0"),
        (change(FIRST, string=7), r"string is 7; the tuning has 6 strings"),
        (change(FIRST, string=1, pitch_midi=50), r"string 1 cannot sound pitch 50: it would be fret -14"),
        (change(FIRST, string=2, fret=5, pitch_midi=65), r"string 2 at fret 5 sounds 64"),
        (change(FIRST, beat="5"), r'beat is "5"; in 4/4'),
        (change(FIRST, beat=2), r"beat is 2; it must be string"),
        (change(FIRST, velocity=float("nan")), r"velocity is NaN"),
        (change(FIRST, colour="red"), r'change_note does not take the value "colour"'),
        (change(replace(FIRST, id="n999"), velocity=3), r"there is no note n999"),
        (Correction("change_note", values={"velocity": 3}), r"change_note needs 'note'"),
        (Correction("sing"), r'the action is "sing"; it must be one of change_note'),
        (Correction("add_note", values={"onset_s": 1.0}), r"add_note needs the value 'bar'"),
        (Correction("set_remark", values={"remark": "?"}), r"set_remark needs a note or a phrase"),
        (remark(FIRST, 7), r"\$ is 7; it must be string"),
        (
            Correction("replace_techniques", note=mark(FIRST), values={"techniques": [{"kind": "vibrato"}]}),
            r"lacks the key",
        ),
        (
            Correction("replace_techniques", note=mark(FIRST), values={"techniques": "bend"}),
            r"must be an array",
        ),
        (
            Correction("replace_techniques", note=mark(GRACE), values={"techniques": []}),
            r'a grace alone has length "0"',
        ),
        (Correction("change_timing", values={"meter": "6/8"}), r"6/8 counts other beats than 4/4"),
        (Correction("change_timing", values={"first_beat": -9}), r"a pickup is one bar at most"),
        (Correction("change_timing", values={"beats_s": [1.0, 1.0]}), r"must be after the one before"),
        (Correction("set_chords", values={"chords": {}}), r"must be an array"),
        (Correction("set_phrase", phrase="p2", values={"name": "x"}), r"lacks the key 'start_s'"),
        (Correction("remove_phrase", phrase="p2"), r"there is no phrase p2"),
        (Correction("remove_phrase", phrase="p1", undoes=1), r"does not take 'undoes'"),
        (undo(1), r"there is no revision 1 to undo; the last is 0"),
    ],
)
def test_what_does_not_fit_is_refused_and_nothing_is_written(path, correction, said):
    with pytest.raises(DraftError, match=said) as caught:
        append_correction(path, correction, seen=0)
    assert "\n" not in str(caught.value)
    assert not journal_path(path).exists()


# The file


def test_corrections_are_appended_beside_the_draft(path):
    before = path.read_bytes()
    append_correction(path, change(FIRST, string=3), seen=0)
    append_correction(path, remark(BENT, "„leise“"), seen=1)
    assert path.read_bytes() == before
    lines = (path.parent / "harbour.corrections.jsonl").read_text(encoding="utf-8").splitlines()
    assert [json.loads(line)["revision"] for line in lines] == [1, 2]
    assert json.loads(lines[0])["note"] == {"id": "n001", "onset_s": 0.5, "pitch_midi": 64}
    assert "„leise“" in lines[1]
    seen = read_corrected(path)
    assert (seen.revision, seen.problems) == (2, ())
    assert (seen.draft.note("n001").fret, seen.draft.note("n003").remark) == (9, "„leise“")
    assert read_draft(path) == SAMPLE


def test_no_journal_is_an_empty_one(path):
    assert read_corrected(path).draft == SAMPLE
    assert read_corrected(path).revision == 0


def test_undo_and_undo_of_the_undo(path):
    append_correction(path, change(FIRST, velocity=1), seen=0)
    append_correction(path, undo(1), seen=1)
    assert read_corrected(path).draft == SAMPLE
    with pytest.raises(DraftError, match="revision 1 is undone already"):
        append_correction(path, undo(1), seen=2)
    append_correction(path, undo(2), seen=2)
    assert read_corrected(path).draft.note("n001").velocity == 1
    assert len(journal_path(path).read_bytes().splitlines()) == 3


def test_a_stale_writer_is_refused(path):
    append_correction(path, change(FIRST, velocity=1), seen=0)
    kept = journal_path(path).read_bytes()
    with pytest.raises(
        DraftError, match=r"at revision 1 and this correction was made on 0; read the draft again"
    ):
        append_correction(path, change(FIRST, velocity=2), seen=0)
    assert journal_path(path).read_bytes() == kept


def test_a_writer_that_became_stale_while_waiting_is_refused(path, monkeypatch):
    """Both writers read revision 0; the second gets the lock when the first is done."""
    hold = journal.hold_lock

    def slow(handle, name):
        monkeypatch.setattr(journal, "hold_lock", hold)
        append_correction(path, change(FIRST, velocity=1), seen=0)
        return hold(handle, name)

    monkeypatch.setattr(journal, "hold_lock", slow)
    with pytest.raises(DraftError, match="at revision 1 and this correction was made on 0"):
        append_correction(path, change(FIRST, velocity=2), seen=0)
    assert read_corrected(path).draft.note("n001").velocity == 1


def test_a_held_lock_is_waited_for_and_then_refused(path, monkeypatch):
    from functools import partial

    append_correction(path, change(FIRST, velocity=1), seen=0)
    handle = os.open(journal_path(path), os.O_RDWR)
    monkeypatch.setattr(journal, "hold_lock", partial(journal.hold_lock, wait_s=0.1))
    with (
        partial(journal.hold_lock)(handle, journal_path(path)),
        pytest.raises(DraftError, match=r"is held by another writer for over 0\.1 s"),
    ):
        append_correction(path, change(FIRST, velocity=2), seen=1)
    os.close(handle)
    assert append_correction(path, change(FIRST, velocity=2), seen=1).revision == 2


@pytest.fixture
def three_lines(path):
    for revision in range(3):
        append_correction(path, change(FIRST, velocity=revision + 1), seen=revision)
    return journal_path(path).read_bytes()


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.data())
def test_a_torn_tail_loses_that_line_alone(path, three_lines, data):
    """Cut anywhere in the last line: two lines stand, a warning tells, and appending goes on from there."""
    lines = three_lines.splitlines(keepends=True)
    start = len(lines[0] + lines[1])
    cut = data.draw(st.integers(start + 1, len(three_lines) - 2))
    journal_path(path).write_bytes(three_lines[:cut])
    seen = read_corrected(path)
    assert (seen.revision, seen.draft.note("n001").velocity) == (2, 2)
    assert [problem.code for problem in seen.problems] == ["journal_torn"]
    assert "Line 3" in seen.problems[0].message
    append_correction(path, change(FIRST, velocity=9), seen=2)
    again = read_corrected(path)
    assert (again.revision, again.draft.note("n001").velocity, again.problems) == (3, 9, ())
    assert journal_path(path).read_bytes().startswith(lines[0] + lines[1])


def test_a_lost_newline_loses_nothing(path, three_lines):
    journal_path(path).write_bytes(three_lines[:-1])
    assert (read_corrected(path).revision, read_corrected(path).problems) == (3, ())
    append_correction(path, change(FIRST, velocity=9), seen=3)
    assert journal_path(path).read_bytes().startswith(three_lines)
    assert read_corrected(path).revision == 4


@pytest.mark.parametrize(
    ("damage", "said"),
    [
        (lambda lines: [lines[0], lines[1][:30], lines[2]], r"line 2: line 1 is not JSON"),
        (lambda lines: [lines[0], b"", lines[2]], r"line 2: line 1 is not JSON"),
        (lambda lines: [lines[0], lines[2]], r"line 2: \$\.revision is 3; it must be 2, a line is missing"),
        (
            lambda lines: [lines[0].replace(b"change_note", b"sing"), *lines[1:]],
            r"line 1: \$\.action is \"sing\"",
        ),
        (
            lambda lines: [lines[0].replace(b'version": 2', b'version": 3'), *lines[1:]],
            r"line 1: .*use a newer one",
        ),
        (
            lambda lines: [*lines[:2], lines[2].replace(b"velocity", b"colour")],
            r"line 3: change_note does not take",
        ),
        (lambda lines: [b"7", *lines[1:]], r"line 1: \$ is 7; it must be object"),
    ],
)
def test_damage_elsewhere_is_an_error_with_its_line(path, three_lines, damage, said):
    lines = damage(three_lines.splitlines())
    journal_path(path).write_bytes(b"\n".join(lines) + b"\n")
    with pytest.raises(DraftError, match=said):
        read_journal(journal_path(path))
    with pytest.raises(DraftError, match=said):
        read_corrected(path)


@pytest.mark.parametrize("error", [OSError(errno.ENOSPC, "No space left on device"), KeyboardInterrupt()])
def test_a_failed_append_leaves_the_journal_as_it_was(path, three_lines, monkeypatch, error):
    def half(handle, data):
        os.pwrite(handle, bytes(data[:10]), len(three_lines))
        raise error

    monkeypatch.setattr(journal.os, "write", half)
    with pytest.raises((DraftError, KeyboardInterrupt)) as caught:
        append_correction(path, change(FIRST, velocity=9), seen=3)
    if isinstance(caught.value, DraftError):
        assert "No space left on device; the correction is not kept" in str(caught.value)
    assert journal_path(path).read_bytes() == three_lines


def test_writing_the_draft_again_keeps_the_journal(path):
    append_correction(path, remark(BENT, "hold it"), seen=0)
    write_draft(redrafted(), path, force=True)
    seen = read_corrected(path)
    assert seen.draft.note("n004").remark == "hold it"
    append_correction(path, change(seen.draft.note("n004"), velocity=5), seen=1)
    assert read_corrected(path).draft.note("n004").velocity == 5
