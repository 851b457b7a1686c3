"""An attempt laid out in time: which note is played when, with stops, restarts, repeats and skips."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from transcriber.practice.wanted import Wanted
from transcriber.records.line import Line, LineNote

LEAD_S = 0.5
WAYS = ("through", "restart", "repeat", "skip")
SLURS = ("hammer_on", "pull_off")
BENDS = ("bend", "pre_bend")
JOINED = (*SLURS, "slide", "grace")


@dataclass
class Stroke:
    """One note as it is to be played: seconds, and which wanted note it stands for (None: an extra)."""

    wanted: int | None
    ideal_s: float
    onset_s: float
    end_s: float
    note: LineNote
    detune: float = 0.0
    rings: bool = False
    rises_s: float | None = None


@dataclass(frozen=True)
class Journey:
    """The way that an attempt takes through the line.

    Attributes
    ----------
    strokes : list of Stroke
    restarts : int
        How often the line is gone back in.
    stops : tuple of int
        Wanted notes before which the player halts.
    skipped : tuple of int
        Wanted notes of a passage that is left out.
    """

    strokes: list[Stroke]
    restarts: int = 0
    stops: tuple[int, ...] = ()
    skipped: tuple[int, ...] = field(default=())


def has(note: LineNote, *kinds: str) -> bool:
    """Whether a note has a technique of one of these kinds."""
    return any(each.kind in kinds for each in note.techniques)


def journey(
    line: Line, wanted: Sequence[Wanted], beat_s: float, rng: np.random.Generator, lead_s: float = LEAD_S
) -> Journey:
    """Choose a way through the line and lay it out at a steady, slightly drifting tempo, after a lead."""
    way = WAYS[int(rng.integers(len(WAYS)))] if len(wanted) > 14 else "through"
    parts, pause_s, skipped = _parts(way, wanted, rng)
    stop = int(rng.integers(4, len(wanted))) if rng.random() < 0.35 else -1
    if stop not in parts[-1] or wanted[stop].note.has(*JOINED) or _begins(parts, stop):
        stop = -1
    strokes: list[Stroke] = []
    clock, drift = lead_s, float(rng.uniform(-0.03, 0.03))
    for number, part in enumerate(parts):
        first = wanted[part[0]].at
        for n in part:
            if n == stop and number + 1 == len(parts):
                clock += float(rng.uniform(0.8, 2.0))
            beats = wanted[n].at - first
            due = clock + beat_s * beats * (1.0 + drift * beats / 60.0)
            # Notes of a line are joined; before a rest one is damped a little early.
            rest = n + 1 >= len(wanted) or wanted[n + 1].at > wanted[n].at + wanted[n].length + 1e-6
            end = due + max((0.96 if rest else 1.0) * beat_s * wanted[n].length, 0.06)
            strokes.append(Stroke(n, due, due, end, line.notes[n]))
        clock = due + beat_s * max(wanted[n].length, 0.1) + pause_s
    return Journey(strokes, 0 if skipped else len(parts) - 1, (stop,) if stop >= 0 else (), skipped)


def _parts(
    way: str, wanted: Sequence[Wanted], rng: np.random.Generator
) -> tuple[list[list[int]], float, tuple[int, ...]]:
    """Wanted notes in the order of playing, in parts; the pause between them; what is skipped."""
    count = len(wanted)
    opens = [n for n in range(count) if wanted[n].opens and not wanted[n].note.has(*JOINED)]
    if way == "restart":
        broke = int(rng.integers(5, count - 4))
        near = [n for n in opens if max(0, broke - 14) <= n < broke - 1]
        if near:
            again = near[int(rng.integers(len(near)))]
            return [list(range(broke)), list(range(again, count))], float(rng.uniform(0.8, 1.8)), ()
    if way == "repeat":
        spans = [(a, b) for a in opens for b in opens if 5 <= b - a <= 14]
        if spans:
            first, last = spans[int(rng.integers(len(spans)))]
            return [list(range(last)), list(range(first, count))], 0.0, ()
    if way == "skip":
        spans = [(a, b) for a in opens for b in opens if 4 <= b - a <= 12 and a >= 4 and b <= count - 4]
        if spans:
            first, last = spans[int(rng.integers(len(spans)))]
            return [list(range(first)), list(range(last, count))], 0.0, tuple(range(first, last))
    return [list(range(count))], 0.0, ()


def _begins(parts: Sequence[Sequence[int]], note: int) -> bool:
    return any(part[0] == note for part in parts)
