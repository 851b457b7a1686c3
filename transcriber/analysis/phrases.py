"""Where a line breaks into phrases, and which phrase takes up which.

Task: choose the boundaries that are worth most together. A gap between two notes is worth something for the
silence in it, for a note held long against its neighbours, for the bar line, for the turn of the contour, and
where what follows has been played before (after the grouping preferences of Lerdahl and Jackendoff 1983 and
the boundary strengths of Cambouropoulos 2001; the figures are this project's, in ``models/phrases.json``). A
phrase pays for being much shorter or longer than usual. The best set is found by dynamic programming.
Nothing but onsets, pitches and the written rhythm is used, so that it can be done before places are known.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from transcriber.models import load_model, parameters_of
from transcriber.records.analysed import LinePoint, PhraseFound

FloatArray = npt.NDArray[np.float64]

# Notes looked at on either side of a gap to say what is long there.
_NEIGHBOURS = 4
MOST_NOTES = 48
# Two phrases are alike if at least this share of the longer one's notes stands in both, at the same place.
_LIKE_SHARE = 0.6
_FEWEST_ALIKE = 3
_TICKS = 10080


@dataclass(frozen=True)
class PhraseParameters:
    """What boundaries are worth; see ``models/phrases.json``.

    Attributes
    ----------
    boundary : float
        Price of any boundary.
    rest, rest_full : float
        For a silence; it is worth all from `rest_full` beats on.
    held, held_full : float
        For a note that lasts longer than its neighbours; all from `held_full` times on.
    bar : float
        Where the next note begins within half a beat of a bar line.
    leap : float
        For a leap of an octave, in proportion below.
    again : float
        Where the notes that follow have been played before, from the start of a phrase or of the line.
    usual_beats, length_price : float
        The usual length from one phrase to the next, and the price for each squared doubling away from it.
    few_notes : float
        Price for each note below four.
    """

    boundary: float
    rest: float
    rest_full: float
    held: float
    held_full: float
    bar: float
    leap: float
    again: float
    usual_beats: float
    length_price: float
    few_notes: float


@cache
def shipped_phrase_parameters() -> PhraseParameters:
    """Return the parameters that ship with the program."""
    return parameters_of("phrases", load_model("phrases")["parameters"], PhraseParameters)


def find_phrases(
    points: Sequence[LinePoint], bar_beats: int, parameters: PhraseParameters | None = None
) -> list[tuple[int, int]]:
    """Part a line into phrases.

    Parameters
    ----------
    points : sequence of LinePoint
        In order of onset; places on the neck are not used.
    bar_beats : int
        Denominator beats in a bar.
    parameters : PhraseParameters, optional
        The shipped ones if not given.

    Returns
    -------
    list of (int, int)
        First note of each phrase and the note after its last, covering all notes.
    """
    count = len(points)
    if not count:
        return []
    asked = parameters or shipped_phrase_parameters()
    worth = boundary_worth(points, bar_beats, asked)
    starts = np.array([float(point.start) for point in points])
    ends = np.append(starts[1:], max(float(point.start + point.length) for point in points))
    best = np.zeros(count + 1)
    came_from = np.zeros(count + 1, dtype=np.int64)
    for stop in range(1, count + 1):
        first = np.arange(max(0, stop - MOST_NOTES), stop)
        beats = np.maximum(ends[stop - 1] - starts[first], 0.25)
        price = asked.length_price * np.log2(beats / asked.usual_beats) ** 2
        price += asked.few_notes * np.maximum(0, 4 - (stop - first))
        total = best[first] - price + np.where(first > 0, worth[first], 0.0)
        chosen = int(np.argmax(total))
        best[stop], came_from[stop] = total[chosen], first[chosen]
    spans = []
    stop = count
    while stop:
        spans.append((int(came_from[stop]), stop))
        stop = int(came_from[stop])
    return spans[::-1]


def boundary_worth(points: Sequence[LinePoint], bar_beats: int, parameters: PhraseParameters) -> FloatArray:
    """What a boundary before each note is worth, in the parameters' units; the first entry means nothing."""
    count = len(points)
    worth = np.zeros(count)
    starts = np.array([float(point.start) for point in points])
    lengths = np.array([float(point.length) for point in points])
    gaps = np.diff(starts)
    again = _played_before(points)
    for index in range(1, count):
        rest = max(0.0, starts[index] - starts[index - 1] - lengths[index - 1])
        near = np.delete(
            gaps[max(0, index - 1 - _NEIGHBOURS) : index + _NEIGHBOURS], min(index - 1, _NEIGHBOURS)
        )
        usual = float(np.median(near)) if len(near) else gaps[index - 1]
        held = np.log2(max(gaps[index - 1] / max(usual, 1e-6), 1.0)) / np.log2(parameters.held_full)
        from_bar = starts[index] % bar_beats
        at_bar = min(from_bar, bar_beats - from_bar) <= 0.5
        here, before = points[index].pitch_midi, points[index - 1].pitch_midi
        leap = abs(here - before) / 12 if here is not None and before is not None else 0.0
        worth[index] = (
            -parameters.boundary
            + parameters.rest * min(rest / parameters.rest_full, 1.0)
            + parameters.held * min(held, 1.0)
            + parameters.bar * at_bar
            + parameters.leap * min(leap, 1.0)
            + parameters.again * again[index]
        )
    return worth


def _played_before(points: Sequence[LinePoint]) -> FloatArray:
    """How much of the six notes from here on has been played before.

    Between 0 and 1 for every note: the longest run of equal pitches that begins here and at an earlier note,
    in sixths; the first four must stand at the same distances too.
    """
    count, most = len(points), 6
    pitches = np.array([-1 if point.pitch_midi is None else point.pitch_midi for point in points])
    gaps = np.array([int((b.start - a.start) * 48) for a, b in pairwise(points)] + [-1])
    found = np.zeros(count)
    earlier: dict[tuple[int, ...], int] = {}
    for index in range(count - 3):
        key = (*pitches[index : index + 4].tolist(), *gaps[index : index + 3].tolist())
        if key in earlier and index - earlier[key] >= 4:
            first = earlier[key]
            run = 4
            while run < most and index + run < count and pitches[first + run] == pitches[index + run]:
                run += 1
            # The run must begin here: what came before it was another note, or began the line.
            if first == 0 or pitches[first - 1] != pitches[index - 1] or gaps[first - 1] != gaps[index - 1]:
                found[index] = run / most
        earlier.setdefault(key, index)
    return found


def linked_phrases(
    points: Sequence[LinePoint], spans: Sequence[tuple[int, int]], bar_beats: int
) -> tuple[PhraseFound, ...]:
    """Say of each phrase which earlier one it takes up, and how it differs.

    Parameters
    ----------
    points : sequence of LinePoint
    spans : sequence of (int, int)
    bar_beats : int

    Returns
    -------
    tuple of PhraseFound
    """
    events = [_events(points[first:stop], bar_beats) for first, stop in spans]
    # Compared as whole ticks, which is quick where there are many phrases.
    sets = [frozenset((int(place * _TICKS), pitch) for place, pitch in each) for each in events]
    lengths = [len(each) for each in events]
    found = []
    for number, (first, stop) in enumerate(spans):
        near = [
            other
            for other in range(number)
            if min(lengths[other], lengths[number]) >= _LIKE_SHARE * max(lengths[other], lengths[number], 1)
        ]
        ranked = [(_alike(sets[other], sets[number]), -other) for other in near]
        share, other = max(ranked, default=(0.0, 0))
        common = share * max(lengths[number], lengths[-other] if near else 0)
        if share < _LIKE_SHARE or common < _FEWEST_ALIKE:
            found.append(PhraseFound(first, stop))
            continue
        words = _difference(events[-other], events[number], -other + 1, bar_beats)
        found.append(PhraseFound(first, stop, -other, words))
    return tuple(found)


_Event = tuple[Fraction, int | None]


def _events(points: Sequence[LinePoint], bar_beats: int) -> tuple[_Event, ...]:
    """Place from the beginning of the phrase's first full bar, and pitch, of each note."""
    if not points:
        return ()
    origin = round_to_bar(points[0].start, bar_beats)
    return tuple((point.start - origin, point.pitch_midi) for point in points)


def round_to_bar(start: Fraction, bar_beats: int) -> Fraction:
    """Bar line that a phrase is counted from: the next one for a pickup of less than half a bar."""
    bar = start // bar_beats
    return Fraction((bar + (2 * (start - bar * bar_beats) > bar_beats)) * bar_beats)


def _alike(one: frozenset[tuple[int, int | None]], other: frozenset[tuple[int, int | None]]) -> float:
    longer = max(len(one), len(other))
    return len(one & other) / longer if longer else 0.0


def _difference(old: tuple[_Event, ...], new: tuple[_Event, ...], number: int, bar_beats: int) -> str:
    """Words such as ``as phrase 2, last bar differs``."""
    differing = {event for event in set(old) ^ set(new)}
    if not differing:
        return f"as phrase {number}"
    places = [place for place, _ in (*old, *new)]
    bars = sorted({int(place // bar_beats) for place, _ in differing})
    first, last = int(min(places) // bar_beats), int(max(places) // bar_beats)
    words = "varied"
    if len(bars) > 1 or first == last:
        half = (min(places) + max(places)) / 2
        late = [place >= half for place, _ in differing]
        if all(late) or not any(late):
            words = "the end differs" if all(late) else "the beginning differs"
    elif bars[0] == last:
        words = "last bar differs"
    elif bars[0] < 0:
        words = "the pickup differs"
    else:
        words = "first bar differs" if bars[0] == 0 else f"bar {bars[0] + 1} differs"
    return f"as phrase {number}, {words}"
