"""Fit the weights by which rival counts of a line are compared: a multinomial logistic regression.

Each take of the fit split gives a row of features for every rival and the one that is true; takes straight
from their times, and others through sound and listening. The weights are pulled towards the starting values
of `rhythm_prior.BAR_WEIGHTS`; cues of the bar keep the sign that music gives them (`SIGNS`). Hand-written
lines count fourfold. The probability from which a downbeat is called sure is the least at which, on folds not
fitted to, no more than `SURE_AND_WRONG` of all takes are sure and wrong; it is `LEAST_SURE` at least.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from fractions import Fraction
from types import SimpleNamespace

import numpy as np
from scipy.optimize import minimize

from tests.accuracy.compose import CONDITIONS, compose
from tests.accuracy.necks import GUITAR as GUITAR_STRINGS
from tests.accuracy.takes import SPLIT_SEEDS as ACCURACY_SEEDS
from tests.accuracy.takes import TakeSpec, make_take, specs
from tests.notation.bench_audio import matched
from tests.notation.bench_lines import BENCH, BenchLine, bench_lines
from tests.notation.bench_playing import play_bench, without_clicks
from tests.notation.measure_rhythm import told_of
from tests.notation.rhythm_lines import Played
from tests.notation.rhythm_prior import BAR_WEIGHTS
from transcriber.audio import read_take
from transcriber.listening import hear_clicks, listen
from transcriber.notation.bars import RESOLUTION
from transcriber.notation.cues import FEATURES
from transcriber.notation.decide import Option, options
from transcriber.notation.line import line_of
from transcriber.notation.parameters import RhythmParameters

# More lines of each maker (50 were tried) and a weaker pull make the weights surer of the makers' habits, and
# hand-written lines left out of the fit less likely: no gain on lines of the report split.
LINES = 12
PROCESSES = 2
HEARD_LINES = 8
GUITAR = "green"
PULL = 0.003  # per weight, for one take
HAND_WRITTEN = 4.0
FOLDS = 4
EACH = 3  # examples of a take
SURE_AND_WRONG = 0.012
LEAST_SURE = 0.95  # lines of other makers are further from the model than those it was fitted to
_SAME_SHARE = 0.6
# A cue that the makers of the lines know nothing of must not be learned the wrong way round.
SIGNS = {
    **dict.fromkeys(("beat_accent", "compound_beat_accent", "down_long"), 1),
    **dict.fromkeys(("half_hit", "half_accent", "half_long", "half_longer"), 1),
    **dict.fromkeys(
        ("bars_repeat", "bars_resemble", "first_on_one", "last_on_one", "last_on_half", "first_down_long"), 1
    ),
    **dict.fromkeys(("half_tempo", "double_tempo", "three_four", "six_eight", "twelve_eight"), -1),
    **dict.fromkeys(("down_sounded_through", "late_entry", "late_by_a_beat"), -1),
    **dict.fromkeys(("beat_long", "compound_beat_long", "compound_beat_100"), 1),
    **dict.fromkeys(("last_on_beat", "compound_last_on_beat", "stops_on_beat"), 1),
    "compound_beat_010": -1,
}


@dataclass(frozen=True)
class Example:
    """Features of a take's rivals, shape (r, f), which of them is true (None: none), and its weight."""

    features: np.ndarray
    true: int | None
    weight: float


def examples(
    parameters: RhythmParameters, lines: int = LINES, heard_lines: int = HEARD_LINES
) -> list[Example]:
    """Read the fit splits of both benches; three examples of each take."""
    jobs = [(bench, None, parameters) for bench in _benches(lines)]
    jobs += [
        (_bench_of(spec), spec, parameters) for spec in specs("fit", (GUITAR,), (*CONDITIONS,), heard_lines)
    ]
    with ProcessPoolExecutor(PROCESSES) as workers:
        return [row for rows in workers.map(_examples_of, jobs, chunksize=8) for row in rows]


def _benches(lines: int) -> list[BenchLine]:
    benches = [bench for name in BENCH for bench in bench_lines(name, "fit", lines)]
    return benches + [_excerpt(name, index) for name in CONDITIONS for index in range(lines)]


def _bench_of(spec: TakeSpec) -> BenchLine:
    composed = make_take(spec).composed
    return BenchLine(composed.line, composed.maker, "straight", spec.index)


def _heard(spec: TakeSpec) -> Played:
    """A take of the accuracy bench as it is heard."""
    take = make_take(spec)
    sound = read_take(take.sound)
    heard = hear_clicks(sound, listen(sound, GUITAR_STRINGS))
    true = SimpleNamespace(notes=[SimpleNamespace(**note) for note in take.truth["notes"]])
    return Played(heard, matched(true, heard.notes), take.composed.line.tempo_bpm)


def _excerpt(condition: str, index: int) -> BenchLine:
    """A line of the accuracy bench's fit split: it may break off anywhere, as takes do."""
    composed = compose(condition, index, ACCURACY_SEEDS["fit"])
    swung = "swing 2.0" if composed.line.swing else "straight"
    return BenchLine(composed.line, composed.maker, swung, index)


def _examples_of(job: tuple[BenchLine, TakeSpec | None, RhythmParameters]) -> list[Example]:
    """The take with tempo and meter told, with nothing told, and of that the rivals of its meter alone."""
    bench, spec, parameters = job
    played = without_clicks(play_bench(bench) if spec is None else _heard(spec))
    weight = HAND_WRITTEN if bench.maker == "hand" else 1.0
    line = line_of(played.heard.notes)
    origin = [played.origin[i] for i in line.index]
    told, untold = (options(line, told_of(bench, what), None, parameters) for what in ("tempo", "nothing"))
    in_meter = [option for option in untold if option.rival.meter == bench.line.meter]
    return [_example(found, bench, origin, weight) for found in (told, untold, in_meter or told)]


def _example(found: list[Option], bench: BenchLine, origin: list[int], weight: float) -> Example:
    right = [i for i, option in enumerate(found) if _right(option, bench, origin)]
    return Example(np.array([option.features for option in found]), right[0] if right else None, weight)


def _right(option: Option, bench: BenchLine, origin: list[int]) -> bool:
    """Whether a rival has the true meter and first beat, and most notes that were played in their places."""
    meter = bench.line.meter
    if option.rival.meter != meter:
        return False
    starts = [bench.line.notes[i].start / meter.tap if i >= 0 else None for i in origin]
    bar_one = option.rival.shift
    kept = np.flatnonzero(~option.reading.extra)
    right = 0
    taps = meter.beats // meter.tap
    for k, place in zip(kept, option.place, strict=True):
        start = starts[k]
        away = None if start is None else Fraction(int(place), RESOLUTION) - bar_one - start
        right += away is not None and away % taps == 0
    return right >= _SAME_SHARE * sum(start is not None for start in starts)


def fit(rows: Sequence[Example]) -> np.ndarray:
    """Weights of `FEATURES` in their order."""
    start = np.array([BAR_WEIGHTS.get(name, 0.0) for name in FEATURES])
    known = [row for row in rows if row.true is not None]
    features = np.concatenate([row.features for row in known])
    spread = np.maximum(features.std(axis=0), 1e-3)
    features = features / spread
    sizes = np.array([len(row.features) for row in known])
    begin = np.cumsum(sizes) - sizes
    true = begin + np.array([row.true for row in known])
    importance = np.array([row.weight for row in known])
    strength = PULL * len(known)

    def loss(scaled: np.ndarray) -> tuple[float, np.ndarray]:
        score = features @ scaled
        top = np.maximum.reduceat(score, begin)
        chance = np.exp(score - np.repeat(top, sizes))
        total = np.add.reduceat(chance, begin)
        missed = -float((importance * (score[true] - top - np.log(total))).sum())
        slope = np.repeat(importance / total, sizes) * chance
        slope[true] -= importance
        away = scaled - start * spread
        return missed + 0.5 * strength * away @ away, slope @ features + strength * away

    signs = [SIGNS.get(name, 0) for name in FEATURES]
    bounds = [(0.0 if sign > 0 else None, 0.0 if sign < 0 else None) for sign in signs]
    result = minimize(
        loss, start * spread, jac=True, method="L-BFGS-B", bounds=bounds, options={"maxiter": 600}
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
    """The same on folds that were not fitted to; the examples of one take are in one fold."""
    found: list[tuple[float, bool]] = []
    for fold in range(FOLDS):
        ours = [row for i, row in enumerate(rows) if i // EACH % FOLDS == fold]
        others = [row for i, row in enumerate(rows) if i // EACH % FOLDS != fold]
        found += outcomes(ours, fit(others))
    return found


def sure_from(found: Sequence[tuple[float, bool]]) -> float:
    """The least probability from which no more than `SURE_AND_WRONG` of all takes are sure and wrong."""
    wrong = sorted((chance for chance, right in found if not right), reverse=True)
    allowed = int(SURE_AND_WRONG * len(found))
    return round(min(max(wrong[allowed] + 0.005 if len(wrong) > allowed else 0.5, LEAST_SURE), 0.99), 3)
