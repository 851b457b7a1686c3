"""Passes through the line: a passage that was begun again counts as it was played last."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class Pass:
    """One run forward through the line.

    Attributes
    ----------
    pairs : tuple of (int, int)
        Played and wanted note, both ascending.
    """

    pairs: tuple[tuple[int, int], ...]

    @property
    def first(self) -> int:
        """First wanted note."""
        return self.pairs[0][1]

    @property
    def last(self) -> int:
        """Last wanted note."""
        return self.pairs[-1][1]


def passes_of(pairs: Sequence[tuple[int, int]]) -> tuple[Pass, ...]:
    """Part an alignment where it falls back."""
    runs: list[list[tuple[int, int]]] = []
    for pair in pairs:
        if not runs or pair[1] <= runs[-1][-1][1]:
            runs.append([])
        runs[-1].append(pair)
    return tuple(Pass(tuple(run)) for run in runs)


def counting_pass(passes: Sequence[Pass], count: int) -> list[int]:
    """Number of the pass that counts for each wanted note: the last that went over it; -1 where none did."""
    counts = [-1] * count
    for number, each in enumerate(passes):
        for wanted in range(each.first, each.last + 1):
            counts[wanted] = number
    return counts


def superseded(passes: Sequence[Pass], counts: Sequence[int], played: int) -> set[int]:
    """Played notes that stand where a later pass went over again: tried, and tried anew."""
    gone = set()
    bounds = [each.pairs[0][0] for each in passes] + [played]
    for number, each in enumerate(passes):
        matched = dict(each.pairs)
        before = each.first
        for i in range(bounds[number], bounds[number + 1]):
            before = matched.get(i, before)
            following = next((j for k, j in each.pairs if k > i), each.last)
            if i in matched:
                if counts[matched[i]] != number:
                    gone.add(i)
            elif counts[before] != number or counts[following] != number:
                gone.add(i)
            elif i > each.pairs[-1][0] and number + 1 < len(passes):
                # What is played between breaking off and beginning again.
                gone.add(i)
    return gone
