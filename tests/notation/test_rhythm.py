"""The rhythm stage: exact where playing is exact, sane where input is not, and steady under shifts."""

from __future__ import annotations

import time
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.notation.measure_rhythm import held_out_lines, ranking_area, score_lines, score_take, summary
from tests.notation.rhythm_lines import Conditions, RhythmLine, heard_from, parse, perform, written_lines
from transcriber.errors import UsageError
from transcriber.notation import write_rhythm
from transcriber.notation.clock import smooth_clock
from transcriber.notation.parameters import rhythm_parameters
from transcriber.notation.vocabulary import IMPOSSIBLE, build_vocabulary
from transcriber.records.heard import Heard
from transcriber.records.technique import Technique
from transcriber.records.told import Told
from transcriber.records.written import Meter, Written

EVEN = Conditions(jitter_s=0.0, drift=0.0, off_tempo=0.0, articulation=(1.0, 1.0))
FOUR_FOUR = Meter(4, 4)
# Lines whose beat no onset tells: pushed or off the beat almost throughout.
AMBIGUOUS = {"Push on four-and"}
PLAIN = [line for line in written_lines() if line.title not in AMBIGUOUS]


def check_sane(heard: Heard, written: Written) -> None:
    """What holds for any input."""
    assert len(written.notes) == len(heard.notes)
    line = [note for note in written.notes if note.length > 0]
    starts = [note.start for note in line]
    assert all(a < b for a, b in pairwise(starts))
    for before, after in pairwise(line):
        assert before.start + before.length <= after.start
    assert all(note.length >= 0 and 0.0 <= note.confidence <= 1.0 for note in written.notes)
    assert all(a < b for a, b in pairwise(written.beats_s))
    if line:
        assert line[0].start > -written.meter.beats
        assert written.first_beat <= line[0].start
    assert np.isfinite(written.tempo_bpm)
    assert written.tempo_bpm > 0


def told(tempo: float | None, meter: Meter | None = FOUR_FOUR) -> Told:
    return Told(tempo_bpm=None if tempo is None else (tempo, tempo), meter=meter)


def onsets(times: list[float], sounding: float = 0.2) -> Heard:
    return heard_from([(t, t + sounding, i, 90) for i, t in enumerate(times)])


@pytest.mark.parametrize("line", PLAIN, ids=lambda line: line.title)
def test_even_playing_is_recovered_exactly(line: RhythmLine) -> None:
    played = perform(line, EVEN, 1)
    written = write_rhythm(played.heard, told(line.tempo_bpm, line.meter))
    score = score_take(line, played, written)
    assert score.start == 1.0
    assert score.rhythm >= 0.999 - 1.0 / len(line.starts)  # only the last note's length is a guess
    assert score.tempo_ratio == pytest.approx(1.0, abs=0.002)
    assert (written.swing is None) == (line.swing is None)
    check_sane(played.heard, written)


def test_held_out_lines_reach_the_figures_with_human_timing() -> None:
    lines = held_out_lines()[::2]
    given = summary(score_lines(lines, Conditions(), True, (5,)))
    assert given["start"] >= 0.93
    assert given["rhythm"] >= 0.92
    assert given["tempo"] >= 0.97
    alone = summary(score_lines(lines, Conditions(), False, (5,)))
    assert alone["start"] >= 0.8
    assert alone["octave"] >= 0.95


def test_missed_and_extra_onsets_cost_little() -> None:
    lines = PLAIN[::4]
    figures = summary(score_lines(lines, Conditions(missed=0.03, extra=0.02), True, (7,)))
    assert figures["start"] >= 0.93


@pytest.mark.parametrize("ratio", [1.7, 2.0, 2.5])
def test_swing_is_measured_and_written_straight(ratio: float) -> None:
    line = replace(next(line for line in PLAIN if line.title == "Shuffle"), swing=ratio)
    written = write_rhythm(perform(line, EVEN, 2).heard, told(line.tempo_bpm, line.meter))
    assert written.swing == pytest.approx(ratio, rel=0.06)
    assert {note.start % 1 for note in written.notes} == {Fraction(0), Fraction(1, 2)}


def test_sextuplets_give_way_to_sixteenths() -> None:
    line = parse("giving way", 80, "4/4", "0", None, "s3*3 s s s3*6 e s3*3 q | q s s e h")
    written = write_rhythm(perform(line, Conditions(), 3).heard, told(80, FOUR_FOUR))
    shift = written.notes[0].start
    assert [note.start - shift for note in written.notes] == list(line.starts)
    assert [note.length for note in written.notes][:-1] == list(line.lengths)[:-1]


@pytest.mark.parametrize("tempo", [66, 84, 100])
def test_quintuplets_are_written_where_five_are_played(tempo: int) -> None:
    line = parse("fives", tempo, "4/4", "0", None, "s5*5 q s*4 q | q s5*5 e e q | s5*5 s5*5 h | q q h")
    for seed in range(3):
        played = perform(line, Conditions(jitter_s=0.006), seed)
        assert score_take(line, played, write_rhythm(played.heard, told(tempo))).start == 1.0


def test_no_quintuplet_is_written_where_none_is_played() -> None:
    for line in PLAIN:
        if not line.meter.compound:
            heard = perform(line, Conditions(jitter_s=0.012), 6).heard
            written = write_rhythm(heard, told(line.tempo_bpm, line.meter))
            assert all(note.start.denominator % 5 for note in written.notes), line.title


def test_a_compound_line_is_not_counted_an_eighth_off() -> None:
    line = parse("jig", 100, "6/8", "1", None,
                 "e | q e q e | e e e q. | q e e e e | q. q e | q e q e | e e e q e | q. q.")  # fmt: skip
    for seed in range(3):
        played = perform(line, Conditions(), seed)
        score = score_take(line, played, write_rhythm(played.heard, told(100, line.meter)))
        assert (score.start, score.downbeat) == (1.0, 1.0)


@pytest.mark.benchmark
def test_two_thousand_notes_take_as_long_for_each_as_a_quarter_of_them() -> None:
    bars = ["q e e s s s s q", "e e q. e q", "e3*3 q e s s q", "re e e e h"] * 140
    line = parse("long", 104, "4/4", "0", None, " | ".join(bars))

    def seconds_for(count: int) -> float:
        heard = perform(
            replace(line, starts=line.starts[:count], lengths=line.lengths[:count]), Conditions(), 1
        ).heard
        began = time.process_time()
        write_rhythm(heard, told(None))
        return time.process_time() - began

    seconds_for(20)  # reads the model
    quarter, whole = seconds_for(500), seconds_for(2000)
    print(f"\n500 notes: {quarter:.2f} s, 2,000 notes: {whole:.2f} s")
    assert whole < 6 * quarter


def test_a_rest_is_written_where_the_player_stops() -> None:
    line = parse("stops", 100, "4/4", "0", None, "q rq e re q | q q e re q | h rh")
    written = write_rhythm(perform(line, EVEN, 3).heard, told(100, FOUR_FOUR))
    assert [note.length for note in written.notes] == list(line.lengths)


def test_lifted_notes_last_to_the_next() -> None:
    line = parse("lifted", 100, "4/4", "0", None, "e e q e e q | q q h | h.")
    lifted = perform(line, replace(EVEN, articulation=(0.84, 0.9)), 3)
    written = write_rhythm(lifted.heard, told(100, FOUR_FOUR))
    assert [note.length for note in written.notes] == list(line.lengths)


@given(st.floats(0, 5000), st.sampled_from(PLAIN[:12]))
@settings(max_examples=8, deadline=None)
def test_a_shift_in_time_changes_no_note(shift: float, line: RhythmLine) -> None:
    heard = perform(line, Conditions(), 4).heard
    moved = replace(
        heard,
        notes=tuple(replace(n, onset_s=n.onset_s + shift, end_s=n.end_s + shift) for n in heard.notes),
    )
    here = write_rhythm(heard, told(line.tempo_bpm, line.meter))
    there = write_rhythm(moved, told(line.tempo_bpm, line.meter))
    assert [(n.start, n.length) for n in here.notes] == [(n.start, n.length) for n in there.notes]
    assert there.beats_s == pytest.approx([t + shift for t in here.beats_s], abs=1e-4)


@given(st.floats(0.8, 1.25), st.sampled_from(PLAIN[:12]))
@settings(max_examples=8, deadline=None)
def test_a_slower_tempo_slows_the_same_notes(factor: float, line: RhythmLine) -> None:
    heard = perform(line, EVEN, 4).heard
    slowed = replace(
        heard,
        notes=tuple(replace(n, onset_s=n.onset_s * factor, end_s=n.end_s * factor) for n in heard.notes),
    )
    here = write_rhythm(heard, told(line.tempo_bpm, line.meter))
    there = write_rhythm(slowed, told(line.tempo_bpm / factor, line.meter))
    assert [n.start for n in here.notes] == [n.start for n in there.notes]
    assert there.tempo_bpm * factor == pytest.approx(here.tempo_bpm, rel=1e-3)


@given(
    st.lists(st.floats(0.0, 3.0), min_size=0, max_size=25),
    st.floats(0.001, 2.0),
    st.sampled_from([None, 40.0, 97.3, 210.0]),
    st.sampled_from([Meter(4, 4), Meter(3, 4), Meter(6, 8), Meter(7, 8), Meter(2, 2), Meter(1, 4)]),
)
@settings(max_examples=40, deadline=None)
def test_any_onsets_give_a_sane_rhythm(
    gaps: list[float], sounding: float, tempo: float | None, meter: Meter
) -> None:
    heard = onsets(list(np.cumsum(gaps)), sounding)
    check_sane(heard, write_rhythm(heard, told(tempo, meter)))


@pytest.mark.parametrize("tempo", [None, 100.0])
@pytest.mark.parametrize(
    "times",
    [[], [1.0], [1.0, 1.5], [1.0] * 30, [1.0, 1.5, 3601.5, 3602.0, 3602.5], list(np.arange(40) * 0.011)],
    ids=["none", "one", "two", "all at once", "an hour's gap", "a buzz"],
)
def test_degenerate_takes(times: list[float], tempo: float | None) -> None:
    heard = onsets(times)
    check_sane(heard, write_rhythm(heard, told(tempo, FOUR_FOUR)))


def test_a_long_silence_lets_the_beat_start_anew() -> None:
    first = [1.0 + 0.25 * i for i in range(8)]
    second = [31.37 + 0.25 * i for i in range(8)]
    written = write_rhythm(onsets(first + second, 0.24), told(120, FOUR_FOUR))
    steps = np.diff([float(note.start) for note in written.notes])
    assert np.allclose(np.delete(steps, 7), 0.5)
    assert written.notes[8].start.denominator <= 2


def test_a_grace_stands_outside_the_meter() -> None:
    line = parse("graced", 100, "4/4", "0", None, "q q q q | q q q q | w")
    heard = perform(line, EVEN, 1).heard
    third = heard.notes[2]
    grace = replace(
        third, onset_s=third.onset_s - 0.06, end_s=third.onset_s, techniques=(Technique("grace"),)
    )
    notes = (*heard.notes[:2], grace, *heard.notes[2:])
    written = write_rhythm(replace(heard, notes=notes), told(100, FOUR_FOUR))
    assert written.notes[2].length == 0
    assert written.notes[2].start == written.notes[3].start == Fraction(2)
    last = replace(heard.notes[-1], techniques=(Technique("grace"),), onset_s=heard.notes[-1].onset_s + 0.1)
    written = write_rhythm(replace(heard, notes=(*heard.notes, last)), told(100, FOUR_FOUR))
    assert written.notes[-1].length == 0


def test_beats_lie_where_the_player_put_them() -> None:
    line = parse("steady", 90, "4/4", "1", None, "e e | q q e e q | e e e e h | q q q q")
    played = perform(line, Conditions(jitter_s=0.006, drift=0.02), 8)
    written = write_rhythm(played.heard, told(90, FOUR_FOUR))
    for note, heard in zip(written.notes, played.heard.notes, strict=True):
        if note.start.denominator == 1:
            beat = written.beats_s[int(note.start) - written.first_beat]
            assert beat == pytest.approx(heard.onset_s, abs=0.03)


def test_the_same_take_gives_the_same_writing() -> None:
    heard = perform(PLAIN[1], Conditions(), 2).heard
    assert write_rhythm(heard, told(None, FOUR_FOUR)) == write_rhythm(heard, told(None, FOUR_FOUR))


@pytest.mark.parametrize("tempo", [0.0, -5.0, 19.9, 401.0, float("nan"), float("inf")])
def test_a_tempo_out_of_bounds_is_refused_with_the_bounds(tempo: float) -> None:
    with pytest.raises(UsageError, match=r"20 to 400"):
        write_rhythm(onsets([1.0, 2.0]), told(tempo, FOUR_FOUR))


def test_confidence_is_lower_where_the_rhythm_is_wrong() -> None:
    scores = score_lines(PLAIN[::5], Conditions(jitter_s=0.02), True, (1, 2))
    pairs = [pair for score in scores for pair in score.confidence]
    assert ranking_area(pairs) > 0.6


@pytest.mark.parametrize("compound", [False, True])
def test_every_beat_has_the_probability_of_its_pattern(compound: bool) -> None:
    parameters = rhythm_parameters()
    grammar = parameters.grammar_of(compound)
    words = build_vocabulary(grammar, 1.0, swing=not compound)
    for context in range(words.start_context + 1):
        for feel, root in enumerate(words.roots):
            total = 0.0
            stack = [(int(root), 0.0)]
            while stack:
                node, logp = stack.pop()
                total += float(np.exp(logp + words.end_logp[context, node]))
                for slot in np.flatnonzero(words.child[node] >= 0):
                    step = words.continue_logp[context, node, slot]
                    if step > IMPOSSIBLE / 2:
                        stack.append((int(words.child[node, slot]), logp + step))
            assert total == pytest.approx(1.0, abs=1e-6), (context, feel)


def test_the_clock_is_straight_for_even_onsets_and_inverts() -> None:
    position = np.array([0.0, 0.5, 1.0, 2.0, 2.25, 4.0])
    clock = smooth_clock(position, 3.0 + 0.6 * position, 0.6, rhythm_parameters().timing)
    probe = np.array([-2.0, 0.3, 3.1, 9.0])
    assert clock.at(probe) == pytest.approx(3.0 + 0.6 * probe, abs=1e-6)
    assert clock.where(clock.at(probe)) == pytest.approx(probe, abs=1e-9)
