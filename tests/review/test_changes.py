"""Changes that a person asks for in one go and that touch several notes."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from review_samples import drafted, sureness, with_note

from transcriber.errors import UsageError
from transcriber.review import changes
from transcriber.review.desk import _with as applied

HALF = Fraction(1, 2)


def starts(draft):
    return [note.start(draft.meter) for note in draft.notes]


def unsure_rhythm(draft):
    notes = tuple(replace(note, confidence=sureness(rhythm=0.6)) for note in draft.notes)
    return replace(draft, notes=notes)


def test_a_note_alone_moves_and_its_neighbours_stay():
    draft = drafted()
    note = draft.note("n006")
    start = note.start(draft.meter) + Fraction(1, 4)
    after = applied(draft, changes.requantised(draft, "n006", start, Fraction(1, 4), around=False))
    assert after.note("n006").start(draft.meter) == start
    # The note before ended where this one began, and does so still.
    assert after.note("n005").end(draft.meter) == start
    moved = [
        place
        for place, pair in enumerate(zip(starts(draft), starts(after), strict=True))
        if len(set(pair)) > 1
    ]
    assert moved == [5]


def test_notes_around_follow_a_note_that_is_put_right():
    """Two notes drafted an eighth late: one of them put right brings the other along."""
    draft = unsure_rhythm(drafted())
    draft = with_note(draft, "n001", confidence=sureness())
    late = []
    for note in draft.notes:
        shift = HALF if note.id in ("n005", "n006") else Fraction(0)
        place = note.start(draft.meter) + shift
        bar, beat = int(place // 4) + 1, place % 4 + 1
        late.append(replace(note, bar=bar, beat=beat, length=note.length if not shift else Fraction(1, 4)))
    wrong = replace(draft, notes=tuple(late))
    right = draft.note("n005")
    given = changes.requantised(wrong, "n005", right.start(draft.meter), right.length, around=True)
    after = applied(wrong, given)
    assert after.note("n005").start(draft.meter) == right.start(draft.meter)
    assert after.note("n006").start(draft.meter) == draft.note("n006").start(draft.meter)
    assert after.note("n001") == wrong.note("n001")
    ordered = starts(after)
    assert ordered == sorted(ordered)


@pytest.mark.parametrize("by", [HALF, Fraction(1), -HALF, Fraction(-3)])
@pytest.mark.parametrize("around", [True, False])
def test_a_note_is_never_put_on_or_past_another(by, around):
    draft = drafted()
    place = draft.note("n006").start(draft.meter) + by
    with pytest.raises(UsageError, match=r"the note (before|after) it stands on bar \d"):
        changes.requantised(draft, "n006", place, HALF, around=around)


def test_a_phrase_is_fingered_around_a_place_that_is_told():
    notes = tuple(replace(note, confidence=sureness(place=0.5)) for note in drafted().notes)
    draft = replace(drafted(), notes=notes)
    note = draft.note("n005")
    string, fret = next(
        place for place in draft.instrument.fretted.places(note.pitch_midi) if place[0] == note.string + 1
    )
    after = applied(draft, changes.refinger(draft, changes.Refinger("n005", string, fret)))
    assert (after.note("n005").string, after.note("n005").fret) == (string, fret)
    assert [one.pitch_midi for one in after.notes] == [one.pitch_midi for one in draft.notes]
    # What stays where it was has not been looked at.
    same = [
        one
        for one in after.notes
        if (one.string, one.fret) == (draft.note(one.id).string, draft.note(one.id).fret)
    ]
    assert all(one.confidence.place == 0.5 for one in same)


def test_notes_that_a_person_has_placed_are_not_moved_by_another():
    draft = drafted()
    note = draft.note("n005")
    place = next(
        each for each in draft.instrument.fretted.places(note.pitch_midi) if each[0] == note.string + 1
    )
    after = applied(draft, changes.refinger(draft, changes.Refinger("n005", *place)))
    others = [(one.string, one.fret) for one in after.notes if one.id != "n005"]
    assert others == [(one.string, one.fret) for one in draft.notes if one.id != "n005"]


def test_a_place_that_sounds_another_pitch_is_refused():
    with pytest.raises(UsageError, match="sounds"):
        changes.refinger(drafted(), changes.Refinger("n005", 6, 1))


@pytest.mark.parametrize("late", [1, 2, 3])
def test_bar_lines_go_where_first_beats_were_tapped(late):
    draft = drafted()
    times = [draft.timing.time_of(Fraction(late + 4 * bar)) + 0.04 for bar in range(3)]
    after = applied(draft, changes.downbeat(draft, times))
    tapped = after.timing.time_of(Fraction(0))
    assert min(abs(tapped - (time - 0.04)) % draft.timing.time_of(Fraction(4)) for time in times) < 0.02
    assert min(starts(after)) >= -4
    assert (starts(after)[1] - starts(after)[0]) == (starts(draft)[1] - starts(draft)[0])


def test_bar_lines_that_are_right_are_not_moved():
    draft = drafted()
    with pytest.raises(UsageError, match="there already"):
        changes.downbeat(draft, [draft.timing.time_of(Fraction(4))])
    with pytest.raises(UsageError, match="tap"):
        changes.downbeat(draft, [])


def test_the_rhythm_is_written_anew_at_twice_the_tempo():
    draft = drafted()
    after = applied(draft, changes.retime(draft, 168.0, None))
    assert after.timing.tempo_bpm == pytest.approx(168.0, rel=0.04)
    assert [note.onset_s for note in after.notes] == [note.onset_s for note in draft.notes]
    apart = after.note("n008").start(after.meter) - after.note("n001").start(after.meter)
    assert apart == 2 * (draft.note("n008").start(draft.meter) - draft.note("n001").start(draft.meter))


@pytest.mark.parametrize(("tempo", "meter"), [(5.0, None), (1e9, None), (None, "5/7"), (None, "waltz")])
def test_a_tempo_or_meter_out_of_bounds_is_refused(tempo, meter):
    with pytest.raises(UsageError):
        changes.retime(drafted(), tempo, meter)
