"""Measure the rhythm stage; run as a script it prints a table by condition.

Figures are those of the accuracy report: of the notes found, the share whose start is exactly right up to one
shift of the whole take by whole tapped beats; whose length is right too; takes whose tempo is within 4 % (of
it, half or double under `octave`); takes whose shift is whole bars (`downbeat`), and those that are called
sure of it and wrong (`sure wrong`). `start|t` and `rhythm|t` are start and rhythm on takes of the right
tempo; `trip16` the share of beats with sixteenth triplets in which every note is right.

What is told (``--told``): ``tempo`` and meter; the ``meter`` alone; ``nothing``; tempo, meter and ``pickup``.
"""

from __future__ import annotations

import argparse
from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from tests.notation.bench_audio import hear_bench
from tests.notation.bench_lines import BENCH, MAKERS, BenchLine, bench_lines
from tests.notation.bench_playing import play_bench
from tests.notation.rhythm_lines import Conditions, Played, RhythmLine, composed_line, perform, written_lines
from transcriber.notation.parameters import RhythmParameters, rhythm_parameters
from transcriber.notation.rhythm import write_rhythm
from transcriber.records.told import Told
from transcriber.records.written import Written


@dataclass(frozen=True)
class Score:
    """Figures of one take: shares 0 to 1, and the tempo found over the tempo played."""

    start: float
    rhythm: float
    downbeat: float
    downbeat_sure: bool
    tempo_ratio: float
    swing: float
    meter: float
    triplet_beats: tuple[bool, ...]
    confidence: tuple[tuple[float, bool], ...]

    @property
    def tempo_right(self) -> bool:
        """Whether the tempo is within 4 %."""
        return abs(self.tempo_ratio - 1) <= 0.04


def score_take(line: RhythmLine, played: Played, written: Written) -> Score:
    """Compare a written rhythm with the truth."""
    pairs = [(i, note) for i, note in zip(played.origin, written.notes, strict=True) if i >= 0]
    shifts = Counter(note.start - line.starts[i] for i, note in pairs)
    whole = {s: n for s, n in shifts.items() if s.denominator == 1 and s % line.meter.tap == 0}
    shift = max(whole, key=lambda s: (whole[s], s == 0)) if whole else None
    right = [shift is not None and note.start - line.starts[i] == shift for i, note in pairs]
    exact = [ok and note.length == line.lengths[i] for ok, (i, note) in zip(right, pairs, strict=True)]
    same_meter = written.meter == line.meter
    return Score(
        start=float(np.mean(right)),
        rhythm=float(np.mean(exact)),
        downbeat=float(shift is not None and same_meter and shift % line.meter.beats == 0),
        downbeat_sure=written.downbeat_confidence >= rhythm_parameters().bars.sure_from,
        tempo_ratio=written.tempo_bpm / played.tempo_bpm,
        swing=float((written.swing is None) == (line.swing is None)),
        meter=float(same_meter),
        triplet_beats=tuple(_triplet_beats(line, [i for i, _ in pairs], exact)),
        confidence=tuple((note.confidence, ok) for ok, (_, note) in zip(exact, pairs, strict=True)),
    )


def _triplet_beats(line: RhythmLine, indexes: list[int], exact: list[bool]) -> Iterator[bool]:
    """Whether all notes are right, for each tapped beat of the truth that holds sixteenth triplets."""
    beats: dict[Fraction, list[int]] = defaultdict(list)
    for index, start in enumerate(line.starts):
        beats[start // line.meter.tap * Fraction(1)].append(index)
    known = dict(zip(indexes, exact, strict=True))
    last = len(line.starts) - 1
    for members in beats.values():
        if any((line.starts[i] / line.meter.tap * 4).denominator == 3 for i in members) and any(
            (line.starts[i] * 6).denominator == 1 and (line.starts[i] * 3).denominator == 2 for i in members
        ):
            # The length of the take's last note is a guess.
            yield all(known.get(i, False) for i in members if i != last)


def score_lines(
    lines: Sequence[RhythmLine],
    conditions: Conditions,
    given: bool,
    seeds: Sequence[int],
    parameters: RhythmParameters | None = None,
) -> list[Score]:
    """Play every line with every seed, write it with its meter told, score it."""
    scores = []
    for number, line in enumerate(lines):
        for seed in seeds:
            played = perform(line, conditions, 1000 * seed + number)
            tempo = (line.tempo_bpm, line.tempo_bpm) if given else None
            written = write_rhythm(played.heard, Told(tempo_bpm=tempo, meter=line.meter), parameters)
            scores.append(score_take(line, played, written))
    return scores


def told_of(bench: BenchLine, what: str) -> Told:
    """What the player tells of a bench line."""
    line = bench.line
    meter = None if what == "nothing" else line.meter
    tempo = (line.tempo_bpm, line.tempo_bpm) if what in ("tempo", "pickup") else None
    pickup = max(-line.notes[0].start, Fraction(0)) if what == "pickup" else None
    count_in = BENCH[bench.condition].how.count_in or None
    return Told(tempo_bpm=tempo, meter=meter, pickup=pickup, count_in=count_in)


def score_bench(
    benches: Sequence[BenchLine],
    what: str,
    parameters: RhythmParameters | None = None,
    guitars: Sequence[str] = (),
) -> list[Score]:
    """Play bench lines, write and score them: straight from their times, or on guitars that take turns."""
    scores = []
    for number, bench in enumerate(benches):
        if guitars:
            count_in = BENCH[bench.condition].how.count_in or None
            played = hear_bench(bench, guitars[number % len(guitars)], count_in)
        else:
            played = play_bench(bench)
        written = write_rhythm(played.heard, told_of(bench, what), parameters)
        scores.append(score_take(bench.rhythm, played, written))
    return scores


def summary(scores: Sequence[Score]) -> dict[str, float]:
    """Means over takes, tempo also with half and double allowed; NaN where nothing is counted."""
    ratio = np.array([score.tempo_ratio for score in scores])
    near = [np.abs(ratio * k - 1) <= 0.04 for k in (1, 2, 1 / 2)]
    pairs = [pair for score in scores for pair in score.confidence]
    in_tempo = [score for score in scores if score.tempo_right]
    beats = [ok for score in scores for ok in score.triplet_beats]
    sure = [score for score in scores if score.downbeat_sure]
    return {
        "start": _mean([s.start for s in scores]),
        "start|t": _mean([s.start for s in in_tempo]),
        "rhythm": _mean([s.rhythm for s in scores]),
        "rhythm|t": _mean([s.rhythm for s in in_tempo]),
        "trip16": _mean(beats),
        "tempo": _mean([s.tempo_right for s in scores]),
        "octave": float(np.any(near, axis=0).mean()),
        "downbeat": _mean([s.downbeat for s in scores]),
        "sure": len(sure) / len(scores),
        "sure wrong": sum(s.downbeat == 0 for s in sure) / len(scores),
        "swing": _mean([s.swing for s in scores]),
        "meter": _mean([s.meter for s in scores]),
        "honesty": ranking_area(pairs),
    }


def _mean(values: Sequence[float]) -> float:
    return float(np.mean(values)) if len(values) else float("nan")


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


def table_row(name: str, figures: dict[str, float]) -> str:
    """One line of the table."""
    return f"{name:21s}" + " ".join(f"{value:>{max(len(key), 5)}.3f}" for key, value in figures.items())


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--split", choices=("fit", "report"), default="report")
    parser.add_argument("--told", nargs="*", default=["tempo", "meter", "nothing", "pickup"])
    parser.add_argument("--conditions", nargs="*", default=list(BENCH))
    parser.add_argument("--makers", nargs="*", default=list(MAKERS))
    parser.add_argument("--count", type=int, default=3, help="lines of each generator and condition")
    parser.add_argument("--guitars", nargs="*", default=[], help="through sound, spliced: strat emily")
    parser.add_argument("--most", type=int, help="no more lines of a condition than these")
    parser.add_argument("--show", action="store_true", help="print the takes with a wrong start or downbeat")
    options = parser.parse_args()
    for what in options.told:
        every: list[Score] = []
        print(f"told: {what}, split {options.split}")
        for name in options.conditions:
            benches = bench_lines(name, options.split, options.count, tuple(options.makers))[: options.most]
            scores = score_bench(benches, what, guitars=options.guitars)
            if not every:
                print(" " * 21 + " ".join(f"{key:>5s}" for key in summary(scores)))
            every += scores
            print(table_row(name, summary(scores)), flush=True)
            for bench, score in zip(benches, scores, strict=True) if options.show else ():
                if score.start < 0.95 or not score.downbeat:
                    print(
                        f"    {bench.line.title[:38]:38s} start {score.start:.2f} rhythm {score.rhythm:.2f} "
                        f"tempo x{score.tempo_ratio:.3f} downbeat {score.downbeat:.0f} "
                        f"sure {score.downbeat_sure:d}"
                    )
        print(table_row("all", summary(every)), flush=True)


if __name__ == "__main__":
    main()
