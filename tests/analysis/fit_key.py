"""Fits the figures of ``models/key.json`` and ``models/phrases.json`` on generated lines.

``python -m tests.analysis.fit_key`` and ``python -m tests.analysis.fit_key phrases`` write the files again.
Coordinate search from values set by hand: each is moved by a fifth, up and down, while the loss falls. A pull
towards those values keeps figures that the lines say little about.
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
from transcriber.analysis.key import KeyEvidence, chord_scores, evidence_of, note_scores, parent_shares
from transcriber.analysis.key_model import KeyModel, KeyParameters, shipped_key_model
from transcriber.analysis.phrases import PhraseParameters, find_phrases

MODELS = Path(__file__).resolve().parents[2] / "models"
SONGS, BENCH, PHRASE_LINES, ROUNDS = 300, 100, 50, 3
# No value goes farther from where it was set by hand, up or down.
FARTHEST = 4.0
# Loss for each squared doubling away from it.
PULL = 2e-4

KEY_START = KeyParameters(
    outside=0.04, approach=0.1, tonic=1.2, third=1.1, fifth=1.3, evidence=0.8, longest=3.0, last=2.0,
    phrase_end=1.0, chord_outside=12.0, chord_sixth=4.0, chord_blue=4.0, chord_applied=6.0, chord_absent=2.0,
    chord_tonic=2.0, chord_first=1.0, chord_last=1.0, chord_cadence=2.0, chord_close=1.0,
)  # fmt: skip
PHRASE_START = PhraseParameters(
    boundary=1.5, rest=2.0, rest_full=1.0, held=1.5, held_full=4.0, bar=0.5, leap=0.3, again=1.5,
    usual_beats=8.0, length_price=0.5, few_notes=0.6,
)  # fmt: skip


def spans_of(line: KeyedLine) -> list[tuple[int, int]]:
    """Phrases of a line as `find_phrases` finds them."""
    return find_phrases(line.points, 4)


def chords_of(line: KeyedLine):
    end = max(point.start + point.length for point in line.points)
    return lay_chords(line.chords, 4, end)


def evidence_in(line: KeyedLine, model: KeyModel) -> tuple[KeyEvidence, int]:
    """Evidence of a line with its chords, and its true signature."""
    return evidence_of(line.points, spans_of(line), chords_of(line), model), line.parent


def key_loss(lines, model: KeyModel) -> float:
    """Mean of minus the log share of the true signature, bare and with chords."""
    total = 0.0
    for evidence, parent in lines:
        bare = note_scores(evidence, model)
        for scores in (bare, bare + chord_scores(evidence.chords, model.parameters)):
            weights = np.exp(scores - scores.max())
            share = parent_shares(model.modes, weights / weights.sum())[parent]
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


def pull(start, moved) -> float:
    """What it costs that values lie away from their start."""
    here, there = (np.log2(list(asdict(each).values())) for each in (start, moved))
    return PULL * float(np.sum((here - there) ** 2))


def search(start, bare_loss, kept=()):
    """Coordinate search: each value but those kept by a fifth up or down while loss and pull fall."""

    def loss(moved):
        return bare_loss(moved) + pull(start, moved)

    best, score = start, loss(start)
    for _ in range(ROUNDS):
        before = score
        for name in (each for each in asdict(start) if each not in kept):
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
    return best, bare_loss(best)


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
    start = replace(shipped_key_model(), parameters=KEY_START)
    lines = [song_line(FIT + seed) for seed in range(SONGS)] + [bench_line(FIT + s) for s in range(BENCH)]
    prepared = [evidence_in(line, start) for line in lines]
    best, score = search(
        KEY_START, lambda each: key_loss(prepared, replace(start, parameters=each)), kept=("longest",)
    )
    write(
        "key", best, f"parameters but longest; loss {score:.3f} nats a line on the lines of the fit",
        f"tests/analysis/keyed_lines.py, {SONGS} song and {BENCH} bench lines from seed {FIT}",
        "palettes and their priors, starting values (in the script), longest",
    )  # fmt: skip


def fit_phrases() -> None:
    lines = [song_line(FIT + seed) for seed in range(PHRASE_LINES)]
    best, score = search(PHRASE_START, lambda each: -boundary_f(lines, each))
    write(
        "phrases", best, f"parameters; F {-score:.3f} on the lines of the fit",
        f"tests/analysis/keyed_lines.py, {PHRASE_LINES} song lines from seed {FIT}",
        "starting values (in the script)",
    )  # fmt: skip


if __name__ == "__main__":
    fit_phrases() if sys.argv[1:] == ["phrases"] else fit_key()
