"""Where the bar lines fall, and whether the beat is really half of it, twice it, or half a beat away.

A search that hears one beat at a time cannot tell a line pushed off the beat from one that is on it, nor
where bar 1 is. Its reading is therefore held against its rivals: the same onsets counted at half or twice the
tempo, half a beat later (in compound meter a third), in other meters and with other first beats. What speaks
for each of them is in `cues`.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from transcriber.notation.parameters import Grammar
from transcriber.notation.vocabulary import FloatArray, IntArray
from transcriber.records.written import Meter

RESOLUTION = 360
"""Ticks in a tapped beat: a multiple of those of both grammars."""

_UNKNOWN_PATTERN = -11.0
_CHARGED_RESTS = 6


@dataclass(frozen=True)
class Onsets:
    """What is known of each note of a reading, shape (n,).

    Attributes
    ----------
    place : ndarray of int
        Written place in ticks, `RESOLUTION` a tapped beat.
    sounding : ndarray of int
        Written length in the same ticks.
    accents : ndarray
        Velocity as a standard score.
    """

    place: IntArray
    sounding: IntArray
    accents: FloatArray


@dataclass(frozen=True)
class Rival:
    """One way to count the onsets.

    Attributes
    ----------
    factor : Fraction
        Beats of this count to one beat of the reading.
    offset : Fraction
        Beats, 0, 1/2 or thirds, by which places are moved after that.
    meter : Meter
    shift : int
        Tapped beat, 0 to one less than a bar's, on which bar 1 begins, beat 0 being the first note's.
    """

    factor: Fraction
    offset: Fraction
    meter: Meter
    shift: int


def moved(place: IntArray, factor: Fraction, offset: Fraction, ticks: int) -> IntArray | None:
    """Count places anew, the first within beat 0; None where one would fall between the ticks of a beat."""
    scaled = place * factor.numerator
    if (scaled % factor.denominator).any():
        return None
    result = scaled // factor.denominator + int(offset * RESOLUTION)
    if (result % (RESOLUTION // ticks)).any():
        return None
    return np.asarray(result - result[0] // RESOLUTION * RESOLUTION)


def grammar_score(place: IntArray, grammar: Grammar) -> float:
    """Log probability of the onset patterns of a row of beats, in nats."""
    beats, first = np.divmod(place, RESOLUTION)
    ticks = first // (RESOLUTION // grammar.ticks)
    known = {
        pattern: (kind, float(np.log(max(weight, 1e-9))))
        for kind, patterns in enumerate(grammar.patterns)
        for pattern, weight in patterns
    }
    follow = np.log(np.maximum(np.array(grammar.follow), 1e-9))
    empty = known[()][0]
    total, before, last = 0.0, len(grammar.kinds), None
    for beat in np.unique(beats):
        rests = 0 if last is None else min(int(beat) - last - 1, _CHARGED_RESTS)
        for _ in range(rests):
            total += follow[before, empty]
            before = empty
        pattern = tuple(int(tick) for tick in ticks[beats == beat])
        kind, logp = known.get(pattern, (empty, _UNKNOWN_PATTERN))
        total += (follow[before, kind] if pattern in known else 0.0) + logp
        before, last = kind, int(beat)
    return total
