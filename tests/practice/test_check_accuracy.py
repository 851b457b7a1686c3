"""Floors of what `check` finds, on guitars, tones and lines to which nothing was fitted.

The figures themselves are printed by ``python -m tests.practice.measure_check --split report``.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.practice.attempts import specs
from tests.practice.measure_check import measured, table

pytestmark = [pytest.mark.accuracy, pytest.mark.timeout(300)]


@pytest.fixture(scope="module")
def results():
    found = measured(specs("report", 1), cached=False)
    print(table(found))
    return found


def test_verdicts(results):
    assert results.overall.right + results.overall.lost > 60
    assert results.overall.f > 0.91


def test_a_flawless_attempt_is_left_alone(results):
    assert results.flawless["all"][1] > 150
    assert results.false_per_100 <= 1.0


def test_notes_are_found_and_their_times_and_pitches_told(results):
    assert results.aligned / results.to_align > 0.985
    assert np.median(np.abs(results.timing_ms)) < 8.0
    assert np.median(np.abs(results.cents)) < 8.0
    assert np.median(np.abs(results.bend_cents)) < 8.0


def test_halts_and_passages_begun_again_or_left_out_are_told(results):
    for kind in ("going back", "skipped note", "transposed"):
        assert results.events[kind].f > 0.9
