"""Small figures inside a line: triads outlined, half-step approaches, chromatic runs."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from transcriber.analysis.chords import ChordSymbol
from transcriber.analysis.scales import Scale
from transcriber.records.analysed import LinePoint, ShapeKind, ShapeSpan

TRIADS: dict[str, tuple[int, ...]] = {"": (0, 4, 7), "m": (0, 3, 7), "dim": (0, 3, 6), "aug": (0, 4, 8)}
"""Semitones above the root, by what follows it in the symbol."""

# A triad needs so many notes in a row; with its own chord sounding, three will do.
_FEWEST_NOTES = 4
_FEWEST_OVER_OWN = 3
_FEWEST_CHROMATIC = 4


def find_triads(
    points: Sequence[LinePoint], scale: Scale, sounding: Sequence[ChordSymbol | None]
) -> list[ShapeSpan]:
    """Find stretches whose notes are the three of one triad and no others.

    Parameters
    ----------
    points : sequence of LinePoint
    scale : Scale
        The key, for spelling.
    sounding : sequence of (ChordSymbol or None)
        Chord under each note.

    Returns
    -------
    list of ShapeSpan
        Named ``"Am triad"``, with ``over F`` where another chord sounds. They do not overlap.
    """
    spans = []
    first = 0
    while first < len(points):
        found = _triad_from(points, first, sounding)
        if found is None:
            first += 1
            continue
        stop, root, kind = found
        name = f"{scale.spell(root)[0]}{kind} triad{_over(root, kind, sounding[first])}"
        spans.append(_figure("triad", name, points, first, stop))
        first = stop
    return spans


def _triad_from(
    points: Sequence[LinePoint], first: int, sounding: Sequence[ChordSymbol | None]
) -> tuple[int, int, str] | None:
    """Longest stretch from a note on that outlines a triad: where it stops, its root and its kind."""
    classes: set[int] = set()
    best = None
    for index in range(first, len(points)):
        goal = points[index].goal_midi
        if goal is None or sounding[index] != sounding[first] or len(classes | {goal % 12}) > 3:
            break
        classes.add(goal % 12)
        triad = _triad_of(classes)
        if triad is not None:
            own = sounding[first] is not None and not _over(*triad, sounding[first])
            fewest = _FEWEST_OVER_OWN if own else _FEWEST_NOTES
            if index + 1 - first >= fewest:
                best = (index + 1, *triad)
    return best


def _triad_of(classes: set[int]) -> tuple[int, str] | None:
    if len(classes) != 3:
        return None
    for kind, steps in TRIADS.items():
        for root in sorted(classes):
            if {(root + step) % 12 for step in steps} == classes:
                return root, kind
    return None


def _over(root: int, kind: str, chord: ChordSymbol | None) -> str:
    if chord is None:
        return ""
    own = chord.root_class == root and set(TRIADS[kind]) == set(chord.triad)
    return "" if own else f" over {chord.name}"


def find_half_steps(points: Sequence[LinePoint], scale: Scale) -> list[ShapeSpan]:
    """Find chromatic runs, and notes outside the scale that lead by a half step to a note of it.

    Returns
    -------
    list of ShapeSpan
        Runs of four and more half steps in one direction, and approaches of two notes outside of runs.
    """
    spans = _chromatic_runs(points, scale)
    taken = {index for span in spans for index in range(span.first, span.stop)}
    for index in range(len(points) - 1):
        here, there = points[index].goal_midi, points[index + 1].goal_midi
        if here is None or there is None or {index, index + 1} & taken:
            continue
        if abs(there - here) == 1 and here % 12 not in scale.classes and there % 12 in scale.classes:
            side = "below" if there > here else "above"
            name = f"half step from {side} to {scale.spell(there)[0]}"
            spans.append(_figure("half_step_approach", name, points, index, index + 2))
    return sorted(spans, key=lambda span: span.first)


def _chromatic_runs(points: Sequence[LinePoint], scale: Scale) -> list[ShapeSpan]:
    goals = [point.goal_midi for point in points]
    steps = [b - a if a is not None and b is not None else 0 for a, b in pairwise(goals)]
    spans = []
    first = 0
    while first < len(steps):
        stop = first
        while stop < len(steps) and abs(steps[stop]) == 1 and steps[stop] == steps[first]:
            stop += 1
        if stop + 1 - first >= _FEWEST_CHROMATIC:
            low, high = goals[first], goals[stop]
            assert low is not None
            assert high is not None
            way = "up" if high > low else "down"
            name = f"chromatic run {way} from {scale.spell(low)[0]} to {scale.spell(high)[0]}"
            spans.append(_figure("chromatic_run", name, points, first, stop + 1))
        first = max(stop, first + 1)
    return spans


def _figure(kind: ShapeKind, name: str, points: Sequence[LinePoint], first: int, stop: int) -> ShapeSpan:
    places = tuple(
        sorted(
            {
                (point.string, point.fret)
                for point in points[first:stop]
                if point.string is not None and point.fret is not None
            }
        )
    )
    position = min((fret for _, fret in places if fret), default=0)
    return ShapeSpan(kind, name, (), first, stop, position, places, tuple(range(first, stop)), ())
