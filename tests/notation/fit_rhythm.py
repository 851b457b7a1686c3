"""Fit ``models/rhythm.json`` on the training lines and the fit split, and write it with held-out figures.

Pattern and transition weights are the hand-set starting values plus counts over the written training lines,
the starting values counting as `PRIOR_BEATS` beats a row. Run from the root of the source tree.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from tests.notation import fit_bars
from tests.notation.bench_lines import BENCH, bench_lines
from tests.notation.measure_rhythm import score_bench, summary, training_lines
from tests.notation.rhythm_lines import RhythmLine
from tests.notation.rhythm_prior import starting_document
from transcriber.notation.cues import FEATURES
from transcriber.notation.parameters import parameters_from

PRIOR_BEATS = 60.0
PRIOR_PATTERNS = 40.0


def beats_of(line: RhythmLine, ticks: int) -> list[tuple[int, ...]]:
    """Onset ticks of every tapped beat from the first note's to the last's."""
    places = [start / line.meter.tap for start in line.starts]
    first = int(places[0] // 1)
    beats: list[list[int]] = [[] for _ in range(int(places[-1] // 1) - first + 1)]
    for place in places:
        tick = (place % 1) * ticks
        assert tick.denominator == 1, (line.title, place)
        beats[int(place // 1) - first].append(int(tick))
    return [tuple(beat) for beat in beats]


def count_grammar(grammar: dict[str, Any], lines: Sequence[RhythmLine]) -> None:
    """Add counts over the lines to the weights of a grammar, in place."""
    kinds = grammar["kinds"]
    home = {tuple(p): kind for kind in kinds for p, _ in grammar["patterns"][kind]}
    follow = {kind: [PRIOR_BEATS * p for p in grammar["follow"][kind]] for kind in [*kinds, "start"]}
    inside = {kind: {tuple(p): PRIOR_PATTERNS * w for p, w in grammar["patterns"][kind]} for kind in kinds}
    for line in lines:
        before = "start"
        for beat in beats_of(line, grammar["ticks"]):
            kind = home[beat]
            follow[before][kinds.index(kind)] += 1
            inside[kind][beat] += 1
            before = kind
    grammar["follow"] = {kind: [round(v / sum(row), 6) for v in row] for kind, row in follow.items()}
    grammar["patterns"] = {
        kind: [[list(p), round(w / sum(weights.values()), 6)] for p, w in sorted(weights.items())]
        for kind, weights in inside.items()
    }


def fitted_document() -> dict[str, Any]:
    """Starting values, counts of the training lines, and the weights fitted to the fit split of the bench."""
    document = starting_document()
    lines = training_lines()
    count_grammar(document["simple"], [line for line in lines if not line.meter.compound])
    count_grammar(document["compound"], [line for line in lines if line.meter.compound])
    rows = fit_bars.examples(parameters_from(document))
    weights = fit_bars.fit(rows)
    document["bars"] = {
        "weights": {name: round(float(w), 4) for name, w in zip(FEATURES, weights, strict=True)},
        "sure_from": fit_bars.sure_from(fit_bars.held_out_outcomes(rows)),
    }
    return document


def held_out_figures(document: dict[str, Any]) -> dict[str, Any]:
    """Figures of the parameters on the report split of the bench, all conditions together."""
    parameters = parameters_from(document)
    figures = {}
    for what in ("tempo", "nothing"):
        scores = [s for name in BENCH for s in score_bench(bench_lines(name, "report", 3), what, parameters)]
        figures[f"{what}_told"] = {k: round(v, 3) for k, v in summary(scores).items() if v == v}
    return figures


def as_text(document: dict[str, Any]) -> str:
    """JSON with one pattern and one row to a line."""
    text = json.dumps(document, indent=1)
    out, depth = [], 0
    for line in text.splitlines():
        bare = line.strip()
        opens = bare.endswith("[")
        if depth:
            out[-1] += bare if bare[0] in "]," or out[-1].endswith("[") else " " + bare
        else:
            out.append(line)
        depth += opens - bare.startswith("]")
    return "\n".join(out) + "\n"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, default=Path("models/rhythm.json"))
    options = parser.parse_args()
    document = fitted_document()
    document["provenance"] = {
        "script": "tests/notation/fit_rhythm.py",
        "inputs": "training half of tests/notation/rhythm_lines.py, fit split of bench_lines.py and "
        "of tests/accuracy (bars; the latter also heard on the guitar green), "
        "starting values of rhythm_prior.py",
        "chosen_by_hand": "timing, tempo, swing, lengths, pattern_weight: compared on the training "
        "half and on composed and spliced takes of tests/accuracy (not its report split); "
        "the tempo figures of the held-out half were seen while the tempo prior was chosen",
        "held_out": "report split of tests/notation/bench_lines.py, straight from onset times",
    }
    options.out.write_text(as_text(document), encoding="utf-8")
    document["provenance"]["held_out_figures"] = held_out_figures(document)
    options.out.write_text(as_text(document), encoding="utf-8")


if __name__ == "__main__":
    main()
