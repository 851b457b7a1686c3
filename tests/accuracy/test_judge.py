"""The judge itself: a perfect draft is perfect, and each planted error moves exactly the figure it should."""

from __future__ import annotations

import copy
from fractions import Fraction
from typing import Any

import numpy as np
import pytest
from sklearn.metrics import roc_auc_score

from tests.accuracy.judge import Tally, figures, judge, ranking_auc, technique_figures


def note(number: int, beat: str, pitch: int, *techniques: dict[str, Any]) -> dict[str, Any]:
    return {
        "id": number,
        "onset_s": 0.5 * number,
        "end_s": 0.5 * number + 0.45,
        "pitch_midi": pitch,
        "string": 2,
        "fret": pitch - 59,
        "bar": 1 + number // 4,
        "beat": beat,
        "length": "1",
        "techniques": list(techniques),
        "confidence": {"overall": 0.95},
    }


def truth() -> dict[str, Any]:
    return {
        "timing": {"tempo_bpm": 120.0, "meter": "4/4"},
        "notes": [
            note(0, "1", 64),
            note(1, "2", 66, {"kind": "hammer_on"}),
            note(2, "3", 67, {"kind": "bend", "semitones": 2.0}, {"kind": "release", "semitones": 0.0}),
            note(3, "4", 64, {"kind": "vibrato", "optional": True}),
            note(4, "1", 62, {"kind": "pull_off"}),
            note(5, "2", 69, {"kind": "slide"}),
            note(6, "3", 67, {"kind": "pre_bend", "semitones": 1.0}, {"kind": "release", "semitones": 0.0}),
            note(7, "4", 64, {"kind": "vibrato"}),
        ],
    }


PERFECT = figures(judge(truth(), truth()).tally)


def changed(change: Any) -> dict[str, float | None]:
    draft = copy.deepcopy(truth())
    change(draft)
    got = figures(judge(truth(), draft).tally)
    return {key: got[key] for key in got if got[key] != PERFECT[key]}


def test_perfect_draft_is_perfect() -> None:
    for key in (
        "note F",
        "note F with offsets",
        "start",
        "rhythm",
        "downbeat",
        "tempo",
        "techniques F",
        "place",
    ):
        assert PERFECT[key] == 1.0, key
    assert PERFECT["corrections/100"] == 0
    assert PERFECT["bend within .25"] == 1.0


def test_wrong_length_moves_rhythm_and_corrections_only() -> None:
    assert changed(lambda d: d["notes"][3].update(length="1/2")) == {
        "rhythm": 7 / 8,
        "corrections/100": 12.5,
        "sure and right": 7 / 8,
        "honesty AUC": 0.5,
    }


def test_wrong_beat_moves_start_and_rhythm() -> None:
    got = changed(lambda d: d["notes"][3].update(beat="15/4"))
    assert got["start"] == got["rhythm"] == 7 / 8
    assert got["corrections/100"] == 12.5
    assert not {"note F", "place", "techniques F", "downbeat"} & set(got)


def test_equal_beats_may_be_written_differently() -> None:
    assert changed(lambda d: d["notes"][3].update(beat="8/2", length="2/2")) == {}


def test_whole_take_one_beat_late_moves_downbeat_only() -> None:
    def late(draft: dict[str, Any]) -> None:
        for entry in draft["notes"]:
            beat = int(entry["beat"]) + 1
            entry.update(bar=entry["bar"] + (beat > 4), beat=str((beat - 1) % 4 + 1))

    assert changed(late) == {"downbeat": 0.0}


def test_whole_take_one_bar_late_is_right() -> None:
    def late(draft: dict[str, Any]) -> None:
        for entry in draft["notes"]:
            entry["bar"] += 1

    assert changed(late) == {}


def test_half_a_beat_late_is_no_shift() -> None:
    def late(draft: dict[str, Any]) -> None:
        for entry in draft["notes"]:
            entry["beat"] = f"{2 * int(entry['beat']) + 1}/2"

    assert changed(late)["start"] == 0.0
    draft = truth()
    late(draft)
    assert judge(truth(), draft).commonest_offset == Fraction(1, 2)


def test_beat_beyond_the_bar_is_wrong() -> None:
    got = changed(lambda d: d["notes"][4].update(bar=1, beat="5"))
    assert got["start"] == 7 / 8


def test_wrong_place() -> None:
    got = changed(lambda d: d["notes"][0].update(string=1, fret=0))
    assert got["place"] == 7 / 8
    assert got["corrections/100"] == 12.5
    assert not {"start", "rhythm", "techniques F", "note F"} & set(got)


def test_one_note_wrong_in_everything_is_one_correction() -> None:
    def spoil(draft: dict[str, Any]) -> None:
        draft["notes"][0].update(string=1, fret=0, beat="5/4", length="1/8", techniques=[{"kind": "slide"}])

    assert changed(spoil)["corrections/100"] == 12.5


def test_missed_note_costs_its_techniques() -> None:
    got = changed(lambda d: d["notes"].pop(2))
    assert got["note F"] == pytest.approx(14 / 15)
    assert got["techniques F"] == pytest.approx(2 * 7 / (7 + 9))
    assert got["corrections/100"] == 12.5
    assert not {"start", "place", "rhythm"} & set(got)


def test_extra_note_costs_its_techniques() -> None:
    extra = note(8, "1", 60, {"kind": "bend", "semitones": 1.0})
    got = changed(lambda d: d["notes"].append(extra))
    assert got["note F"] == pytest.approx(16 / 17)
    assert got["techniques F"] == pytest.approx(2 * 9 / (10 + 9))
    assert got["corrections/100"] == 12.5


def test_onset_off_by_60_ms_is_missed_and_extra() -> None:
    got = changed(lambda d: d["notes"][0].update(onset_s=0.06))
    assert got["note F"] == pytest.approx(7 / 8)
    assert got["corrections/100"] == 25.0


def test_offset_moves_the_figure_with_offsets_only() -> None:
    assert changed(lambda d: d["notes"][0].update(end_s=0.2)) == {"note F with offsets": 7 / 8}


def test_hammer_on_for_pull_off_is_a_slur_all_the_same() -> None:
    assert changed(lambda d: d["notes"][1].update(techniques=[{"kind": "pull_off"}])) == {}


def test_optional_technique_may_be_left_out() -> None:
    got = changed(lambda d: d["notes"][3].update(techniques=[]))
    assert got == {}


def test_left_out_technique() -> None:
    got = changed(lambda d: d["notes"][7].update(techniques=[]))
    assert got["techniques F"] == pytest.approx(2 * 8 / (8 + 9))
    assert got["corrections/100"] == 12.5


def test_unjudged_kinds_cost_nothing() -> None:
    assert changed(lambda d: d["notes"][0].update(techniques=[{"kind": "palm_mute"}])) == {}


@pytest.mark.parametrize(
    ("semitones", "half", "quarter"), [(2.25, 1.0, 1.0), (2.4, 1.0, 0.5), (1.2, 0.5, 0.5)]
)
def test_bend_amount(semitones: float, half: float, quarter: float) -> None:
    draft = copy.deepcopy(truth())
    draft["notes"][2]["techniques"][0]["semitones"] = semitones
    got = figures(judge(truth(), draft).tally)
    assert (got["bend within .5"], got["bend within .25"]) == (half, quarter)
    assert got["techniques F"] == 1.0
    assert got["corrections/100"] == 0


@pytest.mark.parametrize(
    ("tempo", "right", "octave"), [(124.8, 1, 1), (125.0, 0, 0), (60.0, 0, 1), (240.0, 0, 1), (180.0, 0, 0)]
)
def test_tempo(tempo: float, right: int, octave: int) -> None:
    draft = copy.deepcopy(truth())
    draft["timing"]["tempo_bpm"] = tempo
    got = figures(judge(truth(), draft).tally)
    assert (got["tempo"], got["tempo or half/double"]) == (right, octave)


def test_honesty_rises_when_the_wrong_note_is_doubted() -> None:
    def doubted(draft: dict[str, Any]) -> None:
        draft["notes"][0].update(string=1, fret=0, confidence={"overall": 0.2})

    def trusted(draft: dict[str, Any]) -> None:
        draft["notes"][0].update(string=1, fret=0, confidence={"overall": 0.99})

    assert changed(doubted)["honesty AUC"] == 1.0
    assert changed(trusted)["honesty AUC"] == 0.0
    assert "sure and right" not in changed(doubted)
    assert changed(trusted)["sure and right"] == 7 / 8


def test_auc_agrees_with_scikit_learn() -> None:
    rng = np.random.default_rng(5)
    right, wrong = rng.integers(0, 12, 40) / 10, rng.integers(0, 9, 15) / 10
    expected = roc_auc_score([1] * 40 + [0] * 15, np.concatenate([right, wrong]))
    assert ranking_auc(right, wrong) == pytest.approx(expected)


def test_pooling_adds_counts_and_survives_json() -> None:
    tally = judge(truth(), truth()).tally
    twice = tally + Tally.from_dict(tally.to_dict())
    assert figures(twice)["true notes"] == 16
    assert figures(twice)["techniques F"] == 1.0
    assert technique_figures(twice)["slur"]["true"] == 4


def test_empty_draft() -> None:
    draft = {"timing": {"tempo_bpm": 120.0, "meter": "4/4"}, "notes": []}
    got = figures(judge(truth(), draft).tally)
    assert got["note F"] == 0.0
    assert got["corrections/100"] == 100.0
    assert got["start"] is None


def test_place_counts_for_honesty_only_where_the_strings_are_told() -> None:
    draft = truth()
    draft["notes"][0]["fret"] += 1
    for note in draft["notes"]:
        note["confidence"] = {
            "pitch": 1.0, "onset": 0.9, "place": 0.5, "rhythm": 1.0, "technique": 1.0, "overall": 0.45
        }  # fmt: skip
    told = judge(truth(), draft).tally
    assert told.wrong_confidences == [0.45]
    untold = judge(truth(), draft, strings_told=False).tally
    assert untold.wrong_confidences == []
    assert set(untold.right_confidences) == {0.9}
    assert told.corrections == untold.corrections == 1
