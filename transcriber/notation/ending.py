"""Whether a line begins freely or slows to its end, so that neither is bent into other notes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from transcriber.notation.hypotheses import Opening, Reading, Strata
from transcriber.notation.line import Line
from transcriber.notation.parameters import RhythmParameters, Timing
from transcriber.notation.search import BeamSearch
from transcriber.notation.vocabulary import build_vocabulary

_TAIL_NOTES = 28
_PACE_NOTES = 16  # of these the pace before the ending is taken
_FEWEST = 8
_HEAD_NOTES = 24
_MOST_FREE = 6
_BOUND = 3.0  # how much slower the last beat may be


def steady(timing: Timing) -> Timing:
    """The same player, who does not slow to the end."""
    return replace(timing, ending_walk_sd=timing.tempo_walk_sd)


def with_ending(line: Line, reading: Reading, compound: bool, parameters: RhythmParameters) -> Reading:
    """Read the last notes once more, at a steady pace and at one that may slow, and keep the likelier.

    Parameters
    ----------
    line : Line
    reading : Reading
        As if the player did not slow.
    compound : bool
        Whether tapped beats divide in three.
    parameters : RhythmParameters

    Returns
    -------
    Reading
        The same, or with other places for the last notes and `slowing` set.
    """
    kept = np.flatnonzero(~reading.extra)
    if len(kept) < _FEWEST:
        return reading
    beats = reading.beat[kept]
    # Only from the first note of a beat on can its pattern be read anew.
    opens = kept[np.diff(beats, prepend=beats[0] - 1) != 0]
    opens = opens[opens >= kept[max(len(kept) - _TAIL_NOTES, 0)]]
    if not len(opens):
        return reading
    first = int(opens[0])
    tail = slice(first, None)
    pace = kept[(kept >= first)][:_PACE_NOTES]
    taps = float(reading.position[pace[-1]] - reading.position[pace[0]])
    seconds = float(line.onsets_s[pace[-1]] - line.onsets_s[pace[0]])
    if taps <= 0 or seconds <= 0:
        return reading
    grammar = parameters.grammar_of(compound)
    words = build_vocabulary(grammar, parameters.pattern_weight, swing=not compound)
    swing = np.nan if reading.swing is None else reading.swing
    strata = Strata(np.array([seconds / taps]), np.array([swing]), np.zeros(1), _BOUND)
    opening = Opening(int(reading.tick[first]))
    plain, slow = (
        BeamSearch(words, timing, parameters.search, strata, parameters.search.beam_given).run(
            line.onsets_s[tail], line.accents[tail], line.doubt[tail], opening
        )
        for timing in (steady(parameters.timing), parameters.timing)
    )
    if slow.score - parameters.slowing_cost <= plain.score:
        return reading
    return _joined(reading, slow, first)


def free_opening(
    line: Line, reading: Reading, compound: bool, parameters: RhythmParameters, tick: int | None = None
) -> int:
    """Tell how many steps from note to note are played freely before the beat sets in.

    Parameters
    ----------
    line : Line
    reading : Reading
        As if the player were in tempo from the first note on.
    compound : bool
        Whether tapped beats divide in three.
    parameters : RhythmParameters
    tick : int or None
        Where in its beat the first note stands, if that is known, in the grammar's ticks.
    """
    kept = np.flatnonzero(~reading.extra)
    if len(kept) < _FEWEST + _MOST_FREE:
        return 0
    head = slice(0, int(kept[:_HEAD_NOTES][-1]) + 1)
    pace = kept[_MOST_FREE:][:_PACE_NOTES]
    taps = float(reading.position[pace[-1]] - reading.position[pace[0]])
    seconds = float(line.onsets_s[pace[-1]] - line.onsets_s[pace[0]])
    if taps <= 0 or seconds <= 0:
        return 0
    grammar = parameters.grammar_of(compound)
    words = build_vocabulary(grammar, parameters.pattern_weight, swing=not compound)
    swing = np.nan if reading.swing is None else reading.swing
    strata = Strata(np.array([seconds / taps]), np.array([swing]), np.zeros(1), _BOUND)
    beam = parameters.search.beam_given
    search = BeamSearch(words, steady(parameters.timing), parameters.search, strata, beam)

    def score(free_notes: int) -> float:
        opening = Opening(tick, free_notes=free_notes, free_sd=parameters.free_opening_sd)
        return search.run(line.onsets_s[head], line.accents[head], line.doubt[head], opening).score

    scores = [score(0), *(score(count) - parameters.free_opening_cost for count in range(1, _MOST_FREE + 1))]
    return int(np.argmax(scores))


def _joined(reading: Reading, slow: Reading, first: int) -> Reading:
    ahead = int(reading.beat[first] - slow.beat[0])

    def after(before: np.ndarray, tail: np.ndarray) -> np.ndarray:
        return np.concatenate([before[:first], tail])

    return replace(
        reading,
        beat=after(reading.beat, slow.beat + ahead),
        tick=after(reading.tick, slow.tick),
        position=after(reading.position, slow.position + ahead),
        extra=after(reading.extra, slow.extra),
        certainty=after(reading.certainty, np.minimum(slow.certainty, 0.9)),
        slowing=True,
    )
