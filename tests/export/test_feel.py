"""Where a player sits against the beat: known lags put on exact beats."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from tests.export import export_drafts as lines
from transcriber.draft import Draft, Phrase
from transcriber.export.feel import feel_of, feel_words, steady_timing


def two_phrases(lags_s: tuple[float, float], click: bool = False) -> Draft:
    """Sixteen quarters in two phrases, every note of a phrase late by so much."""
    draft = lines.build([(Fraction(step), "1", 2, 10) for step in range(16)])
    timing = replace(draft.timing, beats_s=tuple(1.0 + 0.5 * beat for beat in range(18)), first_beat=0)
    begins = [1.0 + 0.5 * step + lags_s[step // 8] for step in range(16)]
    notes = tuple(
        replace(note, onset_s=begin, end_s=begin + 0.4)
        for note, begin in zip(draft.notes, begins, strict=True)
    )
    phrases = (Phrase("p1", "", None, 0.9, 4.95), Phrase("p2", "", None, 4.95, 9.5))
    made_by = replace(draft.made_by, options={"click": click})
    return replace(draft, timing=timing, notes=notes, phrases=phrases, made_by=made_by)


@pytest.mark.parametrize(("early", "late"), [(0.0, 0.03), (-0.01, 0.01), (0.02, -0.02)])
def test_phrases_are_told_apart_without_a_click(early: float, late: float) -> None:
    first, second = feel_of(two_phrases((early, late)))
    assert second.late_ms - first.late_ms == pytest.approx(1000 * (late - early), abs=0.5)
    assert first.late_ms + second.late_ms == pytest.approx(0.0, abs=0.5)
    assert first.notes == second.notes == 8


def test_with_a_click_the_lag_itself_is_told() -> None:
    assert [feel.late_ms for feel in feel_of(two_phrases((0.02, 0.02), click=True))] == [20.0, 20.0]


def test_words() -> None:
    first, second = feel_of(two_phrases((-0.02, 0.02)))
    assert feel_words(first).startswith("20 ms ahead of the beat")
    assert feel_words(second).startswith("20 ms behind the beat")
    assert feel_words(replace(first, late_ms=3.0)).startswith("on the beat")


def test_a_straight_row_of_beats_stays_as_it_is() -> None:
    timing = two_phrases((0.0, 0.0)).timing
    assert steady_timing(timing).beats_s == pytest.approx(timing.beats_s, abs=1e-9)
