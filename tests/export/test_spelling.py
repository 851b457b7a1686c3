"""Note values: closed forms by hand, and properties over random lines."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from transcriber.errors import DraftError
from transcriber.export.spelling import spell
from transcriber.export.written_bars import Bar
from transcriber.records.written import Meter

LETTER = {1: "w", 2: "h", 4: "q", 8: "e", 16: "s", 32: "t", 64: "x"}
SIGNATURES = ((4, 4), (3, 4), (2, 4), (6, 8), (12, 8), (9, 8), (5, 4), (7, 8), (2, 2), (3, 8))
METERS = [Meter(*pair) for pair in SIGNATURES]
F = Fraction


def show(bar: Bar) -> str:
    """A bar in short: letters, dot, rests in brackets, ties as ~, tuplets in braces."""
    words = []
    for place, piece in enumerate(bar.pieces):
        text = LETTER[piece.value.base] + "." * piece.value.dots
        text = f"({text})" if piece.event is None else text
        text = text + ("~" if piece.tied_out else "")
        before = bar.pieces[place - 1].tuplet if place else None
        after = bar.pieces[place + 1].tuplet if place + 1 < len(bar.pieces) else None
        if piece.tuplet is not None and piece.tuplet != before:
            text = "{" + str(piece.value.actual) + ":" + text
        if piece.tuplet is not None and piece.tuplet != after:
            text += "}"
        words.append(text)
    return " ".join(words)


def write(meter: tuple[int, int], *events: tuple[str, str]) -> list[str]:
    return [show(bar) for bar in spell([(F(start), F(length)) for start, length in events], Meter(*meter))]


def run(start: F, lengths: list[F]) -> list[tuple[F, F]]:
    events = []
    for length in lengths:
        events.append((start, length))
        start += length
    return events


@pytest.mark.parametrize(
    ("meter", "events", "expected"),
    [
        # Common practice of engraving: the middle of a 4/4 bar is seen, except by q h q and plain starts.
        ((4, 4), [("0", "4")], ["w"]),
        ((4, 4), [("0", "1"), ("1", "2"), ("3", "1")], ["q h q"]),
        ((4, 4), [("0", "3/2"), ("3/2", "1"), ("5/2", "3/2")], ["q. e~ e q."]),
        ((4, 4), [("0", "1/2"), ("1/2", "1"), ("3/2", "1/2"), ("2", "2")], ["e q e h"]),
        ((4, 4), [("0", "3"), ("3", "2")], ["h. q~", "q (q) (h)"]),
        ((4, 4), [("1", "1/4"), ("5/4", "1/2"), ("7/4", "1/4")], ["(q) s e s (h)"]),
        ((4, 4), [("0", "1/2"), ("3/4", "1/4")], ["e (s) s (q) (h)"]),
        ((3, 4), [("0", "3/2"), ("3/2", "3/2")], ["q. e~ q"]),
        ((3, 4), [("0", "1"), ("1", "2")], ["q h"]),
        ((6, 8), [("0", "3"), ("3", "2"), ("5", "1")], ["q. q e"]),
        ((6, 8), [("0", "6")], ["h."]),
        ((6, 8), [("0", "2"), ("2", "2"), ("4", "2")], ["q e~ e q"]),
        ((6, 8), [("0", "3/2"), ("3/2", "3/2"), ("3", "3")], ["e. e. q."]),
        ((12, 8), [("0", "12")], ["w."]),
        ((9, 8), [("0", "9")], ["h.~ q."]),
        ((5, 4), [("0", "5")], ["h.~ h"]),
    ],
)
def test_plain_values(meter: tuple[int, int], events: list[tuple[str, str]], expected: list[str]) -> None:
    assert write(meter, *events) == expected


def test_eighth_triplet_fills_its_beat() -> None:
    assert write((4, 4), ("0", "1/3"), ("1/3", "1/3"), ("2/3", "1/3")) == ["{3:e e e} (q) (h)"]
    assert write((4, 4), ("1/3", "1/3"), ("2/3", "4/3")) == ["{3:(e) e e~} q (h)"]
    assert write((4, 4), ("0", "2/3"), ("2/3", "1/3")) == ["{3:q e} (q) (h)"]


def test_sixteenth_triplets_give_way_to_plain_sixteenths() -> None:
    sixth, fourth = F(1, 6), F(1, 4)
    events = run(F(0), [sixth] * 3 + [fourth] * 2 + [sixth] * 6)
    assert [show(bar) for bar in spell(events, Meter(4, 4))] == ["{3:s s s} s s {3:s s s} {3:s s s} (h)"]


def test_quarter_triplet_over_two_beats() -> None:
    assert write((4, 4), ("0", "2/3"), ("2/3", "2/3"), ("4/3", "2/3")) == ["{3:q q q} (h)"]


def test_two_beats_of_eighth_triplets_are_bracketed_by_beat() -> None:
    events = run(F(0), [F(1, 3)] * 6)
    assert show(spell(events, Meter(2, 4))[0]) == "{3:e e e} {3:e e e}"


def test_quintuplet() -> None:
    assert show(spell(run(F(0), [F(1, 5)] * 5), Meter(2, 4))[0]) == "{5:s s s s s} (q)"


def test_pickup_starts_at_its_first_note_or_at_the_tuplet() -> None:
    bars = spell(run(F(-1, 2), [F(1, 2), F(3)]), Meter(3, 4))
    assert (bars[0].number, bars[0].start, bars[0].length, show(bars[0])) == (0, F(-1, 2), F(1, 2), "e")
    assert show(bars[1]) == "h."
    bars = spell(run(F(-1, 3), [F(1, 3), F(3)]), Meter(3, 4))
    assert (bars[0].start, show(bars[0])) == (F(-1), "{3:(q) e}")


def test_no_events() -> None:
    assert spell([], Meter(4, 4)) == ()


def test_a_line_that_starts_late_begins_at_bar_one() -> None:
    bars = spell([(F(5), F(1))], Meter(4, 4))
    assert [show(bar) for bar in bars] == ["(w)", "(q) q (h)"]
    assert bars[0].empty


@pytest.mark.parametrize(
    ("events", "word"),
    [
        ([(F(0), F(1, 11))], "bar 1"),
        ([(F(0), F(2)), (F(1), F(1))], "cut it there"),
        ([(F(0), F(0))], "more than 0"),
    ],
)
def test_what_cannot_be_written_is_refused(events: list[tuple[F, F]], word: str) -> None:
    with pytest.raises(DraftError, match=word):
        spell(events, Meter(4, 4))


@st.composite
def lines(draw: st.DrawFn) -> tuple[Meter, list[tuple[F, F]]]:
    """Lines whose joints lie on a grid of sixteenths or of triplets, chosen anew for every half beat."""
    meter = draw(st.sampled_from(METERS))
    first = draw(st.integers(-2 * meter.beats, 2 * meter.beats))
    points: set[F] = set()
    for half in range(first, first + draw(st.integers(1, 24))):
        steps = draw(st.sampled_from([1, 2, 3, 4]))
        points |= {F(half, 2) + F(step, 2 * steps) for step in range(steps) if draw(st.booleans())}
    joints = sorted(points | {F(first, 2) - 1})
    events = [(start, end - start) for start, end in pairwise(joints)]
    kept = [event for event in events if draw(st.integers(0, 4))]
    return meter, kept or [(F(0), F(1))]


@settings(max_examples=400, deadline=None)
@given(lines())
def test_bars_add_up_and_ties_give_the_line_back(line: tuple[Meter, list[tuple[F, F]]]) -> None:
    meter, events = line
    bars = spell(events, meter)
    joined: dict[int, list[F]] = {}
    for place, bar in enumerate(bars):
        assert sum(piece.length for piece in bar.pieces) == bar.length
        assert bar.start + bar.length == bar.number * meter.beats
        assert bar.length == meter.beats or (place == 0 and bar.number <= 0)
        here = bar.start
        for piece in bar.pieces:
            assert piece.start == here
            here += piece.length
            assert piece.value.base in LETTER
            assert piece.value.dots in (0, 1)
            assert piece.value.whole_notes * meter.unit == piece.length
            assert (piece.tuplet is None) == (piece.value.actual == 1)
            if piece.event is not None:
                span = joined.setdefault(piece.event, [piece.start, piece.start])
                assert span[1] == piece.start
                assert piece.tied_in == (piece.start != events[piece.event][0])
                span[1] = piece.end
                assert piece.tied_out == (piece.end != sum(events[piece.event]))
        for index, tuplet in enumerate(bar.tuplets):
            inside = [piece for piece in bar.pieces if piece.tuplet == index]
            assert sum(piece.length for piece in inside) == tuplet.length
            assert inside[0].start == tuplet.start
    assert [(span[0], span[1] - span[0]) for _, span in sorted(joined.items())] == events
