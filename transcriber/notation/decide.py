"""Which reading of a line to write: at which tempo, on or off the beat, in which meter, from which beat 1."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np

from transcriber.notation.bars import RESOLUTION, Onsets, Rival, grammar_score, moved
from transcriber.notation.cues import bar_features, feature_row, probabilities
from transcriber.notation.guide import Guide
from transcriber.notation.hypotheses import Reading
from transcriber.notation.line import Line
from transcriber.notation.parameters import RhythmParameters
from transcriber.notation.pickup import Lead
from transcriber.notation.reading import read_line
from transcriber.notation.vocabulary import FloatArray, IntArray
from transcriber.records.told import Told
from transcriber.records.written import Meter

METERS = (Meter(4, 4), Meter(3, 4), Meter(6, 8), Meter(12, 8))
"""Meters that are tried where none is told."""

_CLEARLY = 0.8
_HALF = Fraction(1, 2)
_FACTORS = (Fraction(1), Fraction(2), _HALF)
_THIRDS = (Fraction(0), Fraction(1, 3), Fraction(2, 3))


@dataclass(frozen=True)
class Option:
    """A rival with its evidence.

    Attributes
    ----------
    rival : Rival
    reading : Reading
        The search's reading that it counts anew.
    place : ndarray of int
        Places of the reading's notes as the rival counts them, in `bars.RESOLUTION` ticks a tapped beat.
    features : ndarray, shape (f,)
    tempo_bpm : float
    """

    rival: Rival
    reading: Reading
    place: IntArray
    features: FloatArray
    tempo_bpm: float


@dataclass(frozen=True)
class Decision:
    """The reading chosen.

    Attributes
    ----------
    reading : Reading
    meter : Meter
    shift : int
        Tapped beat, as the reading counts them, on which bar 1 begins.
    downbeat_confidence : float
        Probability of the choice, 0 to 1.
    count_confidence : float
        Probability that the beats are counted right, wherever bars begin: no other tempo, not half a beat
        off.
    other_tempo_bpm : float or None
        Another tempo that explains the take about as well.
    """

    reading: Reading
    meter: Meter
    shift: int
    downbeat_confidence: float
    count_confidence: float
    other_tempo_bpm: float | None


def decide(line: Line, told: Told, guide: Guide | None, parameters: RhythmParameters) -> Decision:
    """Choose among all readings of a line.

    Parameters
    ----------
    line : Line
        At least one note.
    told : Told
    guide : Guide or None
    parameters : RhythmParameters
    """
    found = options(line, told, guide, parameters)
    chance = probabilities(np.array([option.features for option in found]), parameters.bars)
    best = _likeliest(found, chance)
    if guide is None and told.pickup and found[best].reading.free_notes:
        lead = Lead.before(line, found[best].reading.free_notes, told.pickup)
        return _after_free_pickup(line, lead, told, parameters)
    return _decided(line, told, guide, parameters, found, chance)


def _after_free_pickup(line: Line, lead: Lead, told: Told, parameters: RhythmParameters) -> Decision:
    """Decide on what follows a pickup told but played freely; then put the pickup before it.

    Its notes say nothing about the beat; but bar 1 begins where neither is stretched out of all bounds.
    """
    body, rest = line.since(lead.notes), replace(told, pickup=None)
    found = options(body, rest, None, parameters)
    chance = probabilities(np.array([option.features for option in found]), parameters.bars)
    likely = np.array([lead.likelihood(option.rival, option.place, option.tempo_bpm) for option in found])
    chance = chance * np.maximum(likely, 1e-300)
    chance /= chance.sum()
    decision = _decided(body, rest, None, parameters, found, chance)
    taps = max(decision.meter.beats // decision.meter.tap, 1)
    period_s = decision.reading.period_s
    shift = lead.bar_one(decision.reading, decision.shift, taps, decision.meter.tap, period_s)
    ticks = parameters.grammar_of(decision.meter.compound).ticks
    reading = lead.joined(line, decision.reading, shift, decision.meter.tap, ticks)
    return replace(decision, reading=reading, shift=shift)


def _decided(
    line: Line,
    told: Told,
    guide: Guide | None,
    parameters: RhythmParameters,
    found: list[Option],
    chance: FloatArray,
) -> Decision:
    best = _likeliest(found, chance)
    chosen = found[best]
    reading, rival = chosen.reading, chosen.rival
    if rival.factor != 1 or rival.offset:
        again = replace(told, tempo_bpm=(chosen.tempo_bpm, chosen.tempo_bpm), meter=rival.meter)
        tick = int(chosen.place[0] % RESOLUTION)
        compound, free = rival.meter.compound, chosen.reading.free_notes
        reading = read_line(line, again, guide, parameters, compound, tick, free)
    taps = max(rival.meter.beats // rival.meter.tap, 1)
    if guide is not None and guide.downbeat_known:
        shift, sure = 0, 0.99
    elif told.pickup is not None and told.pickup > 0:
        shift, sure = int(reading.beat[0]) + _pickup_shift(reading, rival.meter, told, parameters), 0.99
    else:
        sure = float(chance[best])
        first_beat = int(reading.beat[0])
        shift = first_beat + (_ahead(reading, chosen, parameters) + rival.shift - first_beat) % taps
        # Told that no note comes before bar 1, a late entry stands in bar 1.
        shift -= taps if told.pickup == 0 and rival.shift else 0
    same = np.array([option.rival.factor == rival.factor for option in found])
    other = None
    if told.tempo_bpm is None and guide is None:
        other = _other_tempo(found, chance, same, chosen.reading)
    count = sum(
        float(p) for option, p in zip(found, chance, strict=True) if _count_of(option) == _count_of(chosen)
    )
    return Decision(reading, rival.meter, shift, sure, count, other)


def _ahead(reading: Reading, chosen: Option, parameters: RhythmParameters) -> int:
    """Beats by which a reading made anew counts most notes higher than the rival does."""
    ticks = parameters.grammar_of(chosen.rival.meter.compound).ticks
    kept = ~chosen.reading.extra
    place = np.zeros(len(kept))
    place[kept] = chosen.place / RESOLUTION
    both = kept & ~reading.extra
    ahead = np.rint(reading.beat[both] + reading.tick[both] / ticks - place[both]).astype(np.int64)
    values, counts = np.unique(ahead, return_counts=True)
    return int(values[np.argmax(counts)])


def _count_of(option: Option) -> tuple[bool, Fraction, Fraction]:
    """What makes two rivals count the same beats, in whatever bars."""
    rival = option.rival
    return rival.meter.compound, Fraction(rival.factor), Fraction(rival.offset)


def _likeliest(found: list[Option], chance: FloatArray) -> int:
    """Decide the count first, whatever its meter and first beat, then the meter, then the first beat.

    A wrong count spoils every note; so the most probable count is chosen, not the one with the surest bar
    line. Where no meter is told it is 4/4 unless another is nearly certain.
    """
    usual = np.array([option.rival.meter == METERS[0] for option in found])
    held = bool(usual.any()) and float(chance[~usual].sum()) < _CLEARLY
    left = np.flatnonzero(usual) if held else np.arange(len(found))
    counts = {_count_of(found[i]) for i in left}
    left = _best_group(
        left,
        chance,
        lambda i: _count_of(found[i]),
        [i for i in range(len(found)) if _count_of(found[i]) in counts],
    )
    left = _best_group(left, chance, lambda i: str(found[i].rival.meter))
    left = _best_group(left, chance, lambda i: found[i].rival.shift)
    return int(left[0])


def _best_group(
    left: IntArray, chance: FloatArray, name: Callable[[int], Hashable], among: Sequence[int] | None = None
) -> IntArray:
    """Keep those left that are in the most probable group, judged by all of `among`."""
    groups: dict[Hashable, float] = {}
    for i in left if among is None else among:
        groups[name(i)] = groups.get(name(i), 0.0) + float(chance[i])
    best = max(groups, key=lambda group: round(groups[group], 9))
    return np.array([i for i in left if name(i) == best])


def options(line: Line, told: Told, guide: Guide | None, parameters: RhythmParameters) -> list[Option]:
    """Read the line and count the reading in every way that what was told leaves open."""
    meters = METERS if told.meter is None else (told.meter,)
    found: list[Option] = []
    scores: dict[bool, float] = {}
    for compound in sorted({meter.compound for meter in meters}):
        # Clicks that lead to bar 1 tell it better: they may cover the pickup's first note.
        tick = None if guide is not None and guide.downbeat_known else _told_tick(told, compound)
        reading = read_line(line, told, guide, parameters, compound, tick)
        scores[compound] = reading.score
        own = [meter for meter in meters if meter.compound == compound]
        gain = reading.score - scores.get(False, reading.score)
        found += _count(line, reading, own, told, guide, parameters, gain)
    return found


def _count(
    line: Line,
    reading: Reading,
    meters: list[Meter],
    told: Told,
    guide: Guide | None,
    parameters: RhythmParameters,
    compound_gain: float,
) -> list[Option]:
    grammar = parameters.grammar_of(meters[0].compound)
    kept = ~reading.extra
    ticks = RESOLUTION // grammar.ticks
    place = (reading.beat * grammar.ticks + reading.tick)[kept] * ticks
    place = place - place[0] // RESOLUTION * RESOLUTION
    sounding = (line.ends_s - line.onsets_s)[kept] / reading.period_s * RESOLUTION
    # Notes played freely before the beat sets in say nothing about it.
    body = slice(int(kept[: reading.free_notes].sum()), None)
    onsets = Onsets(place[body], sounding[body].astype(np.int64), line.accents[kept][body])
    found = []
    as_read = grammar_score(place[body], grammar)
    for factor, offset in _counts(reading, told, guide, parameters, meters[0].compound):
        count = moved(place, factor, offset, grammar.ticks)
        if count is None:
            continue
        score = grammar_score(count[body], grammar) - as_read
        tempo = 60.0 / reading.period_s * float(factor)
        for meter in meters:
            for shift in _shifts(count, meter, told):
                rival = Rival(factor, offset, meter, shift)
                values = bar_features(onsets, count[body], rival, tempo)
                values["compound_grammar" if meter.compound else "grammar"] = score / np.sqrt(len(count))
                values["compound_gain"] = compound_gain / np.sqrt(len(count))
                found.append(Option(rival, reading, count, feature_row(values), tempo))
    return found


def _counts(
    reading: Reading, told: Told, guide: Guide | None, parameters: RhythmParameters, compound: bool
) -> list[tuple[Fraction, Fraction]]:
    """Factors and offsets by which a reading may be counted anew."""
    if guide is not None or reading.swing is not None:
        return [(Fraction(1), Fraction(0))]
    if compound:
        return [(Fraction(1), offset) for offset in (_THIRDS[:1] if told.pickup else _THIRDS)]
    tempo = 60.0 / reading.period_s
    prior = parameters.tempo
    low, high = told.tempo_bpm or (prior.lowest_bpm, prior.highest_bpm)
    factors = [factor for factor in _FACTORS if factor == 1 or low <= tempo * factor <= high]
    # With a pickup told the first note's place in the beat is known.
    offsets = [Fraction(0)] if told.pickup else [Fraction(0), _HALF]
    return [(factor, offset) for factor in factors for offset in offsets]


def _shifts(place: IntArray, meter: Meter, told: Told) -> list[int]:
    taps = max(meter.beats // meter.tap, 1)
    if told.pickup is None:
        return list(range(taps))
    if told.pickup == 0:
        return [0, taps - 1] if taps > 1 else [0]
    first = Fraction(int(place[0]), RESOLUTION) + told.pickup / meter.tap
    return [round(first) % taps]


def _pickup_shift(reading: Reading, meter: Meter, told: Told, parameters: RhythmParameters) -> int:
    assert told.pickup is not None
    ticks = parameters.grammar_of(meter.compound).ticks
    return round(Fraction(int(reading.tick[0]), ticks) + told.pickup / meter.tap)


def _told_tick(told: Told, compound: bool) -> int | None:
    if not told.pickup:
        return None
    tap = 3 if compound else 1
    tick = (-told.pickup / tap) % 1 * RESOLUTION
    return int(tick) if tick.denominator == 1 else None


def _other_tempo(found: list[Option], chance: FloatArray, same: np.ndarray, reading: Reading) -> float | None:
    """A tempo that is a quarter as likely or more: counted anew, or another the search met."""
    rest = np.where(same, 0.0, chance)
    best = int(np.argmax(rest))
    if rest.sum() > 0.2:
        return found[best].tempo_bpm
    close = reading.score - reading.runner_up < 1.5
    ratio = reading.period_s / reading.runner_up_period_s
    # Half and double were weighed above.
    octave = min(abs(np.log2(ratio)) % 1, 1 - abs(np.log2(ratio)) % 1) < 0.15
    return 60.0 / reading.runner_up_period_s if close and not octave else None
