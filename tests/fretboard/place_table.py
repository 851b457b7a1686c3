"""Print how often notes are placed as they were played, by kind of fingering and by what is given.

    python -m tests.fretboard.place_table [--lines N] [--split report] [--folder FOLDER]

From sound: lines spliced from `strat_notes` (tests/accuracy) are listened to, and the notes found are placed.
`strat_first` is the same guitar's recording 1 alone, profiled from its recording 2. Beside them stands the
rule "the fret nearest the middle of the hand at the given position". Then the takes of another guitar, on one
open or 12th-fret string each, if FOLDER has them (`tests/data` does not), each placed as a line; then
hand-written fingerings of tests/fretboard, which the weights were not fitted to, without sound. Last the time
that 10,000 notes take.
"""

from __future__ import annotations

import argparse
import time
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from tests.accuracy.baseline import place_nearest
from tests.accuracy.judge import judge
from tests.accuracy.profiles import PROFILED_SET, instrument_file
from tests.accuracy.takes import ALL_CONDITIONS, SPLITS, JudgedTake, make_take, specs
from tests.fretboard.generated_fingerings import generate
from tests.fretboard.handwritten_fingerings import handwritten
from tests.fretboard.place_accuracy import accuracy_by_kind
from tests.fretboard.string_of_notes import TAKES
from tests.fretboard.string_profiled import DATA
from transcriber.audio import read_take
from transcriber.fretboard import place_notes, place_phrases, read_instrument
from transcriber.fretboard.stiffness import expected_log10_b, string_set_of
from transcriber.listening import listen
from transcriber.records.heard import HeardNote, Stiffness
from transcriber.records.placed import Instrument

NOTES_TIMED = 10_000
STANDARD = read_instrument("standard")
# Error of log10 B that the timed lines pretend was measured.
TIMED_STANDARD_ERROR = 0.1
Counts = dict[str, Counter]


def count_take(take: JudgedTake) -> Counter:
    """Found notes placed as played, by reading; ``found`` is how many there are."""
    return count_notes(take, listen(read_take(take.sound), STANDARD).notes)


def count_notes(take: JudgedTake, notes: Sequence[HeardNote]) -> Counter:
    """Count as `count_take` does, of the notes heard in a take however it was written."""
    position = take.composed.position
    readings = {
        "nothing": _document(notes, STANDARD, None),
        "position": _document(notes, STANDARD, position),
        "nearest": place_nearest(_document(notes, STANDARD, None), position),
    }
    if take.spec.set_name == PROFILED_SET:
        readings["profiled"] = _document(notes, read_instrument(instrument_file(PROFILED_SET)), None)
    counts: Counter = Counter()
    for name, document in readings.items():
        pairs = [pair for pair in judge(take.truth, document).pairs if pair.truth and pair.draft]
        counts["found"] = len(pairs)
        counts[name] = sum(
            (pair.truth["string"], pair.truth["fret"]) == (pair.draft["string"], pair.draft["fret"])
            for pair in pairs
        )
    return counts


def _document(notes: Sequence[HeardNote], instrument: Instrument, position: int | None) -> dict:
    """Notes as the judge reads them; their rhythm is not judged here."""
    documents = [
        {
            "onset_s": note.onset_s,
            "end_s": note.end_s,
            "pitch_midi": note.pitch_midi,
            "string": place.string if place else None,
            "fret": place.fret if place else None,
            "bar": 1,
            "beat": "1",
            "length": "1",
            "techniques": [],
            "confidence": {"overall": 1.0},
        }
        for note, place in zip(notes, place_notes(notes, instrument, position).places, strict=True)
    ]
    return {"timing": {"tempo_bpm": 100.0, "meter": "4/4"}, "notes": documents}


def from_sound(split: str, set_name: str, lines: int) -> tuple[Counts, dict[str, int]]:
    """Counts by kind of fingering and of all, and the number of lines of each."""
    counts: Counts = {}
    taken: Counter = Counter()
    for spec in specs(split, (set_name,), ALL_CONDITIONS, lines):
        take = make_take(spec)
        found = count_take(take)
        for kind in (take.composed.style, "all"):
            counts.setdefault(kind, Counter()).update(found)
            taken[kind] += 1
    return counts, dict(taken)


def print_sound(split: str, set_name: str, lines: int) -> None:
    """One table of lines from sound."""
    counts, taken = from_sound(split, set_name, lines)
    print(f"{set_name}, {split} split, from sound")
    _print_counts(counts, taken)


def _print_counts(counts: Counts, taken: Mapping[str, int]) -> None:
    for kind in sorted(counts, key=lambda kind: (kind == "all", kind)):
        figures = counts[kind]
        shares = [
            f"{name} {figures[name] / max(figures['found'], 1):.3f}"
            for name in ("nothing", "position", "profiled", "nearest")
            if name in figures
        ]
        print(f"  {kind:16s}{'  '.join(shares)}  ({figures['found']} notes, {taken[kind]} lines)")


def print_takes(folder: Path) -> None:
    """Lines of one open or 12th-fret string each, on a guitar that nobody measured."""
    counts: Counts = {}
    taken: Counter = Counter()
    for start, string, fret in TAKES:
        for path in sorted((folder / "takes").glob(f"{start}_*.flac")):
            notes = [
                note
                for note in listen(read_take(path), STANDARD).notes
                if note.pitch_midi == STANDARD.open_midi(string) + fret
            ]
            drafted = {
                "nothing": _document(notes, STANDARD, None),
                "position": _document(notes, STANDARD, fret),
            }
            drafted["nearest"] = place_nearest(drafted["nothing"], fret)
            found = Counter(
                {
                    name: sum((note["string"], note["fret"]) == (string, fret) for note in each["notes"])
                    for name, each in drafted.items()
                }
            )
            found["found"] = len(notes)
            for kind in (f"fret {fret}", "all"):
                counts.setdefault(kind, Counter()).update(found)
                taken[kind] += 1
    print("takes of one string each, another guitar, from sound" + ("" if counts else f": none in {folder}"))
    _print_counts(counts, taken)


def timed_line(count: int, sounding: bool) -> list[HeardNote]:
    """Fingered lines one after the other, with what their strings would be measured at."""
    strings = string_set_of(STANDARD)
    rng = np.random.default_rng(5)
    notes: list[HeardNote] = []
    own = [
        line
        for kind in ("shifting", "box", "three_a_string", "open")
        for line in generate(kind, "report", 40)
    ]
    while len(notes) < count:
        for line in own:
            later = (notes[-1].end_s if notes else 0.0) + 0.1
            for played in line.notes:
                note = played.heard()
                log10_b = expected_log10_b(strings, played.string, played.fret)
                measured = Stiffness(log10_b + rng.normal(0, TIMED_STANDARD_ERROR), TIMED_STANDARD_ERROR)
                moved = replace(note, onset_s=note.onset_s + later, end_s=note.end_s + later)
                notes.append(replace(moved, stiffness=measured) if sounding else moved)
    return notes[:count]


def print_times() -> None:
    """Processor seconds for 10,000 notes, and as a multiple of what one note takes."""
    for sounding in (False, True):
        notes = timed_line(NOTES_TIMED, sounding)
        one = notes[:1]
        single_s = least_seconds(lambda one=one: place_notes(one, STANDARD), 5)
        for name, place in (("place_notes", place_notes), ("place_phrases", place_phrases)):
            whole_s = least_seconds(lambda place=place, notes=notes: place(notes, STANDARD), 2)
            print(
                f"{name}, {NOTES_TIMED} notes{', with the sound of the string' if sounding else ''}: "
                f"{whole_s:.2f} s, {whole_s / single_s:.0f} times one note"
            )


def least_seconds(run: Callable[[], object], times: int) -> float:
    """Least processor time of several runs: what else the machine does is left out of it."""
    taken = []
    for _ in range(times):
        began = time.process_time()
        run()
        taken.append(time.process_time() - began)
    return min(taken)


def main() -> None:
    """Print all tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--lines", type=int, default=2, help="lines of each condition")
    parser.add_argument("--split", choices=sorted(SPLITS), default="report")
    parser.add_argument("--folder", type=Path, default=DATA, help="with the takes of one string each")
    parser.add_argument("--times-only", action="store_true")
    options = parser.parse_args()
    if not options.times_only:
        for set_name in ("strat", PROFILED_SET):
            print_sound(options.split, set_name, options.lines)
        print_takes(options.folder)
        print("hand-written fingerings, report half, without sound")
        for kind, figures in accuracy_by_kind(handwritten("report")).items():
            print(f"  {kind:16s}" + "  ".join(f"{name} {value:.3f}" for name, value in figures.items()))
    print_times()


if __name__ == "__main__":
    main()
