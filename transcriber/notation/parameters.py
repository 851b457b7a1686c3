"""Rhythm parameters as read from ``models/rhythm.json``."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

from transcriber.models import load_model, parameters_of

Pattern = tuple[tuple[int, ...], float]


@dataclass(frozen=True)
class Timing:
    """How evenly a line is played and how well its onsets are measured.

    Attributes
    ----------
    onset_sd_s : float
        Standard deviation of an onset about the beat the player follows, seconds.
    stray_sd_s, stray_probability : float
        The same for the few notes that are played or measured badly, and their share.
    phase_walk_sd_s, tempo_walk_sd : float
        Per square root of a tapped beat: wandering of the beat in seconds, and of its period as a ratio.
    start_tempo_sd : float
        Spread of each starting tempo, as a ratio.
    extra_density_per_s : float
        Density of onsets that belong to no note, events a second.
    fresh_phase_gap_taps, fresh_phase_cost : float
        After a silence this long the beat may start anew, at this cost in nats.
    accent_weight : float
        Nats for one standard deviation of velocity on a beat rather than between sixteenths.
    ending_taps, ending_walk_sd : float
        Over so many tapped beats before the last note the period may wander by this much instead, in a
        line that slows to its end.
    """

    onset_sd_s: float
    stray_sd_s: float
    stray_probability: float
    phase_walk_sd_s: float
    tempo_walk_sd: float
    start_tempo_sd: float
    extra_density_per_s: float
    fresh_phase_gap_taps: float
    fresh_phase_cost: float
    accent_weight: float
    ending_taps: float
    ending_walk_sd: float


@dataclass(frozen=True)
class TempoPrior:
    """Which tempi are likely before a note is heard, in tapped quarters (dotted quarters) a minute."""

    lowest_bpm: float
    highest_bpm: float
    median_bpm: float
    compound_median_bpm: float
    log_sd: float
    given_sd: float
    given_bound: float
    grid_ratio: float


@dataclass(frozen=True)
class Search:
    """Width of the beam: hypotheses per starting tempo, and score in nats below the best that is dropped.

    `prune_start` holds between starting tempi, for the first `settled_notes` notes: after those `prune_note`
    holds for all. `temper` divides all evidence when confidence is told.
    """

    beam_open: int
    beam_given: int
    prune_note: float
    prune_start: float
    settled_notes: int
    temper: float


@dataclass(frozen=True)
class Lengths:
    """How long a note sounds against what is written.

    Attributes
    ----------
    sounding_share, sounding_share_sd : float
        Share of the written length that sounds, mean and spread.
    end_sd_s : float
        Measurement error of a note's end, seconds.
    joined_share, joined_gap_s : float
        A silence below this share of the inter-onset interval, or shorter than this, is no rest.
    end_costs : tuple of (int, float)
        Nats for a note that ends on a multiple of so many ticks (the largest that divides counts).
    longest_bars : float
        Longest last note, in bars.
    """

    sounding_share: float
    sounding_share_sd: float
    end_sd_s: float
    joined_share: float
    joined_gap_s: float
    end_costs: tuple[tuple[float, float], ...]
    longest_bars: float


@dataclass(frozen=True)
class BarModel:
    """How rival counts of the same onsets are weighed; see `bars`.

    Attributes
    ----------
    weights : mapping of str to float
        Nats for one unit of each of `bars.FEATURES`.
    sure_from : float
        Probability from which a downbeat is called sure.
    """

    weights: Mapping[str, float]
    sure_from: float


@dataclass(frozen=True)
class Grammar:
    """Onset patterns of one tapped beat and how they follow one another.

    Attributes
    ----------
    ticks : int
        Ticks in a tapped beat.
    kinds : tuple of str
        Names of the pattern classes; the first is the empty beat.
    patterns : tuple of tuple of Pattern
        For each class its patterns: onset ticks and weight (weights sum to 1 in a class).
    follow : tuple of tuple of float
        Probability of a class (column) after a class (row); the last row is the start of a take.
    first, last : mapping of int to float
        Weight, in nats, of the tick at which the take's first and last note stand.
    """

    ticks: int
    kinds: tuple[str, ...]
    patterns: tuple[tuple[Pattern, ...], ...]
    follow: tuple[tuple[float, ...], ...]
    first: Mapping[int, float]
    last: Mapping[int, float]


@dataclass(frozen=True)
class RhythmParameters:
    """All that the rhythm stage knows before it hears a take."""

    timing: Timing
    tempo: TempoPrior
    search: Search
    lengths: Lengths
    bars: BarModel
    slowing_cost: float
    free_opening_cost: float
    free_opening_sd: float
    pattern_weight: float
    swing_ratios: tuple[float, ...]
    swing_cost: float
    simple: Grammar
    compound: Grammar

    def grammar_of(self, compound: bool) -> Grammar:
        """The grammar of tapped beats that divide in three, or in two."""
        return self.compound if compound else self.simple


def _grammar(values: Mapping[str, Any]) -> Grammar:
    kinds = tuple(values["kinds"])
    patterns = tuple(
        tuple((tuple(ticks), float(weight)) for ticks, weight in values["patterns"][kind]) for kind in kinds
    )
    follow = tuple(tuple(float(p) for p in values["follow"][kind]) for kind in (*kinds, "start"))
    return Grammar(
        ticks=values["ticks"],
        kinds=kinds,
        patterns=patterns,
        follow=follow,
        first={int(tick): float(nats) for tick, nats in values["first"].items()},
        last={int(tick): float(nats) for tick, nats in values["last"].items()},
    )


def parameters_from(document: Mapping[str, Any]) -> RhythmParameters:
    """Build the parameters from the JSON document of ``models/rhythm.json``."""
    lengths = dict(document["lengths"])
    lengths["end_costs"] = tuple((float(beats), float(nats)) for beats, nats in lengths["end_costs"])
    return RhythmParameters(
        timing=parameters_of("rhythm", document["timing"], Timing),
        tempo=parameters_of("rhythm", document["tempo"], TempoPrior),
        search=parameters_of("rhythm", document["search"], Search),
        lengths=parameters_of("rhythm", lengths, Lengths),
        bars=BarModel(dict(document["bars"]["weights"]), document["bars"]["sure_from"]),
        slowing_cost=document["slowing_cost"],
        free_opening_cost=document["free_opening"]["cost"],
        free_opening_sd=document["free_opening"]["sd"],
        pattern_weight=document["pattern_weight"],
        swing_ratios=tuple(document["swing"]["ratios"]),
        swing_cost=document["swing"]["cost"],
        simple=_grammar(document["simple"]),
        compound=_grammar(document["compound"]),
    )


@cache
def rhythm_parameters() -> RhythmParameters:
    """Read ``models/rhythm.json`` once."""
    return parameters_from(load_model("rhythm"))
