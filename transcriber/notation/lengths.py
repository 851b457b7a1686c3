"""Written lengths: to the next note unless the player stopped on purpose."""

from __future__ import annotations

from fractions import Fraction

import numpy as np

from transcriber.notation.clock import Clock
from transcriber.notation.parameters import Lengths

_GRIDS = (Fraction(1, 4), Fraction(1, 6))


def written_length(
    start: Fraction,
    sounding_s: float,
    gap_s: float | None,
    limit: Fraction,
    clock: Clock,
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
    return _likeliest(start, sounding_s, limit, gap_s is None, clock, settings)


def _joined(sounding_s: float, gap_s: float, settings: Lengths) -> bool:
    share = gap_s / max(sounding_s + gap_s, 1e-9)
    return gap_s <= settings.joined_gap_s or share <= settings.joined_share


def _likeliest(
    start: Fraction, sounding_s: float, limit: Fraction, last: bool, clock: Clock, settings: Lengths
) -> Fraction:
    begin = float(clock.at(np.array([float(start)]))[0])
    # Ends further than a note could sound are not worth a look.
    reach = float(clock.where(np.array([begin + 2.5 * sounding_s + 0.5]))[0]) - float(start)
    ends = _ends(start, min(limit, Fraction(int(reach * 4) + 4, 4)))
    if not last:
        ends = [end for end in ends if end <= start + limit - Fraction(1, 6)] + [start + limit]
    if not ends:
        return limit
    written_s = clock.at(np.array([float(end) for end in ends])) - begin
    expected = settings.sounding_share * written_s
    spread = np.sqrt(settings.end_sd_s**2 + (settings.sounding_share_sd * written_s) ** 2)
    cost = 0.5 * ((sounding_s - expected) / spread) ** 2 + np.log(spread)
    cost = cost + np.array([_end_cost(end, start, settings) for end in ends])
    return ends[int(np.argmin(cost))] - start


def _ends(start: Fraction, limit: Fraction) -> list[Fraction]:
    found: set[Fraction] = set()
    for grid in _GRIDS:
        first = start // grid + 1
        last = (start + limit) // grid
        found.update(grid * k for k in range(int(first), int(last) + 1))
    return sorted(end for end in found if start < end <= start + limit)


def _end_cost(end: Fraction, start: Fraction, settings: Lengths) -> float:
    """Nats for an end at this place: the simpler of where it ends and how long it is."""

    def cost(value: Fraction) -> float:
        for multiple, nats in settings.end_costs:
            if (value / Fraction(multiple).limit_denominator(48)).denominator == 1:
                return nats
        return settings.end_costs[-1][1] + 1.0

    return 0.5 * (cost(end) + cost(end - start))
