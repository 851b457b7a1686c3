"""What makes a phrase hard, counted from onsets and places."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from itertools import pairwise

from transcriber.records.analysed import BendCount, HardParts, LinePoint

RATE_DECIMALS = 2
# The fastest passage is taken over so many neighbours, so that one short gap does not decide it.
_PASSAGE = 4


def hard_parts(points: Sequence[LinePoint]) -> HardParts:
    """Count what makes one phrase hard.

    Parameters
    ----------
    points : sequence of LinePoint
        The phrase's notes, in order of onset.
    """
    bends = Counter(round(2 * bend) / 2 for point in points for bend in point.bends if bend >= 0.25)
    strings = [point.string for point in points if point.string is not None]
    changes = sum(one != other for one, other in pairwise(strings))
    beats = float(points[-1].start + points[-1].length - points[0].start) if points else 0.0
    shift, stretch = _hand(points)
    return HardParts(
        notes_a_second=round(_fastest(points), RATE_DECIMALS),
        shift_frets=shift,
        stretch_frets=stretch,
        bends=tuple(BendCount(height, times) for height, times in sorted(bends.items())),
        string_changes_a_beat=round(changes / beats, RATE_DECIMALS) if beats > 0 else 0.0,
    )


def _fastest(points: Sequence[LinePoint]) -> float:
    onsets = [point.onset_s for point in points]
    width = min(_PASSAGE, len(onsets))
    if width < 2:
        return 0.0
    spans = [onsets[index + width - 1] - onsets[index] for index in range(len(onsets) - width + 1)]
    return (width - 1) / max(min(spans), 1e-3)


def _hand(points: Sequence[LinePoint]) -> tuple[int, int]:
    """Largest shift of the index finger, and most frets under one position of it."""
    shift = stretch = 0
    index_at: int | None = None
    under: list[int] = []
    for point in points:
        if not point.fret or not point.finger:
            continue
        # With the second to fourth finger at a fret the index lies one to three frets below.
        here = max(1, point.fret - (point.finger - 1))
        if index_at is not None and here != index_at:
            shift = max(shift, abs(here - index_at))
            under = []
        index_at = here
        under.append(point.fret)
        stretch = max(stretch, max(under) - min(under))
    return shift, stretch
