"""Floors under the project's accuracy on the report split: guitars and lines that nothing was fitted to.

Run with ``pytest -m accuracy tests/accuracy``; the tables are printed (``-s``).
"""

from __future__ import annotations

import functools

import pytest

from tests.accuracy.judge import figures
from tests.accuracy.report import Result, pool
from tests.accuracy.run import measure, report_text
from tests.accuracy.takes import ALL_CONDITIONS, SPLITS, specs

# What is given to the drafter, the figure, its floor. Corrections have a ceiling instead.
FLOORS = (
    ("tempo,position", "note F", 0.975),
    ("tempo,position", "start", 0.88),
    ("tempo,position", "rhythm", 0.80),
    ("tempo,position", "techniques F", 0.85),
    ("tempo,position", "place", 0.85),
    ("tempo,position", "corrections/100", 26.0),
    ("nothing", "tempo", 0.75),
    ("nothing", "tempo or half/double", 0.90),
)
LOWER_IS_BETTER = ("corrections/100",)
LINES = 2

pytestmark = [pytest.mark.accuracy, pytest.mark.timeout(3600)]


@functools.cache
def results(given: str) -> tuple[Result, ...]:
    listed = specs("report", SPLITS["report"], ALL_CONDITIONS, LINES)
    found = tuple(measure((spec, "project", given)) for spec in listed)
    print("\n" + report_text(found, given))
    return found


def measured(given: str) -> dict[str, float | None]:
    return figures(pool([result.judgement.tally for result in results(given)]))


@pytest.mark.parametrize(("given", "figure", "floor"), FLOORS, ids=[f"{f} given {g}" for g, f, _ in FLOORS])
def test_floor(given: str, figure: str, floor: float) -> None:
    value = measured(given)[figure]
    assert value is not None
    if figure in LOWER_IS_BETTER:
        assert value <= floor
    else:
        assert value >= floor


def test_corrections_stay_below_the_general_parts() -> None:
    compared = [result for result in results("tempo,position") if result.base is not None]
    assert compared, "no stored baseline belongs to these takes; run python -m tests.accuracy.baseline"
    base = figures(pool([result.base for result in compared if result.base is not None]))
    own = figures(pool([result.judgement.tally for result in compared]))
    assert own["corrections/100"] < base["corrections/100"]


def test_fingering_beats_the_nearest_fret_rule_where_the_hand_moves() -> None:
    """On the project's own notes, so that only fingering differs; inside one box the rule is right."""
    moving = [r for r in results("tempo,position") if r.take.composed.style in ("shift", "three_a_string")]
    own = figures(pool([result.judgement.tally for result in moving]))
    rule = figures(pool([result.near for result in moving]))
    assert own["place"] > rule["place"]
