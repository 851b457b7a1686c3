"""Place accuracy on lines that the weights were not fitted to, against the rule a person could apply."""

from __future__ import annotations

import time

import pytest

from tests.fretboard.fingered import GUITAR
from tests.fretboard.fit_fretting import report
from tests.fretboard.generated_fingerings import HALF_SEEDS, generate
from tests.fretboard.handwritten_fingerings import handwritten
from transcriber.fretboard import place_notes
from transcriber.models import load_model

Report = dict[str, dict[str, dict[str, float]]]


@pytest.fixture(scope="module")
def reached() -> Report:
    return report()


def test_the_model_file_states_what_is_measured(reached: Report) -> None:
    provenance = load_model("fretting")["provenance"]
    assert provenance["made_by"] == "tests/fretboard/fit_fretting.py"
    assert provenance["reached"]["share of notes placed as played, report half"] == reached


@pytest.mark.parametrize("source", ["handwritten", "generated"])
def test_lines_that_shift_beat_the_nearest_fret_by_a_clear_margin(reached: Report, source: str) -> None:
    for kind in ("shifting", "three_a_string"):
        figures = reached[source][kind]
        assert figures["position_given"] >= figures["nearest_fret_rule"] + 0.05


@pytest.mark.parametrize("source", ["handwritten", "generated"])
def test_a_given_position_helps(reached: Report, source: str) -> None:
    figures = reached[source]["all"]
    assert figures["position_given"] > figures["nothing_given"]


def test_halves_share_no_line() -> None:
    assert not {line.name for line in handwritten("fit")} & {line.name for line in handwritten("report")}
    assert HALF_SEEDS["fit"] != HALF_SEEDS["report"]
    assert generate("box", "fit", 1)[0].notes != generate("box", "report", 1)[0].notes


@pytest.mark.benchmark
def test_time_grows_no_faster_than_the_line() -> None:
    notes = [note for line in generate("shifting", "report", 8) for note in line.heard()][:200]

    def seconds(copies: int) -> float:
        start = time.perf_counter()
        place_notes(notes * copies, GUITAR, None)
        return time.perf_counter() - start

    seconds(1)
    assert seconds(40) < 8 * seconds(10)
