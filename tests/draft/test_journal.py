"""The journal: appended, undone by appending, robust against a torn tail and a second writer."""

from __future__ import annotations

import errno
import json
import os
from dataclasses import replace
from fractions import Fraction

import pytest
from draft_samples import sample_draft
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from transcriber.draft import (
    Alternative,
    Correction,
    Journal,
    JournalEntry,
    Key,
    NoteMark,
    append_correction,
    apply_journal,
    draft_bytes,
    journal,
    journal_path,
    read_corrected,
    read_draft,
    read_journal,
    write_draft,
)
from transcriber.draft.apply import document_sha256
from transcriber.errors import DraftError
from transcriber.records.technique import Technique
from transcriber.records.written import Meter

SAMPLE = sample_draft()
FIRST, GRACE, BENT, LOW = SAMPLE.notes


@pytest.fixture
def path(tmp_path):
    path = tmp_path / "harbour.draft.json"
    write_draft(SAMPLE, path)
    return path


def mark(note):
    return NoteMark.of(note)


def change(note, **values):
    return Correction("change_note", note=mark(note), values=values)


def remark(note, text):
    return Correction("set_remark", note=mark(note), values={"remark": text})


def undo(revision):
    return Correction("undo", undoes=revision)


def made(*corrections, draft=SAMPLE):
    """A journal with these corrections, all made on one draft."""
    digest = document_sha256(draft)
    return Journal(tuple(JournalEntry(n, digest, each) for n, each in enumerate(corrections, start=1)))


def corrected(*corrections, draft=SAMPLE):
    """The sample with these corrections; all must fit, and the result must be a good document."""
    result, problems = apply_journal(draft, made(*corrections))
    assert problems == ()
    draft_bytes(result)
    return result


# The operations


def test_a_new_string_keeps_the_pitch_and_remembers_the_old_place():
    note = corrected(change(FIRST, string=3)).note("n001")
    assert (note.pitch_midi, note.string, note.fret) == (64, 3, 9)
    assert note.alternatives == (Alternative(2, 5),)
    assert note.confidence.place == 1.0
    assert note.confidence.overall == round(0.9**4, 3)
    assert note.confidence.pitch == 0.9


def test_a_new_fret_moves_the_pitch_and_the_zero_of_the_contour():
    note = corrected(change(BENT, fret=10)).note("n003")
    assert (note.pitch_midi, note.string, note.fret, note.finger) == (69, 2, 10, None)
    assert note.contour.cents == (-201.5, None, -1.5)
    assert (note.confidence.pitch, note.confidence.place) == (1.0, 1.0)


def test_a_new_pitch_moves_the_fret_or_leaves_the_neck():
    note = corrected(change(FIRST, pitch_midi=66)).note("n001")
    assert (note.string, note.fret, note.alternatives) == (2, 7, ())
    note = corrected(change(FIRST, pitch_midi=50)).note("n001")
    assert (note.string, note.fret, note.confidence.place) == (None, None, 0.0)


def test_a_note_comes_back_onto_the_neck():
    note = corrected(change(LOW, string=6, fret=0)).note("n004")
    assert (note.pitch_midi, note.string, note.fret, note.finger) == (40, 6, 0, 0)


def test_rhythm_is_changed_in_fractions():
    note = corrected(change(LOW, bar=2, beat="5/2", length="6/4")).note("n004")
    assert (note.bar, note.beat, note.length) == (2, Fraction(5, 2), Fraction(3, 2))
    assert note.confidence.rhythm == 1.0


def test_length_and_grace_go_together():
    assert corrected(change(FIRST, length="0")).note("n001").has("grace")
    plain = corrected(change(GRACE, length="1/4")).note("n002")
    assert (plain.has("grace"), plain.length) == (False, Fraction(1, 4))
    graced = Correction("replace_techniques", note=mark(FIRST), values={"techniques": [{"kind": "grace"}]})
    assert corrected(graced).note("n001").length == 0


def test_techniques_are_replaced_and_take_the_notes_times():
    bend = [{"kind": "bend", "semitones": 1.0}, {"kind": "pre_bend", "semitones": 2}]
    note = corrected(Correction("replace_techniques", note=mark(FIRST), values={"techniques": bend})).note(
        "n001"
    )
    assert note.techniques == (
        Technique("bend", start_s=0.5, end_s=0.9, semitones=1.0),
        Technique("pre_bend", start_s=0.5, end_s=0.5, semitones=2.0),
    )
    assert note.confidence.technique == 1.0


def test_notes_are_added_in_order_and_can_be_corrected():
    new = {
        "onset_s": 0.7,
        "end_s": 0.9,
        "pitch_midi": 62,
        "string": 2,
        "bar": 0,
        "beat": "9/2",
        "length": "1/2",
    }
    added = Correction("add_note", values=new)
    draft = corrected(added)
    assert [note.id for note in draft.notes] == ["n001", "c1", "n002", "n003", "n004"]
    note = draft.note("c1")
    assert (note.string, note.fret, note.confidence.overall) == (2, 3, 1.0)
    draft = corrected(added, change(note, velocity=40), remark(note, "ghosted"))
    assert (draft.note("c1").velocity, draft.note("c1").remark) == (40, "ghosted")


def test_removing_a_note_takes_it_out_of_the_issues():
    draft = corrected(Correction("remove_note", note=mark(LOW)))
    assert draft.note("n004") is None
    assert [issue.code for issue in draft.issues] == ["clipping"]


def test_a_note_that_was_looked_at_is_no_issue_but_a_remark_is_no_look():
    assert len(corrected(remark(LOW, "check")).issues) == 2
    assert len(corrected(change(LOW, velocity=50)).issues) == 1
    confirmed = corrected(Correction("confirm_note", note=mark(FIRST))).note("n001")
    assert confirmed.confidence.overall == 1.0


def test_a_later_bar_line_keeps_notes_in_time():
    draft = corrected(Correction("change_timing", values={"meter": "3/4"}))
    assert [(note.bar, note.beat) for note in draft.notes] == [(0, 3), (1, 1), (1, 1), (1, 3)]
    draft = corrected(Correction("change_timing", values={"first_beat": 0}))
    assert [(note.bar, note.beat) for note in draft.notes] == [(1, 1), (1, 2), (1, 2), (1, 4)]
    assert (draft.chords[0].bar, draft.chords[0].beat) == (1, 2)
    for note, before in zip(draft.notes, SAMPLE.notes, strict=True):
        due = SAMPLE.timing.time_of(before.start(Meter(4, 4)))
        assert draft.timing.time_of(note.start(Meter(4, 4))) == due


def test_bars_that_a_person_cuts_are_no_guess():
    assert SAMPLE.timing.downbeat_confidence == 0.91
    assert corrected(Correction("change_timing", values={"swing": 2.0})).timing.downbeat_confidence == 0.91
    assert corrected(Correction("change_timing", values={"first_beat": 0})).timing.downbeat_confidence is None


def test_key_chords_and_phrases():
    chord = {"name": "D", "bar": 1, "beat": "1", "length": "4"}
    draft = corrected(
        Correction("set_key", values={"key": {"tonic": "A", "mode": "major"}}),
        Correction("set_chords", values={"chords": [chord]}),
        Correction("set_phrase", phrase="p1", values={"name": "Call"}),
        Correction("set_phrase", phrase="early", values={"name": "Lead-in", "start_s": 0.1, "end_s": 0.5}),
        Correction("set_remark", phrase="early", values={"remark": "breathe"}),
    )
    assert draft.key == Key("A", "major")
    assert [chord.name for chord in draft.chords] == ["D"]
    assert [(p.id, p.name, p.remark) for p in draft.phrases] == [
        ("early", "Lead-in", "breathe"),
        ("p1", "Call", "Quiet."),
    ]
    draft = corrected(Correction("remove_phrase", phrase="p1"), Correction("set_key", values={"key": None}))
    assert (draft.phrases, draft.key) == ((), None)


def test_other_fingerings_stay_while_they_still_fit():
    def kept(*corrections):
        return [len(phrase.alternatives) for phrase in corrected(*corrections).phrases]

    assert kept(Correction("set_phrase", phrase="p1", values={"name": "Call", "start_s": 0.5})) == [1]
    assert kept(change(FIRST, velocity=40), remark(FIRST, "softly")) == [1]
    assert kept(Correction("remove_note", note=mark(LOW))) == [1]
    assert kept(Correction("set_phrase", phrase="p1", values={"end_s": 1.5})) == [0]
    assert kept(Correction("remove_note", note=mark(FIRST))) == [0]
    assert kept(change(FIRST, string=3, fret=9)) == [0]
    new = Correction("set_phrase", phrase="early", values={"name": "Lead-in", "start_s": 0.1, "end_s": 0.5})
    assert kept(new) == [0, 1]


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


# Properties

POOL = (
    change(FIRST, string=3),
    change(FIRST, pitch_midi=66),
    change(BENT, fret=10),
    change(LOW, onset_s=0.2, end_s=0.4),
    change(GRACE, length="1/4"),
    remark(BENT, "again"),
    remark(BENT, None),
    Correction("remove_note", note=mark(FIRST)),
    Correction("confirm_note", note=mark(LOW)),
    Correction("change_timing", values={"meter": "3/4", "tempo_bpm": 90}),
    Correction("set_key", values={"key": None}),
    Correction("set_phrase", phrase="p2", values={"name": "x", "start_s": 1, "end_s": 2}),
    Correction(
        "add_note",
        values={"onset_s": 0.7, "end_s": 0.9, "pitch_midi": 62, "bar": 0, "beat": "9/2", "length": "1/2"},
    ),
)
pools = st.lists(st.sampled_from(POOL), max_size=6)


@settings(max_examples=60, deadline=None)
@given(pools, st.randoms(use_true_random=False))
def test_undoing_everything_gives_the_draft_back(corrections, random):
    order = list(range(1, len(corrections) + 1))
    random.shuffle(order)
    draft, problems = apply_journal(SAMPLE, made(*corrections, *(undo(revision) for revision in order)))
    assert (draft, problems) == (SAMPLE, ())


@settings(max_examples=60, deadline=None)
@given(pools)
def test_a_corrected_draft_is_a_good_draft_and_nothing_is_lost(corrections):
    """Each correction is applied or reported, and the result can be written."""
    draft, problems = apply_journal(SAMPLE, made(*corrections))
    draft_bytes(draft)
    reported = {int(problem.message.split()[1]) for problem in problems}
    assert {problem.code for problem in problems} <= {"correction_does_not_fit"}
    kept = [each for number, each in enumerate(corrections, start=1) if number not in reported]
    again, none = apply_journal(SAMPLE, made(*kept))
    added = {note.id for note in draft.notes if note.id.startswith("c")}
    if not added:
        assert (again, none) == (draft, ())


# Drafting again


def redrafted(shift=0.0, **changes):
    """The take drafted again: a note more at the front, so that every id moves, and onsets a little off."""
    extra = replace(FIRST, id="n001", onset_s=0.1, end_s=0.4, beat=Fraction(3))
    moved = [
        replace(note, id=f"n{index:03d}", onset_s=round(note.onset_s + shift, 4), **changes.get(note.id, {}))
        for index, note in enumerate(SAMPLE.notes, start=2)
    ]
    phrases = tuple(replace(phrase, alternatives=()) for phrase in SAMPLE.phrases)
    return replace(SAMPLE, notes=(extra, *moved), phrases=phrases, issues=())


def test_corrections_find_their_notes_after_drafting_again():
    old = made(change(BENT, velocity=33), remark(FIRST, "softly"), change(BENT, length="2"))
    draft, problems = apply_journal(redrafted(shift=0.02), old)
    assert problems == ()
    note = draft.note("n004")
    assert (note.velocity, note.length, note.pitch_midi) == (33, 2, 67)
    assert draft.note("n002").remark == "softly"
    assert draft.note("n001").remark is None


def test_fifty_milliseconds_are_near_and_more_is_not():
    old = made(change(LOW, velocity=33))
    assert apply_journal(redrafted(shift=0.05), old)[1] == ()
    _, problems = apply_journal(redrafted(shift=0.0501), old)
    assert [problem.code for problem in problems] == ["correction_does_not_fit"]
    assert problems[0].start_s == 2.0
    assert (
        "Correction 1 (change_note) does not fit this draft: no note with pitch 38 begins near 2.00 s."
        in (problems[0].message)
    )


def test_a_remark_stays_with_its_moment_where_the_pitch_is_heard_otherwise():
    again = redrafted(n004={"pitch_midi": 39})
    draft, problems = apply_journal(again, made(remark(LOW, "let it ring"), change(LOW, velocity=33)))
    assert draft.note("n005").remark == "let it ring"
    assert [problem.code for problem in problems] == ["correction_does_not_fit"]


def test_a_pitch_that_is_now_heard_right_fits():
    again = redrafted(n004={"pitch_midi": 39})
    draft, problems = apply_journal(again, made(change(LOW, pitch_midi=39)))
    assert problems == ()
    assert draft.note("n005").pitch_midi == 39


def test_a_note_added_by_hand_is_not_doubled():
    new = {"onset_s": 0.12, "end_s": 0.4, "pitch_midi": 64, "bar": 0, "beat": "3", "length": "1"}
    added = Correction("add_note", values=new)
    draft, problems = apply_journal(redrafted(), made(added))
    assert len(draft.notes) == 5
    assert "the draft has this note already, n001" in problems[0].message
    assert len(corrected(added).notes) == 5


def test_on_the_same_draft_ids_are_trusted_even_when_an_earlier_change_is_undone():
    higher = change(FIRST, pitch_midi=66)
    seen = corrected(higher).note("n001")
    draft = corrected(higher, change(seen, velocity=7), undo(1))
    assert (draft.note("n001").pitch_midi, draft.note("n001").velocity) == (64, 7)


def test_writing_the_draft_again_keeps_the_journal(path):
    append_correction(path, remark(BENT, "hold it"), seen=0)
    write_draft(redrafted(), path, force=True)
    seen = read_corrected(path)
    assert seen.draft.note("n004").remark == "hold it"
    append_correction(path, change(seen.draft.note("n004"), velocity=5), seen=1)
    assert read_corrected(path).draft.note("n004").velocity == 5
