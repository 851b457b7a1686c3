"""How well each thing that hands do is heard, one by one.

Run from the repository's root: ``python -m tests.listening.measure_phenomena [--sets strat,emily,synth]
[--lines N] [--only NAME,NAME]``. Lines are those of `tests.listening.phenomena`; nothing is fitted to these
seeds, nor to strat and emily at all. True and false are pooled over all lines of a phenomenon.
"""

from __future__ import annotations

import argparse
from collections import Counter
from dataclasses import dataclass, field

import mir_eval
import numpy as np

from tests.listening.phenomena import PHENOMENA
from tests.listening.phenomena_sounds import RATE, phenomenon_take, second_notes
from transcriber.listening import listen
from transcriber.records.heard import Heard, HeardNote
from transcriber.records.line import Performance, PlayedNote
from transcriber.records.placed import Instrument
from transcriber.records.take import Take

GUITAR = Instrument("standard", (64, 59, 55, 50, 45, 40))
SETS = ("strat", "emily", "synth")
ONSET_S, CENTS = 0.05, 50.0
KIND_OF = {"hammer_on": "slur", "pull_off": "slur"}
_ROUNDING = 1e-9


@dataclass
class Counts:
    """Pooled counts of one phenomenon or of several added up."""

    true_notes: int = 0
    heard_notes: int = 0
    found: int = 0
    hits: Counter[str] = field(default_factory=Counter)
    false: Counter[str] = field(default_factory=Counter)
    missed: Counter[str] = field(default_factory=Counter)
    false_on_plain: int = 0
    plain: int = 0
    bend_errors: list[float] = field(default_factory=list)
    rate_errors: list[float] = field(default_factory=list)
    depth_errors: list[float] = field(default_factory=list)

    def add(self, other: Counts) -> None:
        """Add another's counts to these."""
        for name, value in vars(other).items():
            mine = getattr(self, name)
            if isinstance(value, Counter):
                mine.update(value)
            else:
                setattr(self, name, mine + value)

    @property
    def note_f(self) -> float:
        """F of the notes."""
        return 2 * self.found / max(self.true_notes + self.heard_notes, 1)


def count(performance: Performance, seconds: tuple[PlayedNote, ...], heard: Heard) -> Counts:
    """Compare what was played with what was heard."""
    true = [note for note in performance.notes if "dead_note" not in kinds(note)]
    dead = [note for note in performance.notes if "dead_note" in kinds(note)]
    notes = [note for note in heard.notes if "dead_note" not in kinds(note)]
    counts = Counts(len(true), len(notes))
    _count_dead(dead, [n for n in heard.notes if "dead_note" in kinds(n)], counts)
    above = {note.onset_s: note.pitch_midi for note in seconds}
    matched = dict(_match([_line_pitch(note, above) for note in true], true, notes))
    counts.found = len(matched)
    for index, note in enumerate(true):
        got = notes[matched[index]] if index in matched else None
        _count_techniques(note, got, counts)
        if got is not None:
            _count_amounts(note, got, counts)
        if note.onset_s in above:
            right = got is not None and got.second_midi == min(note.pitch_midi, above[note.onset_s])
            (counts.hits if right else counts.missed)["double stop"] += 1
        elif got is not None and got.second_midi is not None:
            counts.false["double stop"] += 1
    used = set(matched.values())
    for index, got in enumerate(notes):
        if index not in used:
            counts.false.update(kinds(got))
    return counts


def kinds(note: PlayedNote | HeardNote) -> Counter[str]:
    """Techniques of a note, hammer-ons and pull-offs counted as slurs."""
    return Counter(KIND_OF.get(t.kind, t.kind) for t in note.techniques if t.kind != "staccato")


def _line_pitch(note: PlayedNote, above: dict[float, int]) -> int:
    """The line has the higher of two notes."""
    return max(note.pitch_midi, above.get(note.onset_s, 0))


def _match(pitches: list[int], true: list[PlayedNote], notes: list[HeardNote]) -> list[tuple[int, int]]:
    if not true or not notes:
        return []
    return mir_eval.transcription.match_notes(
        np.array([(n.onset_s, max(n.end_s, n.onset_s + 0.01)) for n in true]),
        440.0 * 2 ** ((np.array(pitches) - 69) / 12),
        np.array([(n.onset_s, n.end_s) for n in notes]),
        440.0 * 2 ** ((np.array([n.pitch_midi for n in notes]) - 69) / 12),
        onset_tolerance=ONSET_S,
        pitch_tolerance=CENTS,
        offset_ratio=None,
    )


def _count_dead(true: list[PlayedNote], heard: list[HeardNote], counts: Counts) -> None:
    hits = sum(any(abs(h.onset_s - t.onset_s) <= ONSET_S for h in heard) for t in true)
    counts.hits["dead_note"] += hits
    counts.missed["dead_note"] += len(true) - hits
    counts.false["dead_note"] += max(len(heard) - hits, 0)


def _count_techniques(note: PlayedNote, got: HeardNote | None, counts: Counts) -> None:
    asked, drafted = kinds(note), Counter() if got is None else kinds(got)
    counts.hits.update(asked & drafted)
    counts.missed.update(asked - drafted)
    counts.false.update(drafted - asked)
    if not asked:
        counts.plain += 1
        counts.false_on_plain += bool(drafted)


def _count_amounts(note: PlayedNote, got: HeardNote, counts: Counts) -> None:
    for kind in ("bend", "pre_bend"):
        asked = [t.semitones for t in note.techniques if t.kind == kind]
        heard = [t.semitones for t in got.techniques if t.kind == kind]
        counts.bend_errors += [abs(a - b) for a, b in zip(asked, heard, strict=False) if a and b]
    asked_vibrato = next((t for t in note.techniques if t.kind == "vibrato"), None)
    heard_vibrato = next((t for t in got.techniques if t.kind == "vibrato"), None)
    if asked_vibrato is not None and heard_vibrato is not None:
        counts.rate_errors.append(abs(asked_vibrato.rate_hz - heard_vibrato.rate_hz))
        counts.depth_errors.append(abs(asked_vibrato.depth_semitones - heard_vibrato.depth_semitones))


def measure(names: tuple[str, ...], sets: tuple[str, ...], lines: int) -> dict[str, Counts]:
    """Measure phenomena on several guitars, `lines` lines each."""
    table: dict[str, Counts] = {}
    for name in names:
        table[name] = Counts()
        for set_name in sets:
            for seed in range(lines):
                try:
                    performance, sound, _ = phenomenon_take(name, set_name, seed)
                except ValueError:  # the set has no recorded note near one of the line's
                    continue
                take = Take(sound, RATE, 0.0, "", "", RATE, len(sound) / RATE)
                seconds = second_notes(name, performance)
                table[name].add(count(performance, seconds, listen(take, GUITAR)))
    return table


def report(table: dict[str, Counts]) -> str:
    """Lay the counts out as a table, and the pooled figures below it."""
    lines = [f"{'phenomenon':27s} note F   n   technique: precision recall F (true)"]
    total = Counts()
    for name, counts in table.items():
        total.add(counts)
        kind = PHENOMENA[name].kind or ("double stop" if PHENOMENA[name].above else None)
        own = _figures(counts, kind) if kind else ""
        false = {k: n for k, n in counts.false.items() if n and k != kind} or "-"
        lines.append(f"{name:27s} {counts.note_f:.3f} {counts.true_notes:4d}   {own:42s} false: {false}")
    lines.append(f"{'all':27s} {total.note_f:.3f} {total.true_notes:4d}")
    lines += [f"    {_figures(total, kind)}" for kind in sorted({*total.hits, *total.missed})]
    for what, errors, bound in (
        ("bend within 0.25 semitone", total.bend_errors, 0.25),
        ("bend within 0.5 semitone", total.bend_errors, 0.5),
        ("vibrato rate within 0.5 Hz", total.rate_errors, 0.5),
        ("vibrato depth within 0.1 semitone", total.depth_errors, 0.1),
    ):
        share = np.mean(np.array(errors) <= bound + _ROUNDING) if errors else float("nan")
        lines.append(f"{what}: {share:.3f} of {len(errors)}")
    lines.append(f"techniques heard on plainly picked notes: {total.false_on_plain} of {total.plain}")
    return "\n".join(lines)


def technique_f(counts: Counts, kind: str) -> float:
    """F of one technique."""
    hits, false, missed = counts.hits[kind], counts.false[kind], counts.missed[kind]
    return 2 * hits / max(2 * hits + false + missed, 1)


def _figures(counts: Counts, kind: str) -> str:
    hits, false, missed = counts.hits[kind], counts.false[kind], counts.missed[kind]
    precision, recall = hits / max(hits + false, 1), hits / max(hits + missed, 1)
    return f"{kind:16s} {precision:.2f} {recall:.2f} {technique_f(counts, kind):.2f} ({hits + missed})"


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sets", default=",".join(SETS))
    parser.add_argument("--lines", type=int, default=2)
    parser.add_argument("--only", default=",".join(PHENOMENA))
    asked = parser.parse_args()
    print(report(measure(tuple(asked.only.split(",")), tuple(asked.sets.split(",")), asked.lines)))


if __name__ == "__main__":
    main()
