"""What speaks for one way to count a line: a vector of features, and from those of all rivals their chances.

Features say how well beats hold common patterns, what stands on beat 1, how bars repeat, how the line begins
and ends; a multinomial logistic model, fitted on lines whose truth is known, gives the probability of each
rival.

The cues follow Lerdahl and Jackendoff's metrical preference rules (A Generative Theory of Tonal Music, 1983,
from memory): strong beats fall on longer and accented notes and on the beginnings of groups, parallel
passages are counted alike.
"""

from __future__ import annotations

import numpy as np

from transcriber.notation.bars import RESOLUTION, Onsets, Rival
from transcriber.notation.parameters import BarModel
from transcriber.notation.vocabulary import FloatArray, IntArray

_LONGEST = 4.0  # taps: a longer note is no stronger
_LONGER = 1.25  # times the note before: clearly longer
_SOUNDING_SHARE = 0.94  # of a written length that sounds
_STOPPED = 0.8  # of the step to the next note: what sounds no longer is followed by a rest
_BACK = (1, 2, 4)  # bars: where a passage comes back
_STRESSES = np.linspace(0.0, 1.6, 5)  # of beats, in standard deviations of velocity: none to marked
_QUARTERED = tuple(f"beat_{mask:04b}" for mask in range(1, 16))
_THIRDED = tuple(f"compound_beat_{mask:03b}" for mask in range(1, 8))

FEATURES = (
    "grammar",
    "compound_grammar",
    "tempo",
    "tempo_squared",
    "half_tempo",
    "double_tempo",
    "half_a_beat_off",
    "third_of_a_beat_off",
    "three_four",
    "six_eight",
    "twelve_eight",
    "compound_gain",
    "beat_sounded_through",
    "beat_accent",
    "beat_long",
    "stops_on_beat",
    "compound_beat_sounded_through",
    "compound_beat_accent",
    "compound_beat_long",
    "compound_beat_filled",
    "compound_beat_divided",
    "down_sounded_through",
    "down_long",
    "half_hit",
    "half_accent",
    "half_long",
    "half_longer",
    "bars_repeat",
    "bars_resemble",
    "first_on_one",
    "pickup_half",
    "pickup_one",
    "pickup_two",
    "compound_pickup_one",
    "compound_pickup_more",
    "late_entry",
    "late_by_a_beat",
    "last_on_one",
    "last_on_half",
    "last_on_beat",
    "compound_last_on_beat",
    "first_down_long",
    *_QUARTERED,
    *_THIRDED,
)
"""Sums over notes or beats are divided by the root of their number: they are not independent of one another.
``beat_accent`` is a log likelihood ratio; ``stops_on_beat`` counts stops on beats, less those between them.
``beat_1010`` counts beats struck on their first and third quarter and nowhere else, ``compound_beat_101``
those struck on their first and last third."""

# What is weighed apart where beats divide in three.
_OF_COMPOUND_BEATS = (
    "beat_accent",
    "beat_long",
    "beat_sounded_through",
    "last_on_beat",
    "pickup_one",
    "pickup_more",
)


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


def feature_row(values: dict[str, float]) -> FloatArray:
    """Put features in the order of `FEATURES`; those that are missing are 0."""
    return np.array([values.get(name, 0.0) for name in FEATURES])


def bar_features(onsets: Onsets, place: IntArray, rival: Rival, tempo_bpm: float) -> dict[str, float]:
    """Features of one rival but for the grammars' and `compound_gain`.

    Parameters
    ----------
    onsets : Onsets
    place : ndarray of int
        Places as the rival counts them, from within beat 0 on.
    rival : Rival
    tempo_bpm : float
        Tapped beats a minute of the rival.
    """
    compound = rival.meter.compound
    taps = max(rival.meter.beats // rival.meter.tap, 1)
    bar = taps * RESOLUTION
    inside = (place - rival.shift * RESOLUTION) % bar
    length = np.diff(place, append=place[-1] + int(onsets.sounding[-1] * rival.factor)) / RESOLUTION
    sounding = onsets.sounding * float(rival.factor) / RESOLUTION
    found = _count_of_beats(rival, tempo_bpm)
    found |= _strong_notes(inside, length, onsets.accents, bar)
    found["stops_on_beat"] = _stops(place, sounding)
    found |= _coverage(place, sounding, rival.shift, taps)
    found |= _beginning(inside, bar, taps)
    found |= _ending(inside, bar, taps)
    found["bars_repeat"], found["bars_resemble"] = _parallels(place, rival.shift, bar)
    found["first_down_long"] = _first_downbeat(place, length, rival.shift, bar)
    found |= _patterns(place, 3 if compound else 4)
    if compound:
        found |= _thirds(place)
        found |= {f"compound_{name}": found.pop(name) for name in _OF_COMPOUND_BEATS}
    return found


def _count_of_beats(rival: Rival, tempo_bpm: float) -> dict[str, float]:
    compound = rival.meter.compound
    taps = rival.meter.beats // rival.meter.tap
    away = float(np.log(tempo_bpm / 100.0))
    return {
        "tempo": away,
        "tempo_squared": away**2,
        "half_tempo": float(rival.factor < 1),
        "double_tempo": float(rival.factor > 1),
        "half_a_beat_off": float(rival.offset > 0 and not compound),
        "third_of_a_beat_off": float(rival.offset > 0 and compound),
        "three_four": float(taps == 3),
        "six_eight": float(compound and taps == 2),
        "twelve_eight": float(compound and taps == 4),
    }


def _on_half(inside: IntArray, bar: int) -> np.ndarray:
    """Whether notes stand in the middle of a bar of an even number of beats."""
    even = bar // RESOLUTION % 2 == 0
    return np.asarray((inside == bar // 2) & even)


def _strong_notes(inside: IntArray, length: FloatArray, accents: FloatArray, bar: int) -> dict[str, float]:
    """Accents and long notes on strong beats."""
    weight = np.minimum(length, _LONGEST) - 0.5
    longer = np.concatenate([[False], length[1:] > _LONGER * length[:-1]])
    beat, half = inside % RESOLUTION == 0, _on_half(inside, bar)
    scale = 1.0 / np.sqrt(len(inside))
    return {
        "beat_accent": _stress(accents, beat),
        "beat_long": float(weight[beat].sum()) * scale,
        "down_long": float(weight[inside == 0].sum()) * scale,
        "half_accent": float(accents[half].sum()) * scale,
        "half_long": float(weight[half].sum()) * scale,
        "half_longer": float(longer[half].sum()) * scale,
    }


def _stress(accents: FloatArray, beat: np.ndarray) -> float:
    """Log likelihood ratio of a player who stresses these notes, to whatever degree, to one who doesn't.

    A player who stresses nothing is never impossible: accents elsewhere speak less against beats than
    accents on them speak for them.
    """
    share = float(beat.mean())
    apart = float(accents[beat].sum()) - share * float(accents.sum())
    spread = len(beat) * share * (1.0 - share)
    return float(np.log(np.mean(np.exp(_STRESSES * apart - 0.5 * _STRESSES**2 * spread))))


def _stops(place: IntArray, sounding: FloatArray) -> float:
    """Where notes stop before a silence, from -1, between beats, to 1, on them.

    Bounded, because a player who cuts every note short tells nothing by it.
    """
    start = place[:-1] / RESOLUTION
    step = np.diff(place) / RESOLUTION
    length = sounding[:-1] / _SOUNDING_SHARE
    stopped = (length < _STOPPED * step) & (step - length > 0.2)
    told = float(np.cos(2 * np.pi * (start + length))[stopped].sum()) / np.sqrt(len(place))
    return float(np.clip(told, -1.0, 1.0))


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

    def excess(mask: np.ndarray, among: np.ndarray) -> float:
        """Share within a mask beyond the share elsewhere, weighed by how much was seen."""
        if not among.any() or among.all():
            return 0.0
        return float((mask[among].mean() - mask[~among].mean()) * np.sqrt(among.sum()))

    return {
        "beat_sounded_through": float(through.mean() * np.sqrt(len(beats))),
        "down_sounded_through": excess(through, down),
        "half_hit": excess(struck, half),
    }


def _beginning(inside: IntArray, bar: int, taps: int) -> dict[str, float]:
    """How many beats the line begins before bar 1, or after it where that is nearer."""
    pickup = (bar - int(inside[0])) % bar / RESOLUTION
    late = pickup > taps / 2
    return {
        "first_on_one": float(pickup == 0),
        "pickup_half": float(0 < pickup <= 0.5),
        "pickup_one": float(not late and 0.5 < pickup <= 1),
        "pickup_two": float(not late and pickup >= 2),
        "pickup_more": float(not late and pickup > 1),
        "late_entry": float(late),
        "late_by_a_beat": float(late and taps - pickup >= 1),
    }


def _ending(inside: IntArray, bar: int, taps: int) -> dict[str, float]:
    last = inside[-1:]
    return {
        "last_on_one": float(last[0] == 0),
        "last_on_half": float(_on_half(last, bar)[0]),
        "last_on_beat": float(last[0] % RESOLUTION == 0),
    }


def _parallels(place: IntArray, shift: int, bar: int) -> tuple[float, float]:
    """How many bars have the rhythm of an earlier one, and how much bars resemble those before them."""
    number, inside = np.divmod(place - shift * RESOLUTION, bar)
    cuts = np.flatnonzero(np.diff(number)) + 1
    bars = {int(number[row[0]]): inside[row] for row in np.split(np.arange(len(place)), cuts)}
    last = max(bars)
    seen: set[bytes] = set()
    repeated = alike = 0.0
    for at, row in bars.items():
        rhythm = row.astype(np.int64).tobytes()
        if at != last and rhythm in seen:
            repeated += np.sqrt(len(row))
        seen.add(rhythm)
        alike += len(row) * max((_overlap(row, bars[at - k]) for k in _BACK if at - k in bars), default=0.0)
    scale = np.sqrt(len(place))
    return float(repeated / scale), float(alike / scale)


def _overlap(bar: IntArray, other: IntArray) -> float:
    """Share of the places struck in either bar that are struck in both."""
    both = len(set(bar.tolist()) & set(other.tolist()))
    return both / (len(bar) + len(other) - both)


def _first_downbeat(place: IntArray, length: FloatArray, shift: int, bar: int) -> float:
    """How long the note on the first beat 1 from the first note on is; 0 where none is."""
    at = shift * RESOLUTION
    at += -(-max(int(place[0]) - at, 0) // bar) * bar
    k = int(np.searchsorted(place, at))
    struck = k < len(place) and place[k] == at
    return float(min(length[k], _LONGEST) - 0.5) if struck else 0.0


def _patterns(place: IntArray, parts: int) -> dict[str, float]:
    """How many beats are struck on which of their parts, of those divided no further."""
    beats, inside = np.divmod(place, RESOLUTION)
    beats = beats - beats[0]
    part, between = np.divmod(inside, RESOLUTION // parts)
    count = int(beats[-1]) + 1
    struck = np.where(between == 0, 2.0 ** (parts - 1 - part), 0.0)
    mask = np.bincount(beats, weights=struck, minlength=count).astype(np.int64)
    plain = np.bincount(beats[between != 0], minlength=count) == 0
    tally = np.bincount(mask[plain], minlength=2**parts) / np.sqrt(len(place))
    names = _THIRDED if parts == 3 else _QUARTERED
    return {name: float(value) for name, value in zip(names, tally[1:], strict=True)}


def _thirds(place: IntArray) -> dict[str, float]:
    """How many compound beats have all three parts struck, and how many are divided further."""
    inside = place % RESOLUTION
    beats = place // RESOLUTION
    third = RESOLUTION // 3
    full = np.bincount((beats - beats[0])[inside % third == 0].astype(np.int64)) == 3
    divided = np.unique(beats[(inside % third != 0) & (inside % (third // 2) == 0)])
    count = float(beats[-1] - beats[0] + 1)
    return {
        "compound_beat_filled": float(full.sum() / np.sqrt(count)),
        "compound_beat_divided": float(len(divided) / np.sqrt(count)),
    }
