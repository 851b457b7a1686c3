"""Fit the weights by which rival counts of a line are compared: a multinomial logistic regression.

Each take of the fit split gives a row of features for every rival and the one that is true. The weights are
pulled towards the starting values of `rhythm_prior.BAR_WEIGHTS`, those of the bar keep their signs;
hand-written lines count fourfold. The probability from which a downbeat is called sure is the least at which,
on folds not fitted to, no more than `SURE_AND_WRONG` of all takes are sure and wrong; it is `LEAST_SURE` at
least.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from scipy.optimize import minimize

from tests.accuracy.compose import CONDITIONS, compose
from tests.accuracy.takes import SPLIT_SEEDS as ACCURACY_SEEDS
from tests.notation.bench_lines import BENCH, BenchLine, bench_lines
from tests.notation.bench_playing import play_bench, without_clicks
from tests.notation.measure_rhythm import told_of
from tests.notation.rhythm_prior import BAR_WEIGHTS
from transcriber.notation.bars import FEATURES, RESOLUTION
from transcriber.notation.decide import Option, options
from transcriber.notation.line import line_of
from transcriber.notation.parameters import RhythmParameters

LINES = 8
PULL = 0.003  # per weight, for one take
HAND_WRITTEN = 4.0
FOLDS = 4
SURE_AND_WRONG = 0.012
LEAST_SURE = 0.95  # lines of other makers are further from the model than those it was fitted to
_SAME_SHARE = 0.6
# These overlap with the grammar, and may correct it either way.
BEAT_FEATURES = frozenset(
    {
        "grammar",
        "half_tempo",
        "double_tempo",
        "half_a_beat_off",
        "beat_hit",
        "beat_long",
        "beat_accent",
        "beat_sounded_through",
        "last_on_beat",
    }
)


@dataclass(frozen=True)
class Example:
    """Features of a take's rivals, shape (r, f), which is true (None: none), their counts, its weight.

    A count is all of a rival but its first beat: it decides where notes stand in their beats.
    """

    features: np.ndarray
    true: int | None
    counts: tuple[tuple[str, Fraction, Fraction], ...]
    weight: float


def examples(parameters: RhythmParameters, lines: int = LINES) -> list[Example]:
    """Play and read the fit splits of both benches, tempo and meter told and nothing told."""
    benches = [bench for name in BENCH for bench in bench_lines(name, "fit", lines)]
    benches += [_excerpt(name, index) for name in CONDITIONS for index in range(lines)]
    return [_example(bench, what, parameters) for bench in benches for what in ("tempo", "nothing")]


def _excerpt(condition: str, index: int) -> BenchLine:
    """A line of the accuracy bench's fit split: it may break off anywhere, as takes do."""
    composed = compose(condition, index, ACCURACY_SEEDS["fit"])
    swung = "swing 2.0" if composed.line.swing else "straight"
    return BenchLine(composed.line, composed.maker, swung, index)


def _example(bench: BenchLine, what: str, parameters: RhythmParameters) -> Example:
    played = without_clicks(play_bench(bench))
    line = line_of(played.heard.notes)
    found = options(line, told_of(bench, what), None, parameters)
    weight = HAND_WRITTEN if bench.maker == "hand" else 1.0
    right = [i for i, option in enumerate(found) if _right(option, bench, line.index)]
    counts = tuple((str(o.rival.meter), o.rival.factor, o.rival.offset) for o in found)
    return Example(
        np.array([option.features for option in found]), right[0] if right else None, counts, weight
    )


def _right(option: Option, bench: BenchLine, index: list[int]) -> bool:
    tap = bench.line.meter.tap
    starts = [bench.line.notes[i].start / tap for i in index]
    first = starts[0] // 1
    taps = bench.line.meter.beats // tap
    if option.rival.meter != bench.line.meter or option.rival.shift != -first % taps:
        return False
    kept = np.flatnonzero(~option.reading.extra)
    same = [
        Fraction(int(place), RESOLUTION) == starts[k] - first
        for k, place in zip(kept, option.place, strict=True)
    ]
    return float(np.mean(same)) >= _SAME_SHARE


def fit(rows: Sequence[Example]) -> np.ndarray:
    """Weights of `FEATURES` in their order."""
    start = np.array([BAR_WEIGHTS[name] for name in FEATURES])
    known = [row for row in rows if row.true is not None]
    spread = np.maximum(np.concatenate([row.features for row in known]).std(axis=0), 1e-3)

    def loss(scaled: np.ndarray) -> tuple[float, np.ndarray]:
        weights = scaled / spread
        total, slope = 0.0, np.zeros(len(weights))
        for row in known:
            score = row.features @ weights
            top = score.max()
            chance = np.exp(score - top)
            total -= row.weight * (score[row.true] - top - np.log(chance.sum()))
            slope -= row.weight * (row.features[row.true] - chance @ row.features / chance.sum())
        away = scaled - start * spread
        strength = PULL * len(known)
        return total + 0.5 * strength * away @ away, slope / spread + strength * away

    # A cue of the bar that the makers of the lines know nothing of must not be learned the wrong way round.
    bounds = [
        (None, None) if name in BEAT_FEATURES or not w else (0.0, None) if w > 0 else (None, 0.0)
        for name, w in zip(FEATURES, start, strict=True)
    ]
    result = minimize(
        loss, start * spread, jac=True, method="L-BFGS-B", bounds=bounds, options={"maxiter": 400}
    )
    return np.asarray(result.x / spread)


def outcomes(rows: Sequence[Example], weights: np.ndarray) -> list[tuple[float, bool]]:
    """Probability of the choice, and whether it is true, for each take."""
    found = []
    for row in rows:
        score = row.features @ weights
        chance = np.exp(score - score.max())
        best = int(np.argmax(score))
        found.append((float(chance[best] / chance.sum()), best == row.true))
    return found


def held_out_outcomes(rows: Sequence[Example]) -> list[tuple[float, bool]]:
    """The same on folds that were not fitted to; the two takes of one line are in one fold."""
    found: list[tuple[float, bool]] = []
    for fold in range(FOLDS):
        ours = [row for i, row in enumerate(rows) if i // 2 % FOLDS == fold]
        others = [row for i, row in enumerate(rows) if i // 2 % FOLDS != fold]
        found += outcomes(ours, fit(others))
    return found


def sure_from(found: Sequence[tuple[float, bool]]) -> float:
    """The least probability from which no more than `SURE_AND_WRONG` of all takes are sure and wrong."""
    wrong = sorted((chance for chance, right in found if not right), reverse=True)
    allowed = int(SURE_AND_WRONG * len(found))
    return round(min(max(wrong[allowed] + 0.005 if len(wrong) > allowed else 0.5, LEAST_SURE), 0.99), 3)
