"""One reading of a line: the search with what was told, its free beginning and its slowing end found."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from transcriber.notation.bars import RESOLUTION
from transcriber.notation.ending import free_opening, steady, with_ending
from transcriber.notation.guide import Guide
from transcriber.notation.hypotheses import Opening, Reading, Strata
from transcriber.notation.line import Line
from transcriber.notation.parameters import RhythmParameters
from transcriber.notation.search import BeamSearch
from transcriber.notation.vocabulary import FloatArray, build_vocabulary
from transcriber.records.told import Told
from transcriber.records.written import Meter


def read_line(
    line: Line,
    told: Told,
    guide: Guide | None,
    parameters: RhythmParameters,
    compound: bool,
    tick: int | None = None,
    free_notes: int | None = None,
) -> Reading:
    """Read a line once.

    Parameters
    ----------
    line : Line
    told : Told
    guide : Guide or None
    parameters : RhythmParameters
    compound : bool
        Whether tapped beats divide in three.
    tick : int or None
        Where in its beat the first note stands, in `bars.RESOLUTION` ticks.
    free_notes : int or None
        Steps from note to note that are played freely before the beat sets in; None to find them.
    """
    first = None if tick is None else tick * parameters.grammar_of(compound).ticks // RESOLUTION

    def search(what: Told, free: int) -> Reading:
        opening = Opening(first, free_notes=free, free_sd=parameters.free_opening_sd)
        return replace(_search(line, what, guide, parameters, compound, opening), free_notes=free)

    reading = search(told, free_notes or 0)
    if guide is None and free_notes is None:
        free = free_opening(line, reading, compound, parameters, first)
        reading = replace(reading, free_notes=free)
        # Where the first note's place is told, what follows is read by itself: see `pickup`.
        if free and first is None:
            tempo = 60.0 / reading.period_s
            freely = search(replace(told, tempo_bpm=(tempo, tempo)), free)
            # How likely a tempo is was told by the whole line as it stood in it.
            reading = replace(
                freely,
                score=reading.score,
                runner_up=reading.runner_up,
                runner_up_period_s=reading.runner_up_period_s,
            )
    if guide is None or not guide.through:
        reading = with_ending(line, reading, compound, parameters)
    return reading


def _search(
    line: Line,
    told: Told,
    guide: Guide | None,
    parameters: RhythmParameters,
    compound: bool,
    opening: Opening,
) -> Reading:
    grammar = parameters.grammar_of(compound)
    vocabulary = build_vocabulary(grammar, parameters.pattern_weight, swing=not compound)
    onsets, tempo = line.onsets_s, told.tempo_bpm
    if guide is not None:
        opening = replace(opening, beat_zero_s=guide.beat_zero_s)
        tempo = (60.0 / guide.period_s,) * 2
        if guide.through:
            # Onsets are told in beats of the guide, at a steady period.
            onsets = guide.clock(parameters.timing).where(onsets) * guide.period_s
            opening = replace(opening, beat_zero_s=0.0, spread_per_tap=0.0)
    strata = _strata(tempo, compound, told.meter, parameters)
    beam = parameters.search.beam_open if tempo is None else parameters.search.beam_given
    search = BeamSearch(vocabulary, steady(parameters.timing), parameters.search, strata, beam)
    return search.run(onsets, line.accents, line.doubt, opening)


def _strata(
    tempo_bpm: tuple[float, float] | None, compound: bool, meter: Meter | None, parameters: RhythmParameters
) -> Strata:
    prior = parameters.tempo
    bound = prior.given_bound
    if tempo_bpm is None:
        # Where the tapped note is not a quarter, the usual range moves with it.
        factor = 1.0 if compound or meter is None else meter.unit / 4.0
        tempi = _grid(prior.lowest_bpm, prior.highest_bpm, prior.grid_ratio) * factor
        centre = prior.compound_median_bpm if compound else prior.median_bpm * factor
        spread = prior.log_sd
    elif tempo_bpm[0] == tempo_bpm[1]:
        centre, spread = tempo_bpm[0], prior.given_sd
        tempi = centre * np.exp(spread * np.array([-1.0, 0.0, 1.0]))
    else:
        tempi = _grid(*tempo_bpm, prior.grid_ratio)
        centre = float(np.sqrt(tempo_bpm[0] * tempo_bpm[1]))
        spread = max(prior.given_sd, float(np.log(tempo_bpm[1] / tempo_bpm[0])) / 2)
    ratios = [np.nan] if compound else [np.nan, *parameters.swing_ratios]
    tempo = np.repeat(tempi, len(ratios))
    swing = np.tile(np.array(ratios), len(tempi))
    log_prior = -0.5 * (np.log(tempo / centre) / spread) ** 2
    log_prior = log_prior - np.where(np.isnan(swing), 0.0, parameters.swing_cost)
    return Strata(60.0 / tempo, swing, log_prior, bound)


def _grid(low: float, high: float, ratio: float) -> FloatArray:
    return np.geomspace(low, high, int(np.ceil(np.log(high / low) / np.log(ratio))) + 1)
