"""Counting syllables against bars counted by hand: common practice of teachers."""

from __future__ import annotations

from fractions import Fraction

import pytest

from tests.export import export_drafts as lines
from transcriber.export.counting import count_bar, plain_syllable
from transcriber.export.read_tab import read_text_tab
from transcriber.export.spelling import spell
from transcriber.export.tab import text_tab
from transcriber.records.written import Meter


def counted(lengths: str, meter: str = "4/4", start: str = "0") -> str:
    """Count a row of lengths in denominator beats, a rest marked by r; bars joined by |."""
    beats, unit = (int(part) for part in meter.split("/"))
    at = Fraction(start)
    events = []
    for word in lengths.split():
        length = Fraction(word.lstrip("r"))
        if not word.startswith("r"):
            events.append((at, length))
        at += length
    shape = Meter(beats, unit)
    bars = spell(events, shape)
    return " | ".join(" ".join(count.text for count in count_bar(bar, shape)) for bar in bars)


@pytest.mark.parametrize(
    ("lengths", "meter", "said"),
    [
        ("1 1 1 1", "4/4", "1 2 3 4"),
        ("1/2 1/2 1/2 1/2 2", "4/4", "1 & 2 & 3"),
        ("1/4 1/4 1/4 1/4 1 2", "4/4", "1 e & a 2 3"),
        ("1/3 1/3 1/3 1 2", "4/4", "1 trip let 2 3"),
        ("1/6 1/6 1/6 1/6 1/6 1/6 1 2", "4/4", "1 trip let & trip let 2 3"),
        ("1/6 1/6 1/6 1/4 1/4 1 2", "4/4", "1 trip let & a 2 3"),
        ("2/3 2/3 2/3 2", "4/4", "1 trip let 3"),
        ("1/8 1/8 1/4 1/2 3", "4/4", "1 ta e & 2"),
        ("r1 1/2 1/2 2", "4/4", "(1) 2 & 3"),
        ("3/2 1 3/2", "4/4", "1 & (3) &"),
        ("1 1 1 1 1 1", "6/8", "1 2 3 4 5 6"),
        ("1/2 1/2 1/2 1/2 1/2 1/2 3", "6/8", "1 & 2 & 3 & 4"),
        ("3 3", "3/4", "1 | 1"),
    ],
)
def test_counted_by_hand(lengths: str, meter: str, said: str) -> None:
    assert counted(lengths, meter) == said


def test_a_pickup_is_counted_as_the_end_of_a_full_bar() -> None:
    assert counted("1/2 1/2 4", start="-1") == "4 & | 1"


def test_a_place_is_counted_alike_in_every_bar() -> None:
    meter = Meter(3, 4)
    assert [plain_syllable(Fraction(step, 4), meter) for step in range(12)] == [
        *("1", "e", "&", "a"),
        *("2", "e", "&", "a"),
        *("3", "e", "&", "a"),
    ]
    assert plain_syllable(Fraction(-1, 2), meter) == "&"


@pytest.mark.parametrize("name", list(lines.DRAFTS))
def test_a_counted_tab_says_the_same_music(name: str) -> None:
    draft = lines.DRAFTS[name]()
    plain, counting = text_tab(draft, 100), text_tab(draft, 100, count=True)
    assert read_text_tab(counting) == read_text_tab(plain)
    assert "counted aloud" in counting
    assert "counted aloud" not in plain
