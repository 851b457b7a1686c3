"""Where a line breaks into phrases, and the best other fingerings of each.

Other fingerings come from searches of the same lattice in which the phrase must begin at another place, or
the hand stay within another stretch of neck. The hand comes from where it was before the phrase and goes to
where it is after it.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from transcriber.fretboard.fretting_model import FrettingModel
from transcriber.fretboard.hands import HandStates
from transcriber.fretboard.lattice import Lattice, Path, Step
from transcriber.records.heard import HeardNote
from transcriber.records.phrased import PhraseFingering

FloatArray = npt.NDArray[np.float64]

# Stretches of neck in which a hand is made to stay: every second fret, two frets to either side.
_REGION_SPACING, _REGION_REACH = 2, 2
# Fingerings that put more than this share of the notes at the same places are one.
_SAME_SHARE = 0.5
# Extra cost a note up to which a fingering is a little harder, and from which on clearly.
_EASY, _HARD = 0.5, 1.5


def phrase_bounds(notes: Sequence[HeardNote], rest_s: float) -> list[tuple[int, int]]:
    """Part a line at its silences.

    Parameters
    ----------
    notes : sequence of HeardNote
    rest_s : float
        Silence from which on a new phrase begins, seconds.

    Returns
    -------
    list of (int, int)
        First note of each phrase and the note after its last.
    """
    starts = [0] if notes else []
    sounding_until = 0.0
    for index, note in enumerate(notes):
        if index and note.onset_s - sounding_until >= rest_s:
            starts.append(index)
        sounding_until = max(sounding_until, note.end_s)
    return list(pairwise([*starts, len(notes)]))


def check_spans(spans: Sequence[tuple[int, int]], count: int) -> None:
    """Refuse phrases that do not cover a line of `count` notes one after the other.

    Raises
    ------
    ValueError
    """
    edges = [0, *(stop for _, stop in spans)]
    starts = [first for first, _ in spans]
    if edges[:-1] != starts or edges[-1] != count or any(stop <= first for first, stop in spans):
        raise ValueError(f"phrases {list(spans)} do not cover {count} notes one after the other")


def other_fingerings(
    lattice: Lattice,
    steps: Sequence[Step],
    chosen: Sequence[int],
    span: tuple[int, int],
    model: FrettingModel,
) -> list[PhraseFingering]:
    """Find the best other fingerings of a phrase, the cheapest first.

    Parameters
    ----------
    lattice : Lattice
    steps : sequence of Step
        Of the whole line.
    chosen : sequence of int
        State of each step in the fingering chosen.
    span : (int, int)
        First step of the phrase and the one after its last.
    model : FrettingModel
    """
    first, stop = span
    states = [lattice.states(step.key) for step in steps[first:stop]]
    own = _own_costs(lattice, steps, chosen, span)
    kept = Path(tuple(chosen[first:stop]), 0.0)
    kept_cost = _cost(lattice, steps[first:stop], own, kept)
    limit = kept_cost + model.alternative_cost_per_note * len(states)
    paths = lattice.cheapest_paths(steps[first:stop], _constrained(own, states))
    around = _hands_around(lattice, steps, chosen, span)
    found: list[PhraseFingering] = []
    told = [_places(states, kept)]
    for path in sorted(paths, key=lambda path: (round(path.cost, 4), path.states)):
        places = _places(states, path)
        if path.cost > limit or any(_alike(places, other) for other in told):
            continue
        told.append(places)
        extra = max(path.cost - kept_cost, 0.0)
        more_shifts = _shifts(states, path, around) - _shifts(states, kept, around)
        found.append(
            PhraseFingering(
                places=places,
                position=min(_positions(states, path), default=0),
                shifts=_shifts(states, path, around),
                extra_cost=round(extra, 2),
                toss_up=extra <= model.toss_up_cost,
                words=_words(states, path, more_shifts, extra / len(states), extra <= model.toss_up_cost),
            )
        )
        if len(found) == model.alternatives_kept:
            break
    return found


def _own_costs(
    lattice: Lattice, steps: Sequence[Step], chosen: Sequence[int], span: tuple[int, int]
) -> list[FloatArray]:
    """Cost of each state by itself; at either end with the move from or to the line around."""
    first, stop = span
    own = [lattice.demand_cost(step).astype(np.float64) for step in steps[first:stop]]
    if first:
        own[0] = own[0] + lattice.move_cost(steps[first - 1], steps[first])[chosen[first - 1]]
    if stop < len(steps):
        own[-1] = own[-1] + lattice.move_cost(steps[stop - 1], steps[stop])[:, chosen[stop]]
    return own


def _constrained(own: Sequence[FloatArray], states: Sequence[HandStates]) -> list[FloatArray]:
    """Stack readings of the costs: one for each region of the neck, one for each place of the first note.

    Readings that rule out all of a note are left out.
    """
    highest = max(int(each.position.max()) for each in states)
    middles = np.arange(1 + _REGION_REACH, highest + 1, _REGION_SPACING)[:, None]
    starts = sorted(set(zip(states[0].string.tolist(), states[0].fret.tolist(), strict=True)))
    stacked = []
    for cost, each in zip(own, states, strict=True):
        outside = (each.finger > 0) & (np.abs(each.position - middles) > _REGION_REACH)
        free = np.broadcast_to(cost, (len(starts), len(each)))
        stacked.append(np.concatenate([np.where(outside, np.inf, cost), free]))
    for row, (string, fret) in enumerate(starts, len(middles)):
        stacked[0][row, (states[0].string != string) | (states[0].fret != fret)] = np.inf
    alive = np.logical_and.reduce([np.isfinite(rows).any(axis=1) for rows in stacked])
    return [rows[alive] for rows in stacked]


def _cost(lattice: Lattice, steps: Sequence[Step], own: Sequence[FloatArray], path: Path) -> float:
    cost = sum(float(each[state]) for each, state in zip(own, path.states, strict=True))
    for index in range(1, len(steps)):
        moves = lattice.move_cost(steps[index - 1], steps[index])
        cost += float(moves[path.states[index - 1], path.states[index]])
    return cost


def _places(states: Sequence[HandStates], path: Path) -> tuple[tuple[int, int], ...]:
    return tuple(
        (int(each.string[state]), int(each.fret[state]))
        for each, state in zip(states, path.states, strict=True)
    )


def _alike(places: Sequence[tuple[int, int]], other: Sequence[tuple[int, int]]) -> bool:
    same = sum(a == b for a, b in zip(places, other, strict=True))
    return same > _SAME_SHARE * len(places)


def _positions(states: Sequence[HandStates], path: Path) -> list[int]:
    """Fret of the index finger under each fretted note."""
    pairs = zip(states, path.states, strict=True)
    return [int(each.position[state]) for each, state in pairs if each.finger[state] > 0]


def _hands_around(
    lattice: Lattice, steps: Sequence[Step], chosen: Sequence[int], span: tuple[int, int]
) -> tuple[list[int], list[int]]:
    """Position of the hand just before and just after a phrase, each an empty list where there is no note."""
    first, stop = span

    def position(index: int) -> list[int]:
        if not 0 <= index < len(steps):
            return []
        states = lattice.states(steps[index].key)
        return [int(states.position[chosen[index]])] if states.finger[chosen[index]] else []

    return position(first - 1), position(stop)


def _shifts(states: Sequence[HandStates], path: Path, around: tuple[list[int], list[int]]) -> int:
    positions = [*around[0], *_positions(states, path), *around[1]]
    return sum(before != after for before, after in pairwise(positions))


def _words(states: Sequence[HandStates], path: Path, more_shifts: int, extra: float, toss_up: bool) -> str:
    """Say where on the neck, on which strings, and what it asks of the hand beside the fingering chosen."""
    frets = sorted({fret for _, fret in _places(states, path) if fret})
    strings = sorted({string for string, _ in _places(states, path)}, reverse=True)
    where = _frets_in_words(frets, any(fret == 0 for _, fret in _places(states, path)))
    said = f"the same line {where} on {_strings_in_words(strings)}"
    if more_shifts:
        count = abs(more_shifts)
        said += f", {count} {'shift' if count == 1 else 'shifts'} {'more' if more_shifts > 0 else 'fewer'}"
    if toss_up:
        return said + ", as easy to play"
    if extra < _EASY:
        return said + ", a little harder"
    return said + (", clearly harder" if extra > _HARD else ", harder")


def _frets_in_words(frets: Sequence[int], open_too: bool) -> str:
    if not frets:
        return "open"
    span = f"at fret {frets[0]}" if frets[0] == frets[-1] else f"at frets {frets[0]} to {frets[-1]}"
    return f"{span} and open" if open_too else span


def _strings_in_words(strings: Sequence[int]) -> str:
    if len(strings) == 1:
        return f"string {strings[0]}"
    if len(strings) > 2 and strings[0] - strings[-1] == len(strings) - 1:
        return f"strings {strings[0]} to {strings[-1]}"
    return f"strings {', '.join(str(string) for string in strings[:-1])} and {strings[-1]}"
