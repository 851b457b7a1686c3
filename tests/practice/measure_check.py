"""How well attempts are checked: ``python -m tests.practice.measure_check [--split report] [--each N]``.

Precision, recall and F of each verdict over planted mistakes, false remarks on flawless attempts, errors of
timing, pitch and bends, alignment. Whatever `check` has of thresholds was chosen on the split ``fit``, whose
guitars, tones and lines are others than those of ``report``. ``--show`` lists every wrong verdict.
"""

from __future__ import annotations

import argparse
import hashlib
import io
import pickle
import tempfile
from collections import defaultdict
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import soundfile

from tests.practice.attempts import SPLITS, Planted, Spec, make, specs
from tests.practice.plant import KINDS
from transcriber.audio import read_take
from transcriber.files import write_whole
from transcriber.listening import hear_clicks, listen
from transcriber.practice import TOLERANCES, Attempt, CheckReport, check_attempt

EAR = "intermediate"
EXTRA_WITHIN_S = 0.08
SAME_NOTE_S = 0.06
CACHE = Path(tempfile.gettempdir()) / "transcriber_practice_attempts"
# One slip may bear a second remark that is as true: a bend that creeps has its top late, a short one its end.
ALSO_TRUE = {
    "bend_flat": ("bend_missing", "bend_slow"),
    "bend_slow": ("bend_flat", "bend_sharp"),
    "vibrato_missing": ("vibrato_differs",),
}


@dataclass
class Counts:
    """Right, false and overlooked."""

    right: int = 0
    false: int = 0
    lost: int = 0

    @property
    def precision(self) -> float:
        """Share of what was said that is true."""
        return self.right / max(self.right + self.false, 1)

    @property
    def recall(self) -> float:
        """Share of what is true that was said."""
        return self.right / max(self.right + self.lost, 1)

    @property
    def f(self) -> float:
        """F measure."""
        total = 2 * self.right + self.false + self.lost
        return 2 * self.right / total if total else float("nan")

    def add(self, true: set, told: set) -> None:
        """Count a set of truths against what was told."""
        self.right += len(true & told)
        self.false += len(told - true)
        self.lost += len(true - told)


@dataclass
class Results:
    """Everything counted."""

    kinds: dict[str, Counts] = field(default_factory=lambda: defaultdict(Counts))
    events: dict[str, Counts] = field(default_factory=lambda: defaultdict(Counts))
    flawless: dict[str, list[int]] = field(default_factory=lambda: defaultdict(lambda: [0, 0]))
    timing_ms: list[float] = field(default_factory=list)
    cents: list[float] = field(default_factory=list)
    bend_cents: list[float] = field(default_factory=list)
    aligned: int = 0
    to_align: int = 0
    tempo_off: list[float] = field(default_factory=list)

    @property
    def overall(self) -> Counts:
        """All verdicts together."""
        total = Counts()
        for each in self.kinds.values():
            total.right += each.right
            total.false += each.false
            total.lost += each.lost
        return total

    @property
    def false_per_100(self) -> float:
        """False remarks on flawless attempts, per 100 notes."""
        remarks, notes = self.flawless["all"]
        return 100 * remarks / max(notes, 1)


def attempt_of(planted: Planted, folder: Path) -> Attempt:
    """Hear an attempt by way of a file, as the command does."""
    path = folder / "attempt.wav"
    soundfile.write(path, planted.sound, 44100, subtype="PCM_16")
    take = read_take(path)
    heard = hear_clicks(take, listen(take, planted.draft.instrument.fretted), None, False)
    return Attempt(heard, take.samples, take.sample_rate_hz, take.start_s)


def prepared(spec: Spec, cached: bool = True) -> tuple[Planted, Attempt]:
    """Make and hear an attempt, or take it from the cache."""
    if not cached:
        planted = make(spec)
        with tempfile.TemporaryDirectory() as folder:
            return planted, attempt_of(planted, Path(folder))
    CACHE.mkdir(exist_ok=True)
    code = hashlib.sha256()
    here = Path(__file__).parent
    package = here.parents[1] / "transcriber"
    own = [here / f"{name}.py" for name in ("attempts", "plant", "strokes", "surroundings")]
    # The model of picks is asked only when an attempt is checked, not when it is made and heard.
    models = sorted(p for p in (here.parents[1] / "models").rglob("*.json") if p.name != "picks.json")
    bench = sorted((here.parent / "accuracy").glob("*.py"))
    stages = [path for name in ("listening", "synthesis") for path in sorted((package / name).rglob("*.py"))]
    for path in [*own, *bench, *stages, *models]:
        code.update(path.read_bytes())
    store = CACHE / f"{spec.split}-{spec.name.replace('/', '-')}-{code.hexdigest()[:12]}.pickle"
    if store.exists():
        planted, heard, samples, rate, start = pickle.loads(store.read_bytes())
        return planted, Attempt(heard, samples, rate, start)
    planted, attempt = prepared(spec, cached=False)
    buffer = io.BytesIO()
    pickle.dump((planted, attempt.heard, attempt.samples, attempt.rate_hz, attempt.start_s), buffer)
    # Another process may read it meanwhile.
    write_whole(store, buffer.getvalue(), force=True)
    return planted, attempt


def remarks_of(report: CheckReport) -> dict[str, set[str]]:
    """Kind to ids of notes it was said of."""
    said: dict[str, set[str]] = defaultdict(set)
    for note in report.notes:
        if note.verdict != "played":
            said[note.verdict].add(note.id)
        for remark in note.remarks:
            said[remark].add(note.id)
    return said


def count(spec: Spec, planted: Planted, report: CheckReport, results: Results) -> list[str]:
    """Count one attempt; return what was judged wrong, in words."""
    said = remarks_of(report)
    wrong = []
    skipped = said["missed"] & planted.skipped
    results.events["skipped note"].add(set(planted.skipped), skipped)
    said["missed"] -= planted.skipped
    wrong += [f"skipped lost {each}" for each in sorted(planted.skipped - skipped)]
    for kind in sorted(set(KINDS) | set(said)):
        if kind == "extra":
            continue
        true, told = planted.mistakes.get(kind, set()), said.get(kind, set())
        also = set().union(*(planted.mistakes.get(other, set()) for other in ALSO_TRUE.get(kind, ())))
        told -= also - true
        results.kinds[kind].add(true, told)
        wrong += [f"{kind} lost {each}" for each in sorted(true - told)]
        wrong += [f"{kind} false {each}" for each in sorted(told - true)]
    wrong += _count_extra(planted, report, results)
    if spec.flawless:
        remarks = sum(len(ids) for ids in said.values()) + len(report.extra)
        for group in ("all", f"at {planted.ratio:.0%}", spec.surrounding or "quiet", spec.guitar):
            results.flawless[group][0] += remarks
            results.flawless[group][1] += len(report.notes)
    wrong += _count_notes(planted, report, results)
    wrong += _count_events(planted, report, results)
    return wrong


def _count_notes(planted: Planted, report: CheckReport, results: Results) -> list[str]:
    wrong = []
    for note in report.notes:
        true_times = planted.onsets.get(note.id)
        if true_times is None:
            continue
        results.to_align += 1
        right = note.attempt_onset_s is not None and abs(note.attempt_onset_s - true_times[0]) < SAME_NOTE_S
        results.aligned += right
        if not right:
            wrong.append(f"aligned {note.id} {note.attempt_onset_s} true {true_times[0]:.3f}")
        elif note.timing_ms is not None:
            results.timing_ms.append(note.timing_ms - 1000 * (true_times[0] - true_times[1]))
        if right and note.pitch_cents is not None and note.id in planted.cents:
            results.cents.append(note.pitch_cents - planted.cents[note.id])
        for technique in note.techniques:
            if right and technique.cents is not None and note.id in planted.bends:
                results.bend_cents.append(technique.cents - planted.bends[note.id])
    return wrong


def _count_events(planted: Planted, report: CheckReport, results: Results) -> list[str]:
    stops = {stop.before for stop in report.stops}
    results.events["stop"].add(set(planted.stops), stops)
    results.events["going back"].add(set(range(planted.restarts)), set(range(report.restarts)))
    results.events["transposed"].add({planted.shift} - {0}, {report.transposed} - {0})
    if report.tempo_ratio is not None:
        results.tempo_off.append(report.tempo_ratio / planted.ratio - 1.0)
    wrong = [f"stop {each}" for each in sorted(stops ^ planted.stops)]
    if report.restarts != planted.restarts:
        wrong.append(f"restarts {report.restarts} true {planted.restarts}")
    if report.transposed != planted.shift:
        wrong.append(f"shift {report.transposed} true {planted.shift}")
    return wrong


def _count_extra(planted: Planted, report: CheckReport, results: Results) -> list[str]:
    left = set(planted.mistakes["extra"])
    tally = results.kinds["extra"]
    wrong = []
    for extra in report.extra:
        near = [time for time in left if abs(time - extra.onset_s) < EXTRA_WITHIN_S]
        if near:
            left.discard(near[0])
            tally.right += 1
        else:
            tally.false += 1
            wrong.append(f"extra false {extra.onset_s} {extra.pitch_midi}")
    tally.lost += len(left)
    return wrong + [f"extra lost {time}" for time in sorted(left)]


def table(results: Results) -> str:
    """Everything in tables, the weakest first."""
    rows = _rows("verdict", results.kinds)
    total = results.overall
    rows.append(_row("all", total))
    rows += ["", *_rows("event", results.events), ""]
    rows.append(f"false remarks per 100 notes of flawless attempts: {results.false_per_100:.2f}")
    for group, (remarks, notes) in sorted(results.flawless.items()):
        rows.append(f"  {group:<12}{100 * remarks / max(notes, 1):>6.2f} ({remarks} on {notes} notes)")
    rows.append(f"alignment right: {results.aligned / max(results.to_align, 1):.2%} of {results.to_align}")
    for name, errors, unit in (
        ("timing", results.timing_ms, "ms"),
        ("pitch", results.cents, "cents"),
        ("top of a bend", results.bend_cents, "cents"),
    ):
        if errors:
            sizes = np.abs(errors)
            rows.append(
                f"{name}: median error {np.median(sizes):.1f} {unit}, nine in ten within "
                f"{np.percentile(sizes, 90):.1f} ({len(errors)})"
            )
    rows.append(f"tempo share: median error {np.median(np.abs(results.tempo_off)):.3f}")
    return "\n".join(rows)


def _rows(head: str, tallies: dict[str, Counts]) -> list[str]:
    rows = [f"{head:<18}{'true':>6}{'said':>6}{'prec.':>8}{'recall':>8}{'F':>8}"]
    return rows + [_row(name, tally) for name, tally in sorted(tallies.items(), key=lambda item: item[1].f)]


def _row(name: str, tally: Counts) -> str:
    true, said = tally.right + tally.lost, tally.right + tally.false
    return f"{name:<18}{true:>6}{said:>6}{tally.precision:>8.2f}{tally.recall:>8.2f}{tally.f:>8.3f}"


def measured(chosen: list[Spec], show: bool = False, cached: bool = True) -> Results:
    """Make, hear, check and count attempts."""
    results = Results()
    for spec in chosen:
        planted, attempt = prepared(spec, cached)
        report = check_attempt(planted.draft, attempt, TOLERANCES[EAR])
        wrong = count(spec, planted, report, results)
        if show and wrong:
            about = f"{planted.ratio:.0%} {spec.surrounding or 'quiet'}, {planted.restarts} back"
            print(f"{spec.name} ({about}): {'; '.join(wrong)}", flush=True)
    return results


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--split", default="report", choices=tuple(SPLITS))
    parser.add_argument("--each", type=int, default=3, help="attempts of every guitar and kind of line")
    parser.add_argument("--show", action="store_true")
    parser.add_argument("--only", default="", help="attempts whose name holds this")
    chosen = parser.parse_args()
    listed = [spec for spec in specs(chosen.split, chosen.each) if chosen.only in spec.name]
    print(table(measured(listed, chosen.show)))


if __name__ == "__main__":
    main()
