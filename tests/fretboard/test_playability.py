"""What is chosen can be played: span of one hand, speed of shifts; pins; problems that say otherwise."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.accuracy.compose import CONDITIONS, compose
from tests.accuracy.handwritten import handwritten
from tests.accuracy.playing import play
from tests.accuracy.takes import SETS, SPLIT_SEEDS, SPLITS
from tests.fretboard.fingered import GUITAR, FingeredNote
from transcriber.errors import UsageError
from transcriber.fretboard import find_pins, place_notes
from transcriber.fretboard.fretting_model import read_fretting_model
from transcriber.fretboard.hands import NoteKey, hand_states
from transcriber.records.heard import HeardNote
from transcriber.records.line import Line
from transcriber.records.placed import Placed
from transcriber.records.technique import Technique

FASTEST = read_fretting_model().fastest_shift_frets_per_s
TOO_FAST = "shift_too_fast"


def heard(timed: Sequence[tuple[float, int]]) -> list[HeardNote]:
    """Notes from (seconds to the next onset, pitch)."""
    starts = np.cumsum([0.0, *(gap for gap, _ in timed)])
    return [
        replace(FingeredNote(float(t), float(t + 0.9 * gap), 1, 0).heard(), pitch_midi=pitch)
        for t, (gap, pitch) in zip(starts, timed, strict=False)
    ]


def unplayable_moves(notes: Sequence[HeardNote], result: Placed) -> set[int]:
    """Notes that no hand can reach in time, told from places and times alone.

    From any stretch of the hand around one fretted note to any around the next: four frets under a hand that
    begins below fret 7, five above, and what it can shift between the onsets. Slides are left out: they were
    heard to arrive.
    """
    found = set()
    for index, (before, after) in enumerate(pairwise(result.places), 1):
        if before is None or after is None or 0 in (before.fret, after.fret) or notes[index].has("slide"):
            continue
        low = min(before.fret, after.fret)
        apart = notes[index].onset_s - notes[index - 1].onset_s
        if abs(before.fret - after.fret) > (4 if low < 7 else 5) + int(FASTEST * apart + 1e-6):
            found.add(index)
    return found


def fewest_too_fast(notes: Sequence[HeardNote]) -> int:
    """Fewest shifts beyond the bound on any path of hands, counted apart from the costs."""
    positions = [hand_states(NoteKey(note.pitch_midi), GUITAR).position for note in notes]
    counts = np.zeros(len(positions[0]), dtype=int)
    for index in range(1, len(notes)):
        shifted = np.abs(positions[index][None, :] - positions[index - 1][:, None])
        reach = int(FASTEST * (notes[index].onset_s - notes[index - 1].onset_s) + 1e-6)
        counts = (counts[:, None] + (shifted > reach)).min(axis=0)
    return int(counts.min())


TIMED = st.lists(
    st.tuples(st.sampled_from([0.02, 0.05, 0.08, 0.12, 0.2, 0.5]), st.integers(40, 86)),
    min_size=1,
    max_size=14,
)


@settings(max_examples=60, deadline=None)
@given(TIMED, st.sampled_from([None, 0, 5, 12]))
def test_random_lines_are_playable_wherever_anything_is(
    timed: list[tuple[float, int]], position: int | None
) -> None:
    notes = heard(timed)
    result = place_notes(notes, GUITAR, position)
    told = [problem for problem in result.problems if problem.code == TOO_FAST]
    assert len(told) == fewest_too_fast(notes)
    assert len(unplayable_moves(notes, result)) <= len(told)


def bench_lines(count: int) -> list[Line]:
    """Lines of both splits of the accuracy bench: some composed of each condition, all written by hand."""
    composed = [
        compose(condition, number, SPLIT_SEEDS[split] + SETS.index(name)).line
        for split, sets in SPLITS.items()
        for name in sets
        for condition in CONDITIONS
        for number in range(count)
    ]
    return composed + [each.line for each in handwritten()]


@pytest.mark.parametrize("count", [1, pytest.param(8, marks=pytest.mark.accuracy)])
def test_all_lines_of_the_bench_are_playable(count: int) -> None:
    for number, line in enumerate(bench_lines(count)):
        notes = [_as_heard(note) for note in play(line, number).notes]
        result = place_notes(notes, line.instrument)
        assert not [problem for problem in result.problems if problem.code == TOO_FAST]
        assert not unplayable_moves(notes, result)


def _as_heard(note) -> HeardNote:
    blank = FingeredNote(note.onset_s, note.end_s, 1, 0, note.techniques).heard()
    return replace(blank, pitch_midi=note.pitch_midi)


def test_what_cannot_be_played_in_the_time_is_said() -> None:
    """F2 is only at fret 1 and D6 only at fret 22 of this neck."""
    result = place_notes(heard([(0.1, 41), (0.3, 86)]), GUITAR)
    (problem,) = result.problems
    assert (problem.code, problem.start_s, problem.end_s) == (TOO_FAST, 0.0, pytest.approx(0.1))
    assert "F2 and D6" in problem.message
    assert not place_notes(heard([(1.0, 41), (0.3, 86)]), GUITAR).problems


def test_a_slide_is_heard_to_arrive() -> None:
    far = heard([(0.1, 65), (0.3, 79)])
    slid = [far[0], replace(far[1], techniques=(Technique("slide"),))]
    first, second = place_notes(slid, GUITAR).places
    assert first is not None
    assert second is not None
    assert first.string == second.string
    assert not place_notes(slid, GUITAR).problems


LICK = [(0.2, 69), (0.2, 72), (0.2, 74), (0.2, 76), (0.2, 72), (0.2, 69)]


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.tuples(st.sampled_from([0.1, 0.2, 0.5]), st.integers(45, 80)), min_size=1, max_size=10),
    st.data(),
)
def test_pins_hold_and_the_rest_is_fingered_around_them(timed: list[tuple[float, int]], data) -> None:
    notes = heard(timed)
    index = data.draw(st.integers(0, len(notes) - 1))
    place = data.draw(st.sampled_from(GUITAR.places(notes[index].pitch_midi)))
    result = place_notes(notes, GUITAR, pins={index: place})
    pinned = result.places[index]
    assert pinned is not None
    assert (pinned.string, pinned.fret, pinned.confidence) == (*place, 1.0)
    assert {place, *pinned.others} == set(GUITAR.places(notes[index].pitch_midi))
    assert all(each is not None for each in result.places)


def test_one_pin_moves_the_whole_line_there() -> None:
    notes = heard(LICK)
    free = [place.fret for place in place_notes(notes, GUITAR, 5).places if place]
    moved = [place.fret for place in place_notes(notes, GUITAR, pins={0: (4, 19)}).places if place]
    assert max(free) <= 12
    assert min(moved) >= 14


def test_a_pin_may_ask_for_too_fast_a_shift_and_is_told_so() -> None:
    notes = heard([(0.05, 64), (0.05, 64)])
    assert not place_notes(notes, GUITAR).problems
    (problem,) = place_notes(notes, GUITAR, pins={0: (2, 5), 1: (5, 19)}).problems
    assert problem.code == TOO_FAST


@pytest.mark.parametrize(
    ("place", "words"),
    [
        (
            (2, 3),
            r"pin 2/3 sounds D4, but the note at 0.00 s is A4; it can be played at 1/5, 2/10, 3/14, 4/19",
        ),
        ((7, 3), r"string 7 is out of 1 to 6"),
        ((1, 23), r"fret 23 is out of 0 to 22"),
    ],
)
def test_an_impossible_pin_is_one_clear_line(place: tuple[int, int], words: str) -> None:
    with pytest.raises(UsageError, match=words) as caught:
        place_notes(heard(LICK), GUITAR, pins={0: place})
    assert "\n" not in str(caught.value)


def test_a_pin_means_the_note_nearest_its_time() -> None:
    notes = heard(LICK)
    assert find_pins(notes, [(0.29, 1, 8), (0.41, 1, 10)]) == {1: (1, 8), 2: (1, 10)}
    with pytest.raises(UsageError, match=r"pin 3=1/8: no note begins within 0.1 s .* 1.00 s \(A4\)"):
        find_pins(notes, [(3.0, 1, 8)])
    with pytest.raises(UsageError, match="pinned already"):
        find_pins(notes, [(0.19, 1, 8), (0.21, 1, 8)])
    with pytest.raises(UsageError, match="the nearest are none"):
        find_pins([], [(0.0, 1, 8)])
