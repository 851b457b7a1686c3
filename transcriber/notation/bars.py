"""Where the bar lines fall, and whether the beat is really half of it, twice it, or half a beat away.

A search that hears one beat at a time cannot tell a line pushed off the beat from one that is on it, nor
where bar 1 is. Its reading is therefore held against its rivals: the same onsets counted at half or twice the
tempo, half a beat later, in other meters and with other first beats. Each rival is a vector of features (how
well beats hold common patterns, what stands on beat 1, how bars repeat, how the line begins and ends); a
multinomial logistic model, fitted on lines whose truth is known, gives its probability.

The cues follow Lerdahl and Jackendoff's metrical preference rules (A Generative Theory of Tonal Music, 1983,
from memory): strong beats fall on longer and accented notes and on the beginnings of groups, parallel
passages are counted alike.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from transcriber.notation.parameters import BarModel, Grammar
from transcriber.notation.vocabulary import FloatArray, IntArray
from transcriber.records.written import Meter

RESOLUTION = 144
"""Ticks in a tapped beat: a multiple of those of both grammars."""

_UNKNOWN_PATTERN = -11.0
_CHARGED_RESTS = 6
_LONGEST = 4.0  # taps: a longer note is no stronger
_PAUSE = 0.25  # taps of silence that set a phrase off

FEATURES = (
    "grammar",
    "tempo",
    "tempo_squared",
    "half_tempo",
    "double_tempo",
    "half_a_beat_off",
    "three_four",
    "six_eight",
    "twelve_eight",
    "compound_gain",
    "beat_hit",
    "beat_sounded_through",
    "beat_accent",
    "beat_long",
    "down_hit",
    "down_sounded_through",
    "down_accent",
    "down_long",
    "down_phrase_start",
    "half_hit",
    "half_accent",
    "half_long",
    "half_phrase_start",
    "bars_repeat",
    "first_on_one",
    "pickup_size",
    "long_pickup",
    "late_entry",
    "last_on_one",
    "last_on_half",
    "last_on_beat",
    "first_down_struck",
    "first_down_long",
    "thirds_filled",
    "thirds_divided",
)


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
        Beats, 0 or 1/2, by which places are moved after that.
    meter : Meter
    shift : int
        Tapped beat, 0 to one less than a bar's, on which bar 1 begins, beat 0 being the first note's.
    """

    factor: Fraction
    offset: Fraction
    meter: Meter
    shift: int


def probabilities(features: FloatArray, model: BarModel) -> FloatArray:
    """Probability of each rival.

    Parameters
    ----------
    features : ndarray, shape (r, f)
        One row for each rival, in the order of `FEATURES`.
    model : BarModel

    Returns
    -------
    ndarray, shape (r,)
    """
    score = features @ np.array([model.weights[name] for name in FEATURES])
    weight = np.exp(score - score.max())
    return np.asarray(weight / weight.sum())


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


def bar_features(onsets: Onsets, place: IntArray, rival: Rival, tempo_bpm: float) -> dict[str, float]:
    """Features of one rival but for `grammar` and `compound_gain`.

    Parameters
    ----------
    onsets : Onsets
    place : ndarray of int
        Places as the rival counts them, from within beat 0 on.
    rival : Rival
    tempo_bpm : float
        Tapped beats a minute of the rival.
    """
    taps = max(rival.meter.beats // rival.meter.tap, 1)
    bar = taps * RESOLUTION
    inside = (place - rival.shift * RESOLUTION) % bar
    length = np.diff(place, append=place[-1] + int(onsets.sounding[-1] * rival.factor)) / RESOLUTION
    sounding = onsets.sounding * float(rival.factor) / RESOLUTION
    weight = np.minimum(length, _LONGEST) - 0.5
    starts_phrase = np.concatenate([[True], length[:-1] - sounding[:-1] > _PAUSE])
    scale = 1.0 / np.sqrt(len(place))
    levels = {
        "down": inside == 0,
        "half": inside == bar // 2 if taps % 2 == 0 else np.zeros(len(inside), dtype=bool),
    }
    beat = inside % RESOLUTION == 0
    found = {
        "beat_accent": float(onsets.accents[beat].sum()) * scale,
        "beat_long": float(weight[beat].sum()) * scale,
    }
    for name, level in levels.items():
        found[f"{name}_accent"] = float(onsets.accents[level].sum()) * scale
        found[f"{name}_long"] = float(weight[level].sum()) * scale
        found[f"{name}_phrase_start"] = float(starts_phrase[1:][level[1:]].sum()) * scale
    found |= _coverage(place, sounding, rival.shift, taps)
    found |= _ends(inside, bar, taps, int(place[-1]))
    found["bars_repeat"] = _repeats(place, rival.shift, bar)
    found |= _first_downbeat(place, length, rival.shift, taps)
    if rival.meter.compound:
        found |= _thirds(place)
    away = float(np.log(tempo_bpm / 100.0))
    found |= {
        "tempo": away,
        "tempo_squared": away**2,
        "half_tempo": float(rival.factor < 1),
        "double_tempo": float(rival.factor > 1),
        "half_a_beat_off": float(rival.offset > 0),
        "three_four": float(taps == 3),
        "six_eight": float(rival.meter.compound and taps == 2),
        "twelve_eight": float(rival.meter.compound and taps == 4),
    }
    return found


def _coverage(place: IntArray, sounding: FloatArray, shift: int, taps: int) -> dict[str, float]:
    """How many beats are struck, and how many sound on without being struck."""
    first, last = int(place[0] // RESOLUTION), int(place[-1] // RESOLUTION)
    beats = np.arange(first, last + 1)
    at = np.searchsorted(place, beats * RESOLUTION, side="right") - 1
    on_it = np.maximum(at, 0)
    struck = (at >= 0) & (place[on_it] == beats * RESOLUTION)
    through = ~struck & (at >= 0) & (place[on_it] / RESOLUTION + sounding[on_it] > beats + 0.01)
    down = (beats - shift) % taps == 0
    half = (beats - shift) % taps == taps // 2 if taps % 2 == 0 else np.zeros(len(beats), dtype=bool)
    scale = np.sqrt(len(beats))

    def excess(mask: np.ndarray, among: np.ndarray) -> float:
        """Share within a mask beyond the share elsewhere, weighed by how much was seen."""
        if not among.any() or among.all():
            return 0.0
        return float((mask[among].mean() - mask[~among].mean()) * np.sqrt(among.sum()))

    return {
        "beat_hit": float(struck.mean() * scale),
        "beat_sounded_through": float(through.mean() * scale),
        "down_hit": excess(struck, down),
        "down_sounded_through": excess(through, down),
        "half_hit": excess(struck, half),
    }


def _ends(inside: IntArray, bar: int, taps: int, last_place: int) -> dict[str, float]:
    """How the line begins and ends."""
    pickup = (bar - inside[0]) % bar / RESOLUTION
    late = pickup > taps / 2
    last = int(inside[-1])
    return {
        "first_on_one": float(pickup == 0),
        "pickup_size": 0.0 if late else float(pickup),
        "long_pickup": float(not late and pickup > 1),
        "late_entry": float(late),
        "last_on_one": float(last == 0),
        "last_on_half": float(taps % 2 == 0 and last == bar // 2),
        "last_on_beat": float(last % RESOLUTION == 0),
    }


def _repeats(place: IntArray, shift: int, bar: int) -> float:
    """How many bars have the rhythm of an earlier one, weighed by how many notes it has."""
    number, inside = np.divmod(place - shift * RESOLUTION, bar)
    cuts = np.flatnonzero(np.diff(number)) + 1
    seen: set[bytes] = set()
    total = 0.0
    for row in np.split(inside, cuts)[:-1]:
        rhythm = row.astype(np.int64).tobytes()
        if rhythm in seen:
            total += np.sqrt(len(row))
        seen.add(rhythm)
    return float(total / np.sqrt(len(place)))


def _first_downbeat(place: IntArray, length: FloatArray, shift: int, taps: int) -> dict[str, float]:
    """What stands on the first beat 1 from the first note on."""
    bar = taps * RESOLUTION
    at = shift * RESOLUTION
    at += -(-max(int(place[0]) - at, 0) // bar) * bar
    k = int(np.searchsorted(place, at))
    struck = k < len(place) and place[k] == at
    return {
        "first_down_struck": float(struck),
        "first_down_long": float(min(length[k], _LONGEST) - 0.5) if struck else 0.0,
    }


def _thirds(place: IntArray) -> dict[str, float]:
    """How many compound beats have all three parts struck, and how many are divided further."""
    inside = place % RESOLUTION
    beats = place // RESOLUTION
    third = RESOLUTION // 3
    full = np.bincount((beats - beats[0])[inside % third == 0].astype(np.int64)) == 3
    divided = np.unique(beats[(inside % third != 0) & (inside % (third // 2) == 0)])
    count = float(beats[-1] - beats[0] + 1)
    return {
        "thirds_filled": float(full.sum() / np.sqrt(count)),
        "thirds_divided": float(len(divided) / np.sqrt(count)),
    }


def feature_row(values: dict[str, float]) -> FloatArray:
    """Put features in the order of `FEATURES`; those that are missing are 0."""
    return np.array([values.get(name, 0.0) for name in FEATURES])
