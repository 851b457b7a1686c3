"""How well attempts are checked: ``python -m tests.practice.measure [--split report] [--each N] [--show]``.

Precision, recall and F of each verdict over planted mistakes, false remarks on flawless attempts, errors of
timing, bends and alignment. Thresholds were chosen on the split ``fit`` (other guitars, other lines).
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

from tests.practice.attempts import KINDS, Planted, Spec, make, specs
from transcriber.audio import read_take
from transcriber.listening import hear_clicks, listen
from transcriber.practice import TOLERANCES, Attempt, CheckReport, check_attempt

EAR = "intermediate"
EXTRA_WITHIN_S = 0.08
SAME_NOTE_S = 0.06
CACHE = Path(tempfile.gettempdir()) / "transcriber_practice_attempts"


@dataclass
class Counts:
    """Right, false and overlooked."""

    right: int = 0
    false: int = 0
    lost: int = 0

    @property
    def f(self) -> float:
        """F measure."""
        total = 2 * self.right + self.false + self.lost
        return 2 * self.right / total if total else float("nan")


@dataclass
class Results:
    """Everything counted."""

    kinds: dict[str, Counts] = field(default_factory=lambda: defaultdict(Counts))
    timing_ms: list[float] = field(default_factory=list)
    bend_cents: list[float] = field(default_factory=list)
    aligned: int = 0
    to_align: int = 0
    flawless_notes: int = 0
    flawless_remarks: int = 0
    tempo_off: list[float] = field(default_factory=list)


def attempt_of(planted: Planted, folder: Path) -> Attempt:
    """Hear an attempt by way of a file, as the command does."""
    path = folder / "attempt.wav"
    soundfile.write(path, planted.sound, 44100, subtype="PCM_16")
    take = read_take(path)
    heard = hear_clicks(take, listen(take, planted.draft.instrument.fretted), None, False)
    return Attempt(heard, take.samples, take.sample_rate_hz, take.start_s)


def prepared(spec: Spec) -> tuple[Planted, Attempt]:
    """Make and hear an attempt, or take it from the cache."""
    CACHE.mkdir(exist_ok=True)
    package = Path(__file__).resolve().parents[2] / "transcriber"
    code = hashlib.sha256((Path(__file__).parent / "attempts.py").read_bytes())
    for path in sorted((package / "listening").rglob("*.py")):
        code.update(path.read_bytes())
    store = CACHE / f"{spec.split}-{spec.name.replace('/', '-')}-{code.hexdigest()[:12]}.pickle"
    if store.exists():
        planted, heard, samples, rate, start = pickle.loads(store.read_bytes())
        return planted, Attempt(heard, samples, rate, start)
    planted = make(spec)
    with tempfile.TemporaryDirectory() as folder:
        attempt = attempt_of(planted, Path(folder))
    buffer = io.BytesIO()
    pickle.dump((planted, attempt.heard, attempt.samples, attempt.rate_hz, attempt.start_s), buffer)
    store.write_bytes(buffer.getvalue())
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


def count(planted: Planted, report: CheckReport, results: Results, flawless: bool) -> list[str]:
    """Count one attempt; return what was judged wrong, in words."""
    said = remarks_of(report)
    wrong = []
    # A slip that makes two remarks true is one mistake: what else is said of the same note is left aside.
    marked = {each for kind in KINDS if kind != "extra" for each in planted.mistakes[kind]}
    for kind in sorted(set(KINDS) | set(said)):
        if kind == "extra":
            continue
        true = planted.mistakes.get(kind, set())
        told = said.get(kind, set())
        other = {"bend_flat": "bend_missing", "bend_slow": "bend_flat"}.get(kind, "")
        told_false = {each for each in told - true if each not in planted.mistakes.get(other, set())}
        tally = results.kinds[kind]
        tally.right += len(true & told)
        tally.false += len(told_false)
        tally.lost += len(true - told)
        wrong += [f"{kind} lost {each}" for each in sorted(true - told)]
        wrong += [f"{kind} false {each}" + ("*" if each in marked else "") for each in sorted(told_false)]
    _count_extra(planted, report, results, wrong)
    if flawless:
        results.flawless_notes += len(report.notes)
        results.flawless_remarks += sum(len(ids) for ids in said.values()) + len(report.extra)
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
        for technique in note.techniques:
            if technique.cents is not None and note.id in planted.bends:
                results.bend_cents.append(technique.cents - planted.bends[note.id])
    if report.tempo_ratio is not None:
        results.tempo_off.append(report.tempo_ratio / planted.ratio - 1.0)
    return wrong


def _count_extra(planted: Planted, report: CheckReport, results: Results, wrong: list[str]) -> None:
    left = set(planted.mistakes["extra"])
    tally = results.kinds["extra"]
    for extra in report.extra:
        near = [time for time in left if abs(time - extra.onset_s) < EXTRA_WITHIN_S]
        if near:
            left.discard(near[0])
            tally.right += 1
        else:
            tally.false += 1
            wrong.append(f"extra false {extra.onset_s} {extra.pitch_midi}")
    tally.lost += len(left)
    wrong += [f"extra lost {time}" for time in sorted(left)]


def table(results: Results) -> str:
    """Everything in a table."""
    rows = [f"{'verdict':<18}{'true':>6}{'prec.':>8}{'recall':>8}{'F':>8}"]
    total = Counts()
    for kind, tally in sorted(results.kinds.items(), key=lambda item: item[1].f):
        true = tally.right + tally.lost
        precision = tally.right / max(tally.right + tally.false, 1)
        recall = tally.right / max(true, 1)
        rows.append(f"{kind:<18}{true:>6}{precision:>8.2f}{recall:>8.2f}{tally.f:>8.2f}")
        total.right, total.false = total.right + tally.right, total.false + tally.false
        total.lost += tally.lost
    rows.append(f"{'all':<18}{total.right + total.lost:>6}{'':>16}{total.f:>8.3f}")
    per_100 = 100 * results.flawless_remarks / max(results.flawless_notes, 1)
    rows.append(
        f"false remarks on flawless attempts, per 100 notes: {per_100:.2f} ({results.flawless_notes} notes)"
    )
    rows.append(f"alignment right: {results.aligned / max(results.to_align, 1):.2%} of {results.to_align}")
    rows.append(f"median timing error: {np.median(np.abs(results.timing_ms)):.1f} ms")
    rows.append(f"median bend error: {np.median(np.abs(results.bend_cents or [0])):.1f} cents")
    rows.append(f"tempo share, median error: {np.median(np.abs(results.tempo_off)):.3f}")
    return "\n".join(rows)


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--split", default="report")
    parser.add_argument("--each", type=int, default=3)
    parser.add_argument("--show", action="store_true")
    parser.add_argument("--only", default="")
    chosen = parser.parse_args()
    results = Results()
    for spec in specs(chosen.split, chosen.each):
        if chosen.only not in spec.name:
            continue
        planted, attempt = prepared(spec)
        report = check_attempt(planted.draft, attempt, TOLERANCES[EAR])
        wrong = count(planted, report, results, spec.flawless)
        if chosen.show and wrong:
            print(spec.name, f"ratio {planted.ratio} restarts {planted.restarts}:", "; ".join(wrong))
    print(table(results))


if __name__ == "__main__":
    main()
