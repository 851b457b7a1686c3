"""The bench: lines can be played, real notes sound when and as high as they should, stored results fit."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from scipy import signal

from tests.accuracy import baseline, run
from tests.accuracy.compose import CONDITIONS, STYLES, compose
from tests.accuracy.handwritten import handwritten
from tests.accuracy.judge import figures, judge
from tests.accuracy.note_bank import SAMPLE_RATE_HZ, SETS
from tests.accuracy.playing import play
from tests.accuracy.report import details, pool
from tests.accuracy.splice import detune_of, splice
from tests.accuracy.takes import ALL_CONDITIONS, SPLITS, make_take, specs
from transcriber.records.line import Line
from transcriber.synthesis.line_check import check_line

LINES = [compose(condition, index, 31) for condition in CONDITIONS for index in range(4)]


@pytest.mark.parametrize("composed", [*LINES, *handwritten()], ids=lambda composed: composed.line.title)
def test_lines_can_be_played(composed) -> None:
    line: Line = composed.line
    check_line(line)
    assert 16 <= len(line.notes) <= 40
    for note, following in zip(line.notes, line.notes[1:], strict=False):
        assert note.start + note.length <= following.start
    first = line.notes[0]
    assert first.fret == 0 or 0 <= first.fret - composed.position <= 4
    onsets = [played.onset_s for played in play(line, 1).notes]
    assert np.all(np.diff(onsets) > 0.05)


def test_same_seed_same_line_and_other_seed_another() -> None:
    assert compose("triplets", 2, 5) == compose("triplets", 2, 5)
    assert compose("triplets", 2, 5).line.notes != compose("triplets", 2, 6).line.notes


def test_every_style_and_both_makers_come_up() -> None:
    assert {composed.style for composed in LINES} == set(STYLES)
    assert {composed.maker for composed in LINES} == {"walk", "develop"}


def test_idiom_is_there() -> None:
    notes = [note for composed in LINES for note in composed.line.notes]
    assert any(composed.line.notes[0].start < 0 for composed in LINES), "no pickup"
    assert any(note.start.denominator == 3 for note in notes), "no eighth triplet"
    assert any(note.start.denominator == 6 for note in notes), "no sixteenth triplet"
    assert any(note.start % 1 == Fraction(1, 2) and note.length >= 1 for note in notes), "no syncopation"
    kinds = {technique.kind for note in notes for technique in note.techniques}
    assert kinds == {"bend", "pre_bend", "release", "vibrato", "slide", "hammer_on", "pull_off"}


def plain_performance(set_name: str):
    return play(compose("straight", SETS.index(set_name), 8).line, 3)


@pytest.mark.parametrize("set_name", SETS)
def test_spliced_notes_sound_at_their_pitch(set_name: str) -> None:
    """Period by autocorrelation, 60 to 160 ms into notes long enough, against the curve the player drew."""
    performance = plain_performance(set_name)
    sound = splice(performance, set_name)
    errors = []
    for note in performance.notes:
        if note.end_s - note.onset_s < 0.17:
            continue
        start = int((note.onset_s + 0.06) * SAMPLE_RATE_HZ)
        frame = sound[start : start + SAMPLE_RATE_HZ // 10].astype(float)
        played = note.pitch_midi + np.interp(note.onset_s + 0.11, note.curve_times_s, note.curve_semitones)
        errors.append(12 * np.log2(_frequency(frame, played) / 440) + 69 - played)
    assert len(errors) > 8
    assert np.max(np.abs(errors)) < 0.3
    assert np.median(np.abs(errors)) < 0.1


def _frequency(frame: np.ndarray, near_midi: float) -> float:
    """Highest peak of the autocorrelation within a semitone and a half of a pitch."""
    lags = SAMPLE_RATE_HZ / (440 * 2 ** ((near_midi + np.array([1.5, -1.5]) - 69) / 12))
    frame = signal.resample_poly(frame - frame.mean(), 4, 1)
    correlation = signal.correlate(frame, frame, "full", "fft")[len(frame) - 1 :]
    correlation /= np.arange(len(frame), 0, -1)
    low, high = (int(4 * lag) for lag in lags)
    return 4 * SAMPLE_RATE_HZ / float(low + np.argmax(correlation[low:high]))


@pytest.mark.parametrize("set_name", SETS)
def test_spliced_notes_begin_when_played(set_name: str) -> None:
    """The first note comes out of silence: it reaches 12 % of its first 50 ms' peak at its onset."""
    performance = plain_performance(set_name)
    level = np.abs(splice(performance, set_name))
    onset = int(performance.notes[0].onset_s * SAMPLE_RATE_HZ)
    peak = level[onset : onset + SAMPLE_RATE_HZ // 20].max()
    heard = np.argmax(level >= 0.12 * peak)
    assert abs(heard - onset) < 0.012 * SAMPLE_RATE_HZ


def test_detuned_take_is_35_cents_off() -> None:
    performance = plain_performance("emily")
    assert abs(detune_of(performance, ("detune",))) == 0.35
    assert detune_of(performance, ("noise",)) == 0.0


def test_noise_is_20_db_below() -> None:
    performance = plain_performance("green")
    clean, noisy = (splice(performance, "green", effects) for effects in ((), ("noise",)))
    ratio = 20 * np.log10(np.std(clean) / np.std(noisy - clean))
    assert ratio == pytest.approx(20.0, abs=0.5)


def test_splits_share_no_take() -> None:
    fit, report = (
        {make_take(spec).key for spec in specs(split, ("synth",), ("straight", "written"), 1)}
        for split in SPLITS
    )
    assert len(fit) == len(report) == 2
    assert not {key.partition(":")[2] for key in fit} & {key.partition(":")[2] for key in report}


def test_oracle_goes_through_the_whole_bench() -> None:
    listed = specs("report", ("strat",), ("techniques", "written"), 2)
    results = list(run.measure_all([(spec, "oracle", "tempo,position") for spec in listed]))
    total = figures(pool([result.judgement.tally for result in results]))
    assert 0.9 < total["note F"] < 1.0
    assert 0.7 < total["place"] < 0.95
    assert total["honesty AUC"] > 0.8
    text = run.report_text(results, "tempo,position")
    assert "techniques F" in text
    assert "missed" in details(results)


def test_stored_baseline_belongs_to_the_takes_of_today() -> None:
    """Else it must be made again: python -m tests.accuracy.baseline."""
    kept = baseline.stored()
    listed = specs("report", ("strat", "emily"), ALL_CONDITIONS, 1)
    absent = [spec.name for spec in listed if make_take(spec).key not in kept]
    assert not absent


def test_nearest_fret_rule() -> None:
    notes = [{"pitch_midi": 64}, {"pitch_midi": 60}, {"pitch_midi": None}]
    placed = baseline.place_nearest({"notes": notes}, 5)["notes"]
    assert [(note.get("string"), note.get("fret")) for note in placed] == [(2, 5), (3, 5), (None, None)]
    assert baseline.place_nearest({"notes": notes}, 12)["notes"][0]["fret"] == 14


@pytest.mark.accuracy
def test_general_parts_hear_a_clean_line() -> None:
    take = make_take(specs("report", ("emily",), ("straight",), 1)[0])
    line = take.composed.line
    (draft,) = baseline.draft_by_general_parts(take.sound, (line.tempo_bpm,), line.meter)
    assert figures(judge(take.truth, draft).tally)["note F"] > 0.7
