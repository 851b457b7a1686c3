"""What corrections do to a draft: one by one, in any row, and on the take drafted again."""

from __future__ import annotations

from fractions import Fraction

from hypothesis import given, settings
from hypothesis import strategies as st
from journal_samples import (
    BENT,
    FIRST,
    GRACE,
    LOW,
    SAMPLE,
    change,
    corrected,
    made,
    mark,
    redrafted,
    remark,
    undo,
)

from transcriber.draft import (
    Alternative,
    Correction,
    Key,
    apply_journal,
    draft_bytes,
)
from transcriber.records.technique import Technique
from transcriber.records.written import Meter

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
