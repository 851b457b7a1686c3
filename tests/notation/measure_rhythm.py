"""Measure the rhythm stage on played lines; run as a script it prints the table.

Figures are those of the accuracy report: of the notes found, the share whose start is exactly right up to one
shift of the whole take by whole tapped beats; whose length is right too; takes whose tempo is within 4 %;
takes whose shift is whole bars.
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tests.notation.rhythm_lines import Conditions, Played, RhythmLine, composed_line, perform, written_lines
from transcriber.notation.parameters import RhythmParameters
from transcriber.notation.rhythm import write_rhythm
from transcriber.records.written import Written


@dataclass(frozen=True)
class Score:
    """Figures of one take: shares 0 to 1, and the tempo found over the tempo played."""

    start: float
    rhythm: float
    downbeat: float
    tempo_ratio: float
    swing: float
    confidence: tuple[tuple[float, bool], ...]


def score_take(line: RhythmLine, played: Played, written: Written) -> Score:
    """Compare a written rhythm with the truth."""
    pairs = [(i, note) for i, note in zip(played.origin, written.notes, strict=True) if i >= 0]
    shifts = Counter(note.start - line.starts[i] for i, note in pairs)
    whole = {s: n for s, n in shifts.items() if s.denominator == 1 and s % line.meter.tap == 0}
    shift = max(whole, key=lambda s: (whole[s], s == 0)) if whole else None
    right = [shift is not None and note.start - line.starts[i] == shift for i, note in pairs]
    exact = [ok and note.length == line.lengths[i] for ok, (i, note) in zip(right, pairs, strict=True)]
    return Score(
        start=float(np.mean(right)),
        rhythm=float(np.mean(exact)),
        downbeat=float(shift is not None and shift % line.meter.beats == 0),
        tempo_ratio=written.tempo_bpm / played.tempo_bpm,
        swing=float((written.swing is None) == (line.swing is None)),
        confidence=tuple((note.confidence, ok) for ok, (_, note) in zip(exact, pairs, strict=True)),
    )


def score_lines(
    lines: Sequence[RhythmLine],
    conditions: Conditions,
    given: bool,
    seeds: Sequence[int],
    parameters: RhythmParameters | None = None,
) -> list[Score]:
    """Play every line with every seed, write it, score it."""
    scores = []
    for number, line in enumerate(lines):
        for seed in seeds:
            played = perform(line, conditions, 1000 * seed + number)
            tempo = line.tempo_bpm if given else None
            scores.append(score_take(line, played, write_rhythm(played.heard, tempo, line.meter, parameters)))
    return scores


def summary(scores: Sequence[Score]) -> dict[str, float]:
    """Means over takes, tempo also with half, double, third and triple allowed."""
    ratio = np.array([score.tempo_ratio for score in scores])
    near = {k: np.abs(ratio * k - 1) < 0.04 for k in (1, 2, 3, 1 / 2, 1 / 3)}
    pairs = [pair for score in scores for pair in score.confidence]
    return {
        "start": float(np.mean([s.start for s in scores])),
        "rhythm": float(np.mean([s.rhythm for s in scores])),
        "tempo": float(near[1].mean()),
        "octave": float(np.any(list(near.values()), axis=0).mean()),
        "downbeat": float(np.mean([s.downbeat for s in scores])),
        "swing": float(np.mean([s.swing for s in scores])),
        "honesty": ranking_area(pairs),
    }


def ranking_area(pairs: Sequence[tuple[float, bool]]) -> float:
    """Area under the ROC curve: how often a wrong note is less confident than a right one."""
    right = np.array([c for c, ok in pairs if ok])
    wrong = np.sort([c for c, ok in pairs if not ok])
    if not len(right) or not len(wrong):
        return float("nan")
    below = np.searchsorted(wrong, right, side="left") + np.searchsorted(wrong, right, side="right")
    return float(below.mean() / 2 / len(wrong))


def held_out_lines() -> list[RhythmLine]:
    """Every second hand-written line, and composed lines of odd seed: never fitted to."""
    return [*written_lines()[1::2], *(composed_line(seed) for seed in range(1, 40, 2))]


def training_lines() -> list[RhythmLine]:
    """The other half, which `fit_rhythm.py` sees."""
    return [*written_lines()[0::2], *(composed_line(seed) for seed in range(0, 40, 2))]


CONDITIONS = {
    "even": Conditions(jitter_s=0.0, drift=0.0, off_tempo=0.0),
    "5 ms": Conditions(jitter_s=0.005),
    "8 ms": Conditions(),
    "10 ms": Conditions(jitter_s=0.010),
    "15 ms": Conditions(jitter_s=0.015),
    "20 ms": Conditions(jitter_s=0.020),
    "drift 5 %": Conditions(drift=0.05),
    "missed, extra": Conditions(missed=0.02, extra=0.01),
}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--lines", choices=("training", "held-out"), default="held-out")
    parser.add_argument("--conditions", nargs="*", default=list(CONDITIONS))
    parser.add_argument("--show", action="store_true", help="print the takes with a wrong start")
    options = parser.parse_args()
    lines = training_lines() if options.lines == "training" else held_out_lines()
    for given in (True, False):
        print("tempo given" if given else "nothing given")
        for name in options.conditions:
            scores = score_lines(lines, CONDITIONS[name], given, (0, 1))
            print(f"  {name:14s}" + "  ".join(f"{k} {v:.3f}" for k, v in summary(scores).items()), flush=True)
            for i, s in enumerate(scores if options.show else []):
                if s.start < 0.95 or s.rhythm < 0.9:
                    title = lines[i // 2].title
                    print(f"      {title:42s} {s.start:.2f} {s.rhythm:.2f} tempo x{s.tempo_ratio:.3f}")


if __name__ == "__main__":
    main()
