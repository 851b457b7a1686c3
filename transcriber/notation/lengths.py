"""Written lengths: to the next note unless the player stopped on purpose."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

import numpy as np

from transcriber.notation.clock import Clock
from transcriber.notation.parameters import Lengths
from transcriber.notation.vocabulary import FloatArray, IntArray

_TICKS = 360  # to a tapped beat
_HALF, _QUARTER, _SIXTH = _TICKS // 2, _TICKS // 4, _TICKS // 6
_SHORTEST_REST = _SIXTH


class BeatGrids:
    """How the halves of each tapped beat are divided, so that a note ends where a note could begin.

    Nobody writes a triplet for the sake of a rest: half a beat is divided in three where a note begins at
    such a place of it. Where none begins within it, the other half of the beat tells, then the beats around
    it.

    Parameters
    ----------
    starts : sequence of Fraction
        Where notes begin, in tapped beats.
    compound : bool
        The tapped beat has three parts unless notes say otherwise.
    """

    def __init__(self, starts: Sequence[Fraction], compound: bool) -> None:
        self._usual = _SIXTH if compound else _QUARTER
        self._known: dict[int, int] = {}
        for start in starts:
            half, within = divmod(round(start * _TICKS), _HALF)
            if within:
                grids = (each for each in (_QUARTER, _SIXTH) if within % (each // 2) == 0)
                self._known[half] = next(grids, _HALF)

    def has(self, tick: int) -> bool:
        """Whether a note may end at a tick."""
        half, within = divmod(tick, _HALF)
        return any(within % grid == 0 for grid in self._of(half))

    def _of(self, half: int) -> set[int]:
        first = half & ~1
        for near in ((half,), (half ^ 1,), (first - 2, first - 1, first + 2, first + 3)):
            told = {self._known[each] for each in near if each in self._known}
            if told:
                return told
        return {self._usual}


def written_length(
    start: Fraction,
    sounding_s: float,
    gap_s: float | None,
    limit: Fraction,
    clock: Clock,
    grids: BeatGrids,
    settings: Lengths,
    staccato: bool = False,
) -> Fraction:
    """Length of one note.

    Parameters
    ----------
    start : Fraction
        Position in tapped beats.
    sounding_s : float
        Time the note sounds, seconds.
    gap_s : float or None
        Silence before the next note on the line; None for the last note.
    limit : Fraction
        Beats to the next note, or the longest a last note may be.
    clock : Clock
    grids : BeatGrids
    settings : Lengths
    staccato : bool
        The note is cut short but written at twice what sounds.

    Returns
    -------
    Fraction
        Tapped beats, above 0 and at most `limit`.
    """
    if gap_s is not None and _joined(sounding_s, gap_s, settings):
        return limit
    if staccato:
        sounding_s *= 2.0
        if gap_s is not None and limit <= 1:
            return limit
    return _likeliest(start, sounding_s, limit, gap_s is None, clock, grids, settings)


def _joined(sounding_s: float, gap_s: float, settings: Lengths) -> bool:
    share = gap_s / max(sounding_s + gap_s, 1e-9)
    return gap_s <= settings.joined_gap_s or share <= settings.joined_share


def _likeliest(
    start: Fraction,
    sounding_s: float,
    limit: Fraction,
    last: bool,
    clock: Clock,
    grids: BeatGrids,
    settings: Lengths,
) -> Fraction:
    begin = float(clock.at(np.array([float(start)]))[0])
    # Ends further than a note could sound are not worth a look.
    reach = float(clock.where(np.array([begin + 2.5 * sounding_s + 0.5]))[0]) - float(start)
    first = round(start * _TICKS)
    next_note = first + round(limit * _TICKS)
    ends = _ends(first, min(next_note, first + (int(reach * 4) + 4) * _QUARTER), grids)
    if not last:
        ends = np.append(ends[ends <= next_note - _SHORTEST_REST], next_note)
    if not len(ends):
        return limit
    written_s = clock.at(ends / _TICKS) - begin
    expected = settings.sounding_share * written_s
    spread = np.sqrt(settings.end_sd_s**2 + (settings.sounding_share_sd * written_s) ** 2)
    cost = 0.5 * ((sounding_s - expected) / spread) ** 2 + np.log(spread)
    # The simpler of where it ends and how long it is counts half each.
    cost = cost + 0.5 * (_place_cost(ends, settings) + _place_cost(ends - first, settings))
    return Fraction(int(ends[np.argmin(cost)]) - first, _TICKS)


def _ends(first: int, limit: int, grids: BeatGrids) -> IntArray:
    """Ticks after the first and up to the limit at which a note may end, ascending."""
    ticks = np.arange(first + 1, limit + 1)
    ticks = ticks[(ticks % _QUARTER == 0) | (ticks % _SIXTH == 0)]
    return np.asarray(ticks[[grids.has(int(tick)) for tick in ticks]], np.int64)


def _place_cost(ticks: IntArray, settings: Lengths) -> FloatArray:
    """Nats for each place or length: those of the largest multiple that divides it."""
    costs = np.full(len(ticks), settings.end_costs[-1][1] + 1.0)
    for multiple, nats in reversed(settings.end_costs):
        costs[ticks % round(multiple * _TICKS) == 0] = nats
    return costs
