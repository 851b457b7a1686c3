"""Places on the neck: common practice, exactness, invariances and what is refused."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.fretboard.fingered import GUITAR, FingeredNote
from tests.fretboard.generated_fingerings import generate
from tests.fretboard.handwritten_fingerings import handwritten
from transcriber.errors import UsageError
from transcriber.fretboard import place_notes, read_instrument, validate_position
from transcriber.fretboard.costs import Demand, Move
from transcriber.fretboard.fretting_model import read_fretting_model
from transcriber.fretboard.hands import NoteKey, hand_states
from transcriber.fretboard.lattice import Lattice, Step
from transcriber.fretboard.placement import plan_steps
from transcriber.fretboard.scales import is_gapped
from transcriber.records.heard import HeardNote
from transcriber.records.placed import Instrument
from transcriber.records.technique import Technique

Place = tuple[int, int]

# Two notes a string, strings 6 to 1. The first box as in the check values, the others by common practice.
A_MINOR_PENTATONIC = {
    5: ((5, 8), (5, 7), (5, 7), (5, 7), (5, 8), (5, 8)),
    7: ((8, 10), (7, 10), (7, 10), (7, 9), (8, 10), (8, 10)),
    10: ((10, 12), (10, 12), (10, 12), (9, 12), (10, 13), (10, 12)),
    12: ((12, 15), (12, 15), (12, 14), (12, 14), (13, 15), (12, 15)),
    3: ((3, 5), (3, 5), (2, 5), (2, 5), (3, 5), (3, 5)),
}
G_MAJOR_THREE_A_STRING = (
    *((6, fret) for fret in (3, 5, 7)),
    *((5, fret) for fret in (3, 5, 7)),
    *((4, fret) for fret in (4, 5, 7)),
    *((3, fret) for fret in (4, 5, 7)),
    *((2, fret) for fret in (5, 7, 8)),
    *((1, fret) for fret in (5, 7, 8)),
)
C_MAJOR_AT_THE_NUT = (
    (5, 3),
    (4, 0),
    (4, 2),
    (4, 3),
    (3, 0),
    (3, 2),
    (2, 0),
    (2, 1),
    (2, 3),
    (1, 0),
    (1, 1),
    (1, 3),
)


def line(
    places: Sequence[Place], step_s: float = 0.2, techniques: dict[int, tuple[Technique, ...]] | None = None
) -> list[HeardNote]:
    """Notes of even length at these places, as heard."""
    return [
        FingeredNote(i * step_s, (i + 0.95) * step_s, *place, (techniques or {}).get(i, ())).heard()
        for i, place in enumerate(places)
    ]


def pitches(midi: Sequence[int], step_s: float = 0.2) -> list[HeardNote]:
    return [
        replace(FingeredNote(i * step_s, (i + 0.95) * step_s, 1, 0).heard(), pitch_midi=pitch)
        for i, pitch in enumerate(midi)
    ]


def placed(
    notes: Sequence[HeardNote], position: int | None = None, instrument: Instrument = GUITAR
) -> list[Place | None]:
    found = place_notes(notes, instrument, position).places
    return [(place.string, place.fret) if place else None for place in found]


@pytest.mark.parametrize("position", A_MINOR_PENTATONIC)
@pytest.mark.parametrize("way", [1, -1], ids=["up", "down"])
def test_five_boxes_of_a_minor_pentatonic(position: int, way: int) -> None:
    """Common practice."""
    frets = A_MINOR_PENTATONIC[position]
    box = [(6 - row, fret) for row, pair in enumerate(frets) for fret in pair][::way]
    assert placed(line(box), position) == box


@pytest.mark.parametrize("way", [1, -1], ids=["up", "down"])
@pytest.mark.parametrize("up_the_neck", [0, 2, 5])
def test_three_notes_a_string(way: int, up_the_neck: int) -> None:
    """Common practice: three notes a string of the major scale, moved up as it stands.

    The way down begins on string 4: above it the first strings alone don't tell this shape from the scale
    in position, which is common practice too.
    """
    shape = G_MAJOR_THREE_A_STRING if way == 1 else G_MAJOR_THREE_A_STRING[:9][::-1]
    run = [(string, fret + up_the_neck) for string, fret in shape]
    position = run[0][1] if way == 1 else run[0][1] - 3
    assert placed(line(run, 0.12), position) == run


def test_c_major_at_the_nut() -> None:
    """Common practice: open position."""
    found = place_notes(line(C_MAJOR_AT_THE_NUT), GUITAR, 0).places
    assert [(p.string, p.fret) for p in found if p] == list(C_MAJOR_AT_THE_NUT)
    assert all((p.finger == 0) == (p.fret == 0) for p in found if p)


def test_whole_tone_bend_of_the_first_box_is_on_string_3_by_the_ring_finger() -> None:
    """Common practice: in A minor at fret 5 the fourth is pushed up to the fifth on string 3, fret 7."""
    lick = [(2, 8), (2, 5), (3, 7), (3, 5), (4, 7)]
    found = place_notes(line(lick, techniques={2: (Technique("bend", semitones=2.0),)}), GUITAR, 5).places
    assert [(p.string, p.fret) for p in found if p] == lick
    assert found[2] is not None
    assert found[2].finger == 3


def test_a_bent_note_is_never_open() -> None:
    for pitch in (59, 64):
        note = replace(pitches([pitch])[0], techniques=(Technique("bend", semitones=2.0),))
        (place,) = place_notes([note], GUITAR, 0).places
        assert place is not None
        assert place.fret > 0


@pytest.mark.parametrize("own_line", handwritten("fit") + handwritten("report"), ids=lambda own: own.name)
def test_slurs_and_slides_stay_on_the_string_of_the_note_before(own_line) -> None:
    found = place_notes(own_line.heard(), GUITAR, None).places
    pairs = zip(pairwise(found), pairwise(own_line.notes), strict=True)
    for (before, place), (played_before, played) in pairs:
        if {t.kind for t in played.techniques} & {"slide", "hammer_on", "pull_off"}:
            assert place.string == before.string
            assert place.fret - before.fret == played.fret - played_before.fret


@settings(max_examples=40, deadline=None)
@given(
    st.lists(
        st.tuples(st.integers(45, 79), st.sampled_from(["", "slide", "hammer_on", "pull_off"])),
        min_size=2,
        max_size=12,
    )
)
def test_any_slur_that_one_string_can_play_stays_on_it(marked: list[tuple[int, str]]) -> None:
    notes = pitches([pitch for pitch, _ in marked])
    marked_notes = [notes[0]]
    for before, note, (_, kind) in zip(notes, notes[1:], marked[1:], strict=False):
        step = note.pitch_midi - before.pitch_midi
        fits = {"slide": 0 < abs(step) <= 5, "hammer_on": 0 < step <= 3, "pull_off": -3 <= step < 0}
        # After another slur the string is bound already, and may not reach; one at a time is always playable.
        free = not marked_notes[-1].techniques
        marked_notes.append(replace(note, techniques=(Technique(kind),)) if fits.get(kind) and free else note)
    for (before, place), note in zip(pairwise(placed(marked_notes)), marked_notes[1:], strict=True):
        if note.techniques:
            assert before[0] == place[0]


def test_a_slur_after_a_long_silence_is_not_bound_to_the_string() -> None:
    near = line([(2, 5), (1, 5)], techniques={1: (Technique("hammer_on"),)})
    assert placed(near, 5)[0][0] == placed(near, 5)[1][0]
    far = [near[0], replace(near[1], onset_s=3.0, end_s=3.2)]
    assert placed(far, 5) == [(2, 5), (1, 5)]


def test_a_note_ringing_on_needs_another_string() -> None:
    notes = pitches([64, 66, 69])
    ringing = [
        replace(note, end_s=note.end_s + 0.5, techniques=(Technique("let_ring"),)) for note in notes[:2]
    ] + notes[2:]
    strings = [place[0] for place in placed(ringing) if place]
    assert strings[0] != strings[1]
    assert strings[1] != strings[2]


@pytest.mark.parametrize(
    ("string", "fret", "semitones"), [(1, 12, 12), (3, 12, 12), (6, 7, 19), (2, 7, 19), (4, 5, 24)]
)
def test_natural_harmonics_lie_over_the_nodes(string: int, fret: int, semitones: int) -> None:
    """Harmonic series: over fret 12 the octave, 7 the twelfth, 5 two octaves."""
    pitch = GUITAR.open_midi(string) + semitones
    note = replace(pitches([pitch])[0], techniques=(Technique("natural_harmonic"),))
    (place,) = place_notes([note], GUITAR, fret).places
    assert place is not None
    assert (string, fret) in {(place.string, place.fret), *place.others}
    for s, f in ((place.string, place.fret), *place.others):
        sounding = {12: 12, 7: 19, 19: 19, 5: 24, 4: 28, 9: 28, 16: 28}[f]
        assert GUITAR.open_midi(s) + sounding == pitch


def test_a_harmonic_without_a_node_is_fretted_and_said() -> None:
    note = replace(pitches([66])[0], techniques=(Technique("natural_harmonic"),))
    result = place_notes([note], GUITAR, None)
    assert result.places[0] is not None
    assert [problem.code for problem in result.problems] == ["no_harmonic_node"]


def test_notes_out_of_range_are_left_out_and_said_once() -> None:
    result = place_notes(pitches([39, 64, 87, 65, 39]), GUITAR, None)
    assert [place is None for place in result.places] == [True, False, True, False, True]
    (problem,) = result.problems
    assert problem.code == "pitch_out_of_range"
    assert problem.message.startswith("3 notes are out of the range of guitar, E2 to D6: ")
    assert "Eb2 (MIDI 39), Eb6 (MIDI 87); check tuning, capo" in problem.message
    assert (problem.start_s, problem.end_s) == (0.0, pytest.approx(0.99))
    (one,) = place_notes(pitches([20]), GUITAR).problems
    assert one.message.startswith("1 note is out of")
    (many,) = place_notes(pitches(range(20, 30)), GUITAR).problems
    assert "and 6 more; check" in many.message


def test_nothing_to_place() -> None:
    assert place_notes([], GUITAR, 5).places == ()
    assert place_notes(pitches([20]), GUITAR, 5).places == (None,)


@pytest.mark.parametrize("position", [-1, 23, 100])
def test_a_position_off_the_neck_is_refused_in_one_line(position: int) -> None:
    with pytest.raises(UsageError, match=rf"position {position} is out of 0 to 22") as caught:
        validate_position(position, GUITAR)
    assert "\n" not in str(caught.value)
    with pytest.raises(UsageError):
        place_notes(pitches([60]), GUITAR, position)


def test_positions_count_from_the_capo() -> None:
    with pytest.raises(UsageError, match="0 to 18 above the capo at 4"):
        validate_position(19, replace(GUITAR, capo=4))
    validate_position(18, replace(GUITAR, capo=4))


@pytest.mark.parametrize("position", [0, 3, 5, None])
@pytest.mark.parametrize("kind", ["box", "shifting", "open"])
def test_capo_and_retuning_by_equal_steps_change_nothing(kind: str, position: int | None) -> None:
    own = generate(kind, "report", 1)[0]
    notes = [replace(note, pitch_midi=min(note.pitch_midi, 80)) for note in own.heard()]
    plain = place_notes(notes, GUITAR, position).places
    raised = [replace(note, pitch_midi=note.pitch_midi + 3) for note in notes]
    over_capo = replace(GUITAR, capo=3, frets=GUITAR.frets + 3)
    assert place_notes(raised, over_capo, position).places == plain
    lowered = [replace(note, pitch_midi=note.pitch_midi - 1) for note in notes]
    half_step_down = replace(read_instrument("half_step_down"), frets=GUITAR.frets)
    assert place_notes(lowered, half_step_down, position).places == plain


def test_the_same_notes_give_the_same_places() -> None:
    notes = generate("shifting", "report", 1)[0].heard()
    assert place_notes(notes, GUITAR, None) == place_notes(notes, GUITAR, None)


def test_confidence_is_the_posterior_and_others_are_ranked_by_it() -> None:
    notes = generate("box", "report", 1)[0].heard()
    model = read_fretting_model()
    steps = plan_steps(notes, [NoteKey(note.pitch_midi) for note in notes], 5, model)
    lattice = Lattice(GUITAR, model)
    found = place_notes(notes, GUITAR, 5).places
    for step, posterior, place in zip(steps, lattice.posteriors(steps), found, strict=True):
        assert place is not None
        states = lattice.states(step.key)
        share = {
            (s, f): posterior[(states.string == s) & (states.fret == f)].sum()
            for s, f in GUITAR.places(step.key.pitch_midi)
        }
        assert place.confidence == pytest.approx(share.pop((place.string, place.fret)), abs=1e-4)
        assert set(place.others) == set(share)
        ranked = [share[other] for other in place.others]
        assert all(first >= second - 1e-6 for first, second in pairwise(ranked))


def test_a_given_position_makes_the_places_surer() -> None:
    own = handwritten("report")[0]
    told = place_notes(own.heard(), GUITAR, own.position).places
    untold = place_notes(own.heard(), GUITAR, None).places
    assert np.mean([p.confidence for p in told if p]) > np.mean([p.confidence for p in untold if p])


def test_one_hand_never_spans_more_than_it_can() -> None:
    """Four frets below fret 7, five above: over all pairs of states that share a position."""
    states = [hand_states(NoteKey(pitch), GUITAR) for pitch in range(40, 87)]
    fret = np.concatenate([s.fret for s in states])
    finger = np.concatenate([s.finger for s in states])
    position = np.concatenate([s.position for s in states])
    spans = set()
    for at in range(1, 23):
        held = fret[(position == at) & (finger > 0)]
        for low in np.unique(held):
            widest = int(held.max() - low)
            spans.add(widest)
            assert widest <= (4 if low < 7 else 5)
    assert max(spans) == 5


def test_higher_fingers_never_sit_below_lower_ones() -> None:
    states = [hand_states(NoteKey(pitch), GUITAR) for pitch in range(40, 87)]
    reach = {
        finger: {int(r) for s in states for r in (s.fret - s.position)[s.finger == finger]}
        for finger in range(1, 5)
    }
    for lower, higher in pairwise(range(1, 5)):
        assert max(reach[lower]) <= min(reach[higher]) + 1
        assert min(reach[lower]) < min(reach[higher])


SMALL = Instrument("three strings", (57, 52, 47), 9)


@st.composite
def note_keys(draw) -> NoteKey:
    """A pitch, now and then pinned to one of its places."""
    pitch = draw(st.integers(47, 62))
    return NoteKey(pitch, pinned=draw(st.sampled_from([None, None, *SMALL.places(pitch)])))


KINDS_OF_STEP = st.builds(
    Step,
    key=note_keys(),
    demand=st.builds(
        Demand,
        bend_semitones=st.sampled_from([0.0, 1.0, 2.0]),
        vibrato=st.booleans(),
        scale=st.frozensets(st.integers(0, 11)),
        gapped_scale=st.booleans(),
        given_position=st.sampled_from([None, 0, 4]),
        hold=st.sampled_from([0.0, 0.5, 1.0]),
        pull=st.sampled_from([0.2, 1.0]),
    ),
    move=st.sampled_from(list(Move)),
    haste=st.sampled_from([0.0, 0.3, 0.9]),
    reach=st.sampled_from([None, None, 0, 2, 5]),
)


def _all_path_costs(lattice: Lattice, steps: list[Step]) -> np.ndarray:
    """Cost of every path, one axis for each step: no recursion, so independent of the dynamic programming."""
    total = np.zeros(())
    for index, step in enumerate(steps):
        axis = [1] * len(steps)
        axis[index] = -1
        total = total + lattice.demand_cost(step).astype(float).reshape(axis)
        if index:
            move = lattice.move_cost(steps[index - 1], step).astype(float)
            axis[index - 1], axis[index] = move.shape
            total = total + move.reshape(axis)
    return total


@settings(max_examples=40, deadline=None)
@given(st.lists(KINDS_OF_STEP, min_size=1, max_size=4))
def test_the_path_is_the_cheapest_and_the_posterior_exact(steps: list[Step]) -> None:
    lattice = Lattice(SMALL, read_fretting_model())
    costs = _all_path_costs(lattice, steps)
    path = lattice.cheapest_path(steps)
    for step, state in zip(steps, path, strict=True):
        states = lattice.states(step.key)
        assert step.key.pinned in (None, (states.string[state], states.fret[state]))
    assert costs[tuple(path)] == pytest.approx(costs.min(), abs=1e-4)
    weights = np.exp(-(costs - costs.min()) / read_fretting_model().temperature)
    weights /= weights.sum()
    for index, posterior in enumerate(lattice.posteriors(steps)):
        others = tuple(axis for axis in range(len(steps)) if axis != index)
        np.testing.assert_allclose(posterior, weights.sum(axis=others), atol=1e-5)


def test_a_rest_frees_the_hand() -> None:
    """After a rest a move costs no more, and a far one clearly less, than between notes close together."""
    lattice = Lattice(GUITAR, read_fretting_model())
    notes = pitches([60, 72])
    rested = [notes[0], replace(notes[1], onset_s=2.0, end_s=2.2)]
    costs = []
    for pair in (notes, rested):
        steps = plan_steps(pair, [NoteKey(note.pitch_midi) for note in pair], None, read_fretting_model())
        costs.append(lattice.move_cost(*steps))
    assert np.all(costs[0] >= costs[1])
    assert np.max(costs[0] - costs[1]) > 1


@pytest.mark.parametrize(
    ("classes", "gapped"),
    [
        ({0, 3, 5, 7, 10}, True),
        ({0, 2, 4, 7, 9}, True),
        ({0, 3, 5, 6, 7, 10}, True),
        ({0, 2, 4, 5, 7, 9, 11}, False),
        ({0, 4, 5, 11}, False),
        (set(), True),
    ],
)
def test_gapped_scales(classes: set[int], gapped: bool) -> None:
    """Pentatonics and the blues scale leave steps out; a piece of a major scale with semitones does not."""
    for step in range(12):
        assert is_gapped({(c + step) % 12 for c in classes}) is gapped
