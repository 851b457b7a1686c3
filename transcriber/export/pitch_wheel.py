"""Pitch-wheel values that follow the contour of bent, shaken and slid notes (MIDI 1.0)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

from transcriber.draft.document import Contour, Draft, DraftNote

RANGES = (12, 24, 48)
"""Bend ranges in semitones that are tried until the widest bend fits."""

BENDING_KINDS = ("bend", "pre_bend", "release", "vibrato", "slide_in", "slide_out", "trill")

LEAST_GAP_S = 0.005
LEAST_CHANGE_CENTS = 3.0
"""Events nearer than this in time or pitch are left out."""

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
    for before, note in zip((None, *draft.notes), draft.notes, strict=False):
        slide = note.technique("slide")
        if slide is not None and not slide.picked:
            found.add(note.id)
            if before is not None:
                found.add(before.id)
    return frozenset(found)


def bend_range(notes: Sequence[DraftNote]) -> int:
    """Smallest usual range, in semitones, that covers the contours of these notes."""
    widest = max((abs(cents) for note in notes for _, cents in steady_points(note.contour)), default=0.0)
    return next((one for one in RANGES if widest <= one * 100), RANGES[-1])


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


def wheel_events(contour: Contour, until_s: float, semitone_range: int) -> tuple[WheelEvent, ...]:
    """Thin a contour into wheel events; gaps in it hold the last pitch.

    Parameters
    ----------
    contour : Contour
    until_s : float
        Nothing at or after this time is followed: the note has stopped, or another one sounds.
    semitone_range : int
        Bend range.

    Returns
    -------
    tuple of WheelEvent
        The first is the pitch with which the note begins.
    """
    points = [(time, cents) for time, cents in steady_points(contour) if time < until_s]
    kept: list[tuple[float, float]] = []
    for time, cents in points:
        if not kept or (time - kept[-1][0] >= LEAST_GAP_S and abs(cents - kept[-1][1]) >= LEAST_CHANGE_CENTS):
            kept.append((time, cents))
    return tuple(WheelEvent(time, wheel_value(cents / 100.0, semitone_range)) for time, cents in kept)
