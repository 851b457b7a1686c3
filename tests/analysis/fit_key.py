"""Fits the figures of ``models/key.json`` and ``models/phrases.json`` on generated lines.

``python -m tests.analysis.fit_key`` and ``python -m tests.analysis.fit_key phrases`` write the files again.
Coordinate search from values set by hand: each is moved by a fifth, up and down, while the loss falls.
"""

from __future__ import annotations

import json
import re
import sys
from dataclasses import asdict, replace
from pathlib import Path

import numpy as np

from tests.analysis.keyed_lines import FIT, KeyedLine, bench_line, song_line
from transcriber.analysis.chords import lay_chords
from transcriber.analysis.key import KeyModel, key_scores, parent_shares, shipped_key_model
from transcriber.analysis.phrases import PhraseParameters, find_phrases, shipped_phrase_parameters

MODELS = Path(__file__).resolve().parents[2] / "models"
LINES, ROUNDS = 50, 2
# No value goes farther from where it was set by hand, up or down.
FARTHEST = 3.0


def spans_of(line: KeyedLine) -> list[tuple[int, int]]:
    """Phrases of a line as `find_phrases` finds them."""
    return find_phrases(line.points, 4)


def chords_of(line: KeyedLine):
    end = max(point.start + point.length for point in line.points)
    return lay_chords(line.chords, 4, end)


def key_loss(lines, model: KeyModel) -> float:
    """Mean of minus the log share of the true signature, bare and with chords."""
    total = 0.0
    for line, spans, chords in lines:
        for given in ((), chords):
            modes, scores = key_scores(line.points, spans, given, model)
            weights = np.exp(scores - scores.max())
            share = parent_shares(modes, weights / weights.sum())[line.parent]
            total -= np.log(max(share, 1e-6))
    return total / (2 * len(lines))


def boundary_f(lines, parameters: PhraseParameters) -> float:
    """F of boundaries within half a beat, over all lines together."""
    hits = found = true = 0
    for line in lines:
        mine = [line.points[first].start for first, _ in find_phrases(line.points, 4, parameters)[1:]]
        theirs = list(line.phrase_starts[1:])
        hits += sum(any(abs(a - b) <= 0.5 for b in mine) for a in theirs)
        found += len(mine)
        true += len(theirs)
    return 2 * hits / max(found + true, 1)


def search(start, loss):
    """Coordinate search: each value by a fifth up or down while the loss falls."""
    best, score = start, loss(start)
    for _ in range(ROUNDS):
        before = score
        for name in asdict(start):
            for factor in (1.2, 1 / 1.2):
                while True:
                    moved = getattr(best, name) * factor
                    if not getattr(start, name) / FARTHEST <= moved <= getattr(start, name) * FARTHEST:
                        break
                    tried = replace(best, **{name: round(moved, 4)})
                    found = loss(tried)
                    if found >= score - 1e-6:
                        break
                    best, score = tried, found
        if before - score < 1e-3:
            break
    return best, score


def write(name: str, parameters, fitted: str, inputs: str, by_hand: str) -> None:
    path = MODELS / f"{name}.json"
    document = json.loads(path.read_text(encoding="utf-8"))
    document["parameters"] = asdict(parameters)
    document["provenance"] = {
        "script": "tests/analysis/fit_key.py", "inputs": inputs, "fitted": fitted, "by_hand": by_hand
    }  # fmt: skip
    text = json.dumps(document, indent=1)
    text = re.sub(
        r"\[[\d,\s]+\]",
        lambda found: re.sub(r"\s+", " ", found[0]).replace("[ ", "[").replace(" ]", "]"),
        text,
    )
    path.write_text(text + "\n", encoding="utf-8")


def fit_key() -> None:
    lines = [make(FIT + seed) for seed in range(LINES) for make in (song_line, bench_line)]
    prepared = [(line, spans_of(line), chords_of(line)) for line in lines]
    model = shipped_key_model()
    best, score = search(model.parameters, lambda each: key_loss(prepared, replace(model, parameters=each)))
    write(
        "key", best, f"parameters; loss {score:.3f} nats a line on the lines of the fit",
        f"tests/analysis/keyed_lines.py, {LINES} song and {LINES} bench lines from seed {FIT}",
        "palettes and their priors, starting values",
    )  # fmt: skip


def fit_phrases() -> None:
    lines = [song_line(FIT + seed) for seed in range(LINES)]
    best, score = search(shipped_phrase_parameters(), lambda each: -boundary_f(lines, each))
    write(
        "phrases", best, f"parameters; F {-score:.3f} on the lines of the fit",
        f"tests/analysis/keyed_lines.py, {LINES} song lines from seed {FIT}", "starting values",
    )  # fmt: skip


if __name__ == "__main__":
    fit_phrases() if sys.argv[1:] == ["phrases"] else fit_key()
