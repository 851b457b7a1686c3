"""Measure the transcriber on takes whose truth is known: ``python -m tests.accuracy.run``.

Figures are defined in `judge`. The report split (strat, emily, synth) is for reporting; whoever fits or tunes
uses ``--split fit`` (green, and synth with other lines).
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import time
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

from tests.accuracy.baseline import GIVEN, place_nearest, stored
from tests.accuracy.drafters import DRAFTERS
from tests.accuracy.judge import Tally, figures, judge, technique_figures
from tests.accuracy.report import Result, details, group_table, overall_table, pool, technique_table
from tests.accuracy.takes import ALL_CONDITIONS, SETS, SPLITS, TakeSpec, make_take, specs

DEFAULT_LINES = 2
QUICK_LINES = 1
QUICK_CONDITIONS = ("straight", "triplets", "techniques", "driven")
Job = tuple[TakeSpec, str, str]


def measure(job: Job) -> Result:
    """Make a take, draft it, judge the draft. `job` is (spec, drafter, given)."""
    spec, drafter, given = job
    take = make_take(spec)
    began = time.perf_counter()
    draft = DRAFTERS[drafter](take, GIVEN[given])
    seconds = time.perf_counter() - began
    near = judge(take.truth, place_nearest(draft, take.composed.position)).tally
    base = _stored_baseline().get(take.key, {}).get(given)
    bpm = float(draft["timing"]["tempo_bpm"] or 0.0)
    return Result(take, judge(take.truth, draft, spec.strings_told), near, base, bpm, seconds)


def measure_all(jobs: Sequence[Job], processes: int = 1) -> Iterator[Result]:
    """Measure takes in order, in one process or several."""
    if processes == 1:
        yield from map(measure, jobs)
        return
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(name, "1")
    with ProcessPoolExecutor(processes) as pool_of_workers:
        yield from pool_of_workers.map(measure, jobs)


def report_text(results: Sequence[Result], given: str) -> str:
    """All tables."""
    audio_s = sum(result.take.truth["timing"]["beats_s"][-1] for result in results)
    seconds = sum(result.seconds for result in results)
    sections = [
        f"given: {given}; drafted at {seconds / audio_s:.2f} times the sound's length",
        overall_table(results),
        group_table(results, "condition", lambda r: r.take.spec.condition),
        group_table(results, "set", lambda r: r.take.spec.set_name),
        group_table(results, "fingering", lambda r: r.take.composed.style),
        technique_table(results),
    ]
    return "\n\n".join(sections)


def report_json(results: Sequence[Result], given: str) -> dict[str, object]:
    """The same figures for programs, with the counts of every take."""
    total = pool([result.judgement.tally for result in results])
    return {
        "given": given,
        "figures": figures(total),
        "techniques": technique_figures(total),
        "takes": {result.take.key: result.judgement.tally.to_dict() for result in results},
    }


def main(arguments: Sequence[str] | None = None) -> int:
    """Run from the command line."""
    options = _parser().parse_args(arguments)
    sets = tuple(options.sets or SPLITS[options.split])
    conditions = tuple(options.conditions or (QUICK_CONDITIONS if options.quick else ALL_CONDITIONS))
    lines = options.lines or (QUICK_LINES if options.quick else DEFAULT_LINES)
    listed = specs(options.split, sets, conditions, lines)
    jobs = [(spec, options.drafter, options.given) for spec in listed]
    results = []
    for number, result in enumerate(measure_all(jobs, options.jobs), 1):
        results.append(result)
        print(f"{number}/{len(jobs)} {_progress(result)}", file=sys.stderr, flush=True)
    print(report_text(results, options.given))
    if options.out:
        options.out.write_text(json.dumps(report_json(results, options.given), indent=1) + "\n")
    if options.details:
        options.details.write_text(details(results))
    return 0


def _progress(result: Result) -> str:
    tally: Tally = result.judgement.tally
    return (
        f"{result.take.spec.name:24} found {tally.found}/{tally.true_notes}"
        f" extra {tally.draft_notes - tally.found} start {tally.start_right} rhythm {tally.rhythm_right}"
        f" place {tally.place_right} corrections {tally.corrections}  {result.seconds:.1f} s"
    )


_BASELINE: dict[str, dict[str, Tally]] = {}


def _stored_baseline() -> dict[str, dict[str, Tally]]:
    if not _BASELINE:
        _BASELINE.update(stored())
    return _BASELINE


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="python -m tests.accuracy.run", description=__doc__)
    parser.add_argument("--split", choices=sorted(SPLITS), default="report")
    parser.add_argument("--sets", nargs="+", choices=SETS, help="default: those of the split")
    parser.add_argument("--conditions", nargs="+", choices=ALL_CONDITIONS, help="default: all")
    parser.add_argument("--lines", type=int, help=f"lines per set and condition (default {DEFAULT_LINES})")
    parser.add_argument("--quick", action="store_true", help="one line of each set in four conditions")
    parser.add_argument("--given", choices=sorted(GIVEN), default="tempo,position", help="what a user gives")
    parser.add_argument("--drafter", choices=sorted(DRAFTERS), default="project")
    parser.add_argument("--jobs", type=int, default=1, help="processes")
    parser.add_argument("--out", type=Path, metavar="JSON", help="write the figures")
    parser.add_argument("--details", type=Path, metavar="FILE", help="write every wrong note")
    return parser


if __name__ == "__main__":
    sys.exit(main())
