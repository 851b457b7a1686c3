"""Which tapped beat is beat 1."""

from __future__ import annotations

from fractions import Fraction

import numpy as np

from transcriber.notation.parameters import Downbeat
from transcriber.notation.vocabulary import FloatArray


def first_downbeat(
    starts: list[Fraction],
    lengths: list[Fraction],
    accents: FloatArray,
    taps: int,
    settings: Downbeat,
) -> int:
    """Return the tapped beat, 0 to `taps` - 1 after the first note's, on which bar 1 begins.

    Parameters
    ----------
    starts, lengths : list of Fraction
        Tapped beats, `starts` ascending from within beat 0.
    accents : ndarray, shape (n,)
        Velocities as standard scores.
    taps : int
        Tapped beats in a bar.
    settings : Downbeat
    """
    if taps == 1:
        return 0
    scores = [_score(starts, lengths, accents, taps, shift, settings) for shift in range(taps)]
    return int(np.argmax(np.round(scores, 9)))


def _score(
    starts: list[Fraction],
    lengths: list[Fraction],
    accents: FloatArray,
    taps: int,
    shift: int,
    settings: Downbeat,
) -> float:
    pickup = shift - starts[0]
    pickup = pickup if pickup >= 0 else pickup + taps
    score = settings.first_note if pickup == 0 else -settings.pickup_per_beat * float(pickup)
    evidence = 0.0
    for i, (start, length) in enumerate(zip(starts, lengths, strict=True)):
        strength = _strength((start - shift) % taps, taps, settings)
        evidence += (
            strength * settings.long_note * float(max(min(length, Fraction(4)) - Fraction(1, 2), Fraction(0)))
        )
        evidence += strength * settings.accent * float(accents[i])
        if i and start > starts[i - 1] + lengths[i - 1] + Fraction(1, 4):
            evidence += strength * settings.phrase_start
    score += evidence / float(np.sqrt(1.0 + 0.02 * len(starts)))
    return score + settings.last_note * _strength((starts[-1] - shift) % taps, taps, settings)


def _strength(place: Fraction, taps: int, settings: Downbeat) -> float:
    """Metric weight of a place in the bar: 1 on beat 1, less on other beats, 0 off the beat."""
    if place == 0:
        return 1.0
    if place.denominator > 1:
        return 0.0
    if taps % 2 == 0 and place == taps // 2:
        return settings.half_bar
    return settings.other_beat
