"""Pitch-wheel values that follow the contour of bent, shaken and slid notes (MIDI 1.0)."""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass
from math import ceil, inf
from statistics import median

from transcriber.draft import Contour, Draft
from transcriber.export.layers import links

RANGES = (12, 24, 48)
"""Bend ranges in semitones that are tried until the widest bend fits."""

BENDING_KINDS = ("bend", "pre_bend", "release", "vibrato", "slide_in", "slide_out", "trill")

STEP_S = 0.005
"""Events lie this far apart, or a multiple: half of a contour's step, so that a fast bend has no stairs."""

ROUNDING = 1e-6

LEAST_CHANGE_CENTS = 2.0
"""Events nearer than this in pitch to the one before are left out."""

LONGEST_STEP_S = 0.03
"""Points of a contour further apart than this have a gap between them, over which the pitch is held."""

STRAY_CENTS = 150.0
"""A first or last value that leaps this far from the next to it is a slip of the pitch tracker."""

CENTRE_RANGE = 8192
"""Steps from the wheel's centre to its lowest value; the highest is one less above the centre."""


@dataclass(frozen=True)
class WheelEvent:
    """A wheel position, -8192 to 8191, and the time in seconds from which it holds."""

    time_s: float
    value: int


def wheel_value(semitones: float, bend_range: int) -> int:
    """Wheel position for a bend, -8192 to 8191 around the centre, clipped to the range.

    Examples
    --------
    >>> wheel_value(2.0, 12) + 8192
    9557
    """
    return max(-CENTRE_RANGE, min(CENTRE_RANGE - 1, round(semitones / bend_range * CENTRE_RANGE)))


def bending_notes(draft: Draft) -> frozenset[str]:
    """Ids of the notes whose contour the wheel follows.

    Those with a bend, release, vibrato, slide in or out or trill, those reached by a slide that was not
    picked again, and those from which such a slide leaves.
    """
    found = {note.id for note in draft.notes if note.has(*BENDING_KINDS)}
    before = links(draft)
    for note in draft.notes:
        slide = note.technique("slide")
        if slide is not None and not slide.picked:
            found.add(note.id)
            found |= {before[note.id]} if note.id in before else set()
    return frozenset(found)


def steady_points(contour: Contour) -> list[tuple[float, float]]:
    """Give the (seconds, cents) of a contour where it has a pitch, without single stray values.

    Each value is the median of itself and its neighbours, which leaves every rise and fall as it is; the two
    ends are kept unless they leap. The pitch tracker may be an octave off where the pick meets the string.
    """
    points = [
        (time, cents) for time, cents in zip(contour.times_s, contour.cents, strict=True) if cents is not None
    ]
    if len(points) < 3:
        return points
    cents = [one for _, one in points]
    inner = [median(cents[place - 1 : place + 2]) for place in range(1, len(cents) - 1)]
    first = cents[0] if abs(cents[0] - inner[0]) <= STRAY_CENTS else inner[0]
    last = cents[-1] if abs(cents[-1] - inner[-1]) <= STRAY_CENTS else inner[-1]
    return list(zip((time for time, _ in points), (first, *inner, last), strict=True))


def wheel_events(
    contour: Contour, until_s: float, semitone_range: int, offset: float = 0.0
) -> tuple[WheelEvent, ...]:
    """Turn a contour into wheel events; gaps in it hold the last pitch.

    Each event carries the pitch in the middle of the time it holds for, so that the stairs of the wheel lie
    around the contour and not behind it.

    Parameters
    ----------
    contour : Contour
    until_s : float
        Nothing at or after this time is followed: the note has stopped, or another one sounds.
    semitone_range : int
        Bend range.
    offset : float
        Semitones by which the note lies over the pitch that was struck.

    Returns
    -------
    tuple of WheelEvent
        The first is the pitch with which the note begins.
    """
    points = [(time, cents) for time, cents in steady_points(contour) if time < until_s]
    kept: list[tuple[float, float]] = points[:1]
    steps = ceil((points[-1][0] - points[0][0]) / STEP_S - ROUNDING) if points else 0
    for step in range(1, steps + 1):
        time = points[0][0] + step * STEP_S
        cents = _between(points, time + STEP_S / 2)
        if abs(cents - kept[-1][1]) >= LEAST_CHANGE_CENTS:
            kept.append((time, cents))
    heights = ((time, cents / 100.0 + offset) for time, cents in kept)
    return tuple(WheelEvent(time, wheel_value(height, semitone_range)) for time, height in heights)


def _between(points: list[tuple[float, float]], time_s: float) -> float:
    """Cents at a time: linear between the points, the nearest beyond them, and held over gaps."""
    after = bisect_right(points, (time_s, inf))
    if after == 0 or after == len(points):
        return points[min(after, len(points) - 1)][1]
    (here, low), (there, high) = points[after - 1], points[after]
    if there - here > LONGEST_STEP_S:
        return low
    return low + (high - low) * (time_s - here) / (there - here)
