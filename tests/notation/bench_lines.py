"""Lines on which rhythm is measured, by condition: truth by construction or written by hand.

Three makers that share no rule: `cells` strings cells of a beat together, `phrases` takes whole bars that
come back, `weight` places attacks by metric weight; and `hand` are the lines of `rhythm_lines`, of which
every second one belongs to each split, and in rows of their own those of `idiom_lines`, which all belong to
the report split. Seeds of the two splits are apart.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from fractions import Fraction

import numpy as np

from tests.accuracy.compose import choose_shapes, develop, walk
from tests.accuracy.decorate import decorate
from tests.accuracy.necks import GUITAR
from tests.accuracy.rhythms import CELLS, E, Q, S, Slot, T, cell_rhythm, weighted_rhythm
from tests.notation.idiom_lines import IDIOMS, idiom_lines
from tests.notation.rhythm_lines import Conditions, RhythmLine, parse, written_lines
from transcriber.records.line import Line, LineNote
from transcriber.records.written import Meter

MAKERS = ("cells", "phrases", "weight", "hand")
SPLIT_SEEDS = {"fit": 5000, "report": 7000}
_SEEDS_EACH = 100
# From 7000 on are the seeds of "free pickup, quick" in the fit split: the same rhythms behind other pickups.
_MOVED_SEEDS = {("report", "straight"): 9500}
FOUR = Meter(4, 4)
_TECHNIQUE = 0.1
_MOST_HAND_WRITTEN = 5

_SYNCOPATED = (
    ((E, Q, E), 5),
    ((E, Q, Q, E), 3),
    ((S, E, S), 4),
    ((-E, E), 3),
    ((Q + E, E), 3),
    ((S, S, E), 2),
    ((E, E), 4),
    ((Q,), 2),
)
_SWUNG = (
    ((E, E), 8),
    ((Q,), 3),
    ((-E, E), 2),
    ((Q + E, E), 2),
    ((E, Q, E), 2),
    ((T, T, T), 1),
    ((2 * Q,), 1),
)
_CELLS = {
    **CELLS,
    "syncopated": _SYNCOPATED,
    "swung": _SWUNG,
    "waltz": CELLS["straight"],
    "twelve_eight": CELLS["six_eight"],
}

# Bars of 4/4 unless the name says otherwise; figures as in `rhythm_lines`.
PHRASES = {
    "straight": ("e e e e q e e", "q. e e e q", "e e e s s e e q", "h e e q", "s s s s e e q q", "q q h",
                 "e. s e e s s e q", "re e e e e e q", "q s s e e s s q", "e s s e s s q rq"),
    "triplets": ("e3*3 q e3*3 q", "e e e3*3 h", "q e3*3 e e q", "e3*3 e3*3 q e e", "s s s s e3*3 h",
                 "e e q e3*3 q", "q e e e3*3 q"),
    "fast": ("s3*6 s*4 q q", "s3*3 s s e e h", "q s3*6 e s s q", "e s3*3 q s s s s q", "s*4 s3*6 q q",
             "e e s3*6 h", "s3*3 s s s3*3 e h", "q e s3*3 e e q"),
    "syncopated": ("e q e+e q e", "re q e+e e q", "e. s+e e e q e+q", "re e+e e q e e", "e q q q e",
                   "s e s+e e e. s+q", "q. e+q e e", "e e+q e e+q e"),
    "swung": ("e e e e q e e", "q. e e e q", "re e e e q q", "e e q e e q", "h e e q", "e3*3 e e q q",
              "e e e e e e q", "q e e+q e e"),
    "waltz": ("h q", "q e e q", "e e e e e e", "q q e e", "h.", "q. e q", "e e q q", "re e e e q"),
    "six_eight": ("e e e e e e", "q e q e", "q. q e", "e e e q.", "q e e e e", "e s s e q e", "q. q."),
    "twelve_eight": ("e e e e e e q. q.", "q e q e q. q.", "q e e e e q e q.", "q. q e e e e q.",
                     "h. q e e e e", "e e e s s s s s s q. q.", "rq e e e e q. q e"),
}  # fmt: skip
_LEAD_INS = {
    Fraction(1, 2): ("e", "s s"),
    Fraction(3, 4): ("s s s",),
    Fraction(1): ("e e", "q", "s s e"),
    Fraction(3, 2): ("e e e", "e q"),
    Fraction(2): ("e e e e", "q e e"),
}


@dataclass(frozen=True)
class BenchCondition:
    """What is asked of the line and of the player.

    Attributes
    ----------
    kind : str
        Key of the tables of cells and of `PHRASES`, or of `IDIOMS`: then meter and swing are the line's own.
    tempo : tuple of int
        Slowest and fastest, in tapped beats a minute.
    meter : Meter
    swing : float or None
    pickup : bool
        Whether the line begins 1/2 to 2 beats before bar 1; else as the maker likes.
    how : Conditions
        How it is played.
    """

    kind: str
    tempo: tuple[int, int] = (60, 150)
    meter: Meter = FOUR
    swing: float | None = None
    pickup: bool = False
    how: Conditions = field(default=Conditions())


@dataclass(frozen=True)
class BenchLine:
    """A line, who made it, and the condition it is played under."""

    line: Line
    maker: str
    condition: str
    seed: int

    @property
    def rhythm(self) -> RhythmLine:
        """Its starts and lengths."""
        notes = self.line.notes
        return RhythmLine(
            self.line.title,
            self.line.tempo_bpm,
            self.line.meter,
            tuple(note.start for note in notes),
            tuple(note.length for note in notes),
            self.line.swing,
        )


BENCH = {
    "straight": BenchCondition("straight"),
    "mixed with triplets": BenchCondition("triplets", (60, 120)),
    "sixteenth triplets": BenchCondition("fast", (60, 110)),
    "pickup": BenchCondition("straight", (66, 140), pickup=True),
    "syncopated": BenchCondition("syncopated", (70, 140)),
    "swing 1.5": BenchCondition("swung", (100, 180), swing=1.5),
    "swing 2.0": BenchCondition("swung", (80, 160), swing=2.0),
    "swing 2.7": BenchCondition("swung", (70, 120), swing=2.7),
    "drift 5 %": BenchCondition("straight", how=Conditions(drift=0.05)),
    "rubato ending": BenchCondition("straight", how=Conditions(rubato=1.7)),
    "jitter 5 ms": BenchCondition("triplets", (60, 120), how=Conditions(jitter_s=0.005)),
    "jitter 10 ms": BenchCondition("triplets", (60, 120), how=Conditions(jitter_s=0.010)),
    "jitter 15 ms": BenchCondition("triplets", (60, 120), how=Conditions(jitter_s=0.015)),
    "jitter 20 ms": BenchCondition("triplets", (60, 120), how=Conditions(jitter_s=0.020)),
    "20 ms behind": BenchCondition("straight", how=Conditions(behind_s=0.020, count_in=4)),
    "count-in": BenchCondition("straight", pickup=True, how=Conditions(count_in=4)),
    "3/4": BenchCondition("waltz", (80, 150), Meter(3, 4)),
    "6/8": BenchCondition("six_eight", (46, 96), Meter(6, 8)),
    "12/8": BenchCondition("twelve_eight", (46, 90), Meter(12, 8)),
    "free pickup, slow": BenchCondition("straight", (66, 140), pickup=True, how=Conditions(free_start=1.45)),
    "free pickup, quick": BenchCondition("straight", (66, 140), pickup=True, how=Conditions(free_start=0.7)),
    **{idiom: BenchCondition(idiom) for idiom in IDIOMS},
}


def first_seed(name: str, split: str) -> int:
    """Seed of a condition's first line; the next hundred are its own."""
    usual = SPLIT_SEEDS[split] + _SEEDS_EACH * list(BENCH).index(name)
    return _MOVED_SEEDS.get((split, name), usual)


def bench_lines(name: str, split: str, count: int, makers: tuple[str, ...] = MAKERS) -> list[BenchLine]:
    """Lines of a condition: `count` of each generator, and the hand-written ones that fit.

    Parameters
    ----------
    name : str
        Key of `BENCH`.
    split : str
        ``fit`` or ``report``.
    count : int
    makers : tuple of str
    """
    asked = BENCH[name]
    base = first_seed(name, split)
    if name in IDIOMS:
        lines = idiom_lines(name) if split == "report" and "hand" in makers else ()
        return [
            BenchLine(_with_notes(line, "hand", base + i), "hand", name, base + i)
            for i, line in enumerate(lines)
        ]
    made = []
    for maker in makers:
        if maker == "hand":
            lines = [line for line in _hand_written(split) if _fits(line, asked)][:_MOST_HAND_WRITTEN]
            made += [
                BenchLine(_with_notes(line, maker, base + i), maker, name, base + i)
                for i, line in enumerate(lines)
            ]
        elif maker != "weight" or (asked.meter == FOUR and asked.kind in ("straight", "triplets", "fast")):
            made += [BenchLine(_compose(asked, maker, base + i), maker, name, base + i) for i in range(count)]
    return made


def _hand_written(split: str) -> Iterator[RhythmLine]:
    yield from written_lines()[0 if split == "fit" else 1 :: 2]


def _fits(line: RhythmLine, asked: BenchCondition) -> bool:
    finest = max(start.denominator for start in line.starts)
    triplets = any(start.denominator % 3 == 0 for start in line.starts)
    if line.meter != asked.meter or (line.swing is None) != (asked.swing is None):
        return False
    if asked.pickup and line.starts[0] >= 0:
        return False
    kinds = {
        "straight": not triplets,
        "syncopated": not triplets and "yncop" in line.title + "yncop" * ("off" in line.title.lower()),
        "triplets": triplets and finest == 3,
        "fast": triplets and finest >= 6,
    }
    return kinds.get(asked.kind, True)


def _compose(asked: BenchCondition, maker: str, seed: int) -> Line:
    rng = np.random.default_rng([seed, MAKERS.index(maker)])
    tempo = float(rng.integers(asked.tempo[0], asked.tempo[1] + 1))
    count = int(rng.integers(20, 44))
    if maker == "cells":
        cells = _CELLS[asked.kind]
        slots = [slot for slot in cell_rhythm(cells, count, rng, asked.meter) if slot.sounded]
    elif maker == "phrases":
        slots = _phrases(PHRASES[asked.kind], count, asked.meter, rng)
    else:
        slots = [slot for slot in weighted_rhythm(asked.kind, count, rng) if slot.sounded]
    if asked.pickup:
        slots = _with_pickup(slots, rng)
    last = slots[-1]
    slots[-1] = Slot(last.start, max(last.length, Fraction(asked.meter.tap)))
    return _line(f"{asked.kind} {maker} {seed}", slots, asked.meter, tempo, asked.swing, maker, rng)


def _phrases(table: tuple[str, ...], count: int, meter: Meter, rng: np.random.Generator) -> list[Slot]:
    pool = [str(bar) for bar in rng.permutation(table)[:4]]
    starts: list[Fraction] = []
    lengths: list[Fraction] = []
    bars = 0
    while len(starts) < count:
        bar = parse("", 100.0, str(meter), "0", None, pool[int(rng.integers(len(pool)))])
        starts += [start + bars * meter.beats for start in bar.starts]
        lengths += bar.lengths
        bars += 1
    starts.append(Fraction(bars * meter.beats))
    lengths.append(Fraction(2 * meter.tap))
    return [Slot(start, length) for start, length in zip(starts, lengths, strict=True)]


def _with_pickup(slots: list[Slot], rng: np.random.Generator) -> list[Slot]:
    """Put a pickup before bar 1, which begins on its first beat."""
    sizes = list(_LEAD_INS)
    size = sizes[int(rng.integers(len(sizes)))]
    texts = _LEAD_INS[size]
    lead = parse("", 100.0, "4/4", str(size), None, texts[int(rng.integers(len(texts)))])
    body = [slot for slot in slots if slot.start >= 0]
    return [Slot(start, length) for start, length in zip(lead.starts, lead.lengths, strict=True)] + body


def _with_notes(line: RhythmLine, maker: str, seed: int) -> Line:
    rng = np.random.default_rng([seed, MAKERS.index(maker)])
    slots = [Slot(start, length) for start, length in zip(line.starts, line.lengths, strict=True)]
    return _line(line.title, slots, line.meter, line.tempo_bpm, line.swing, maker, rng)


def _line(
    title: str,
    slots: list[Slot],
    meter: Meter,
    tempo: float,
    swing: float | None,
    maker: str,
    rng: np.random.Generator,
) -> Line:
    """Give the slots pitches, velocities and techniques."""
    style = ("box", "shift", "three_a_string", "open")[int(rng.integers(4))]
    steps = (walk if maker == "cells" else develop)(choose_shapes(style, rng), slots, rng)
    centre, stress = float(rng.uniform(75, 100)), float(rng.uniform(0, 8))
    notes = []
    for slot, step in zip(slots, steps, strict=False):
        accent = stress if slot.start % meter.tap == 0 else 0.0
        velocity = int(np.clip(centre + accent + rng.normal(0, 5), 25, 127))
        notes.append(LineNote(slot.start, slot.length, step.string, step.fret, velocity))
    beats_a_minute = int(tempo * meter.tap)
    return Line(title, GUITAR, meter, tempo, decorate(notes, beats_a_minute, _TECHNIQUE, rng), swing)
