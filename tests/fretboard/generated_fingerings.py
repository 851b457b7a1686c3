"""Lines made up by a seeded generator that walks shapes on the neck, so that the fingering is known.

Kinds are those of `fingered.KINDS`. Shapes follow common practice: two notes a string of a pentatonic scale,
three notes a string of a diatonic one, a scale at the nut with open strings, one string, octave shapes.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from tests.fretboard.fingered import GUITAR, KINDS, FingeredLine, FingeredNote
from transcriber.records.technique import Technique

Place = tuple[int, int]

PENTATONICS = ((0, 3, 5, 7, 10), (0, 2, 4, 7, 9))
DIATONICS = ((0, 2, 4, 5, 7, 9, 11), (0, 2, 3, 5, 7, 9, 10), (0, 2, 3, 5, 7, 8, 10), (0, 2, 4, 5, 7, 9, 10))
OPEN_TONICS = (0, 2, 4, 7, 9)  # C D E G A lie well at the nut
HALF_SEEDS = {"fit": 0, "report": 1_000_000}


@dataclass
class Pen:
    """Writes notes one after another at a steady unit of time."""

    rng: np.random.Generator
    unit_s: float
    at_s: float = 0.0
    notes: list[FingeredNote] = field(default_factory=list)

    def play(self, place: Place, units: float = 1.0, techniques: tuple[Technique, ...] = ()) -> None:
        length = units * self.unit_s
        sounded = length * self.rng.uniform(0.9, 1.0)
        onset = self.at_s + self.rng.normal(0, 0.004)
        self.notes.append(FingeredNote(onset, onset + sounded, *place, techniques))
        self.at_s += length

    def rest(self, units: float) -> None:
        self.at_s += units * self.unit_s


def generate(kind: str, half: str, count: int) -> list[FingeredLine]:
    """Compose `count` lines of a kind; halves never share a seed."""
    lines = []
    for number in range(count):
        seed = HALF_SEEDS[half] + 1000 * KINDS.index(kind) + number
        rng = np.random.default_rng(seed)
        pen = Pen(rng, unit_s=60 / rng.uniform(70, 150) / rng.choice([2, 3, 4]))
        position = _COMPOSERS[kind](pen, rng)
        lines.append(FingeredLine(f"{kind} {seed}", kind, position, tuple(pen.notes)))
    return lines


def per_string(pitch_classes: set[int], lowest_fret: int, notes_a_string: int) -> list[Place]:
    """Ladder of a scale from string 6 at or above a fret, so many notes a string, in ascending pitch."""
    pitch = GUITAR.open_midi(6) + lowest_fret
    ladder = []
    for string in range(6, 0, -1):
        while len([place for place in ladder if place[0] == string]) < notes_a_string:
            if pitch % 12 in pitch_classes:
                ladder.append((string, pitch - GUITAR.open_midi(string)))
            pitch += 1
    return ladder


def at_nut(pitch_classes: set[int]) -> list[Place]:
    """Ladder of a scale in open position: every pitch at its lowest fret."""
    found = []
    for pitch in range(40, 69):
        if pitch % 12 in pitch_classes:
            string = next(s for s in range(1, 7) if GUITAR.open_midi(s) <= pitch)
            found.append((string, pitch - GUITAR.open_midi(string)))
    return found


def _scale(rng: np.random.Generator, scales: tuple[tuple[int, ...], ...]) -> set[int]:
    tonic = int(rng.integers(12))
    return {(tonic + step) % 12 for step in scales[int(rng.integers(len(scales)))]}


def _index_fret(ladder: list[Place], place: Place) -> int:
    """Fret of the index finger at a place of a shape: the lowest of the shape on its string."""
    return min(fret for string, fret in ladder if string == place[0])


def _rungs(rng: np.random.Generator, size: int, count: int, start: int) -> list[int]:
    """Walk a ladder: mostly by step and onwards, with turns, leaps and sequences of three or four."""
    rungs = [start]
    way = int(rng.choice([-1, 1]))
    while len(rungs) < count:
        at = rungs[-1]
        if rng.random() < 0.12:
            group = int(rng.choice([3, 4]))
            for first in range(3):
                rungs += [at + way * (first + step) for step in range(group)]
        elif rng.random() < 0.15:
            rungs.append(at + int(rng.choice([-3, -2, 2, 3])))
        else:
            way = -way if rng.random() < 0.2 else way
            rungs.append(at + way)
        if not 0 <= rungs[-1] < size:
            way = -way
        rungs = [_turned_back(rung, size) for rung in rungs]
    return rungs[:count]


def _turned_back(rung: int, size: int) -> int:
    rung = abs(rung)
    return rung if rung < size else 2 * (size - 1) - rung


def _slur(rng: np.random.Generator, before: Place | None, place: Place, ease: float) -> tuple[Technique, ...]:
    if before is None or before[0] != place[0] or before[1] == place[1] or rng.random() > ease:
        return ()
    return (Technique("hammer_on" if place[1] > before[1] else "pull_off"),)


def _play_rungs(
    pen: Pen, rng: np.random.Generator, ladder: list[Place], rungs: list[int], bends: bool
) -> None:
    before: Place | None = None
    ease = float(rng.choice([0.0, 0.3, 0.6]))
    for rung in rungs:
        place = ladder[rung]
        units = float(rng.choice([1, 1, 1, 1, 2, 4]))
        upper = place[1] > _index_fret(ladder, place)
        if bends and place[0] <= 3 and place[1] >= 5 and upper and rng.random() < 0.2:
            pen.play(place, max(units, 2), (Technique("bend", semitones=float(rng.choice([1, 2, 2]))),))
        else:
            techniques = _slur(rng, before, place, ease)
            if units == 4 and place[1] > 0 and rng.random() < 0.6:
                techniques += (Technique("vibrato"),)
            pen.play(place, units, techniques)
        before = place
        if rng.random() < 0.06:
            pen.rest(float(rng.choice([2, 4])))
            before = None


def _compose_box(pen: Pen, rng: np.random.Generator) -> int:
    if rng.random() < 0.75:
        ladder = per_string(_scale(rng, PENTATONICS), int(rng.integers(2, 14)), 2)
    else:
        ladder = _in_position(_scale(rng, DIATONICS), int(rng.integers(2, 13)))
    rungs = _rungs(rng, len(ladder), int(rng.integers(16, 40)), int(rng.integers(len(ladder))))
    _play_rungs(pen, rng, ladder, rungs, bends=True)
    return _index_fret(ladder, ladder[rungs[0]])


def _in_position(pitch_classes: set[int], position: int) -> list[Place]:
    """Ladder of a scale under one hand: four frets, reaching one fret up only for what would be left out."""
    ladder: list[Place] = []
    for string in range(6, 0, -1):
        top = position + 3
        if string > 1:
            top = max(top, position - 1 + GUITAR.open_midi(string - 1) - GUITAR.open_midi(string))
        for fret in range(position, top + 1):
            if (GUITAR.open_midi(string) + fret) % 12 in pitch_classes:
                ladder.append((string, fret))
    return ladder


def _compose_three_a_string(pen: Pen, rng: np.random.Generator) -> int:
    ladder = per_string(_scale(rng, DIATONICS), int(rng.integers(1, 11)), 3)
    first, last = sorted(rng.choice([0, 3, 6, 9, 12, 15], size=2, replace=False).tolist())
    part = list(range(int(first), int(last) + 3))
    runs = [part, part[::-1]] if rng.random() < 0.5 else [part[::-1], part]
    rungs = runs[0] + runs[1][1:]
    if rng.random() < 0.6:
        rungs += _rungs(rng, len(ladder), int(rng.integers(8, 20)), rungs[-1])
    _play_rungs(pen, rng, ladder, rungs, bends=False)
    return _index_fret(ladder, ladder[rungs[0]])


def _compose_open(pen: Pen, rng: np.random.Generator) -> int:
    tonic = int(rng.choice(OPEN_TONICS))
    steps = [*PENTATONICS, *DIATONICS[:2]][int(rng.integers(4))]
    ladder = at_nut({(tonic + step) % 12 for step in steps})
    rungs = _rungs(rng, len(ladder), int(rng.integers(16, 40)), int(rng.integers(len(ladder))))
    _play_rungs(pen, rng, ladder, rungs, bends=False)
    return 0


def _compose_one_string(pen: Pen, rng: np.random.Generator) -> int:
    string = int(rng.choice([1, 2, 3, 3, 4]))
    classes = _scale(rng, DIATONICS)
    ladder = [(string, f) for f in range(1, 18) if (GUITAR.open_midi(string) + f) % 12 in classes]
    rungs = _rungs(rng, len(ladder), int(rng.integers(12, 24)), int(rng.integers(len(ladder))))
    before: Place | None = None
    for rung in rungs:
        place = ladder[rung]
        techniques: tuple[Technique, ...] = ()
        if before is not None and before != place and rng.random() < 0.6:
            techniques = (Technique("slide", picked=False),)
        pen.play(place, float(rng.choice([1, 1, 2, 2, 4])), techniques)
        before = place
    return ladder[rungs[0]][1]


def _compose_octaves(pen: Pen, rng: np.random.Generator) -> int:
    string = int(rng.choice([6, 5, 4]))
    classes = _scale(rng, DIATONICS)
    ladder = [(string, f) for f in range(1, 13) if (GUITAR.open_midi(string) + f) % 12 in classes]
    up = 2 if string > 4 else 3
    rungs = _rungs(rng, len(ladder), int(rng.integers(6, 14)), int(rng.integers(len(ladder))))
    for rung in rungs:
        pen.play(ladder[rung], float(rng.choice([1, 2])))
        pen.play((string - 2, ladder[rung][1] + up), float(rng.choice([1, 2])))
    return ladder[rungs[0]][1]


def _compose_shifting(pen: Pen, rng: np.random.Generator) -> int:
    """Compose a line over several neighbouring boxes, changed by a slide, in passing or in a rest."""
    classes = _scale(rng, PENTATONICS)
    starts = [f for f in range(1, 15) if (GUITAR.open_midi(6) + f) % 12 in classes]
    boxes = [per_string(classes, fret, 2) for fret in starts]
    which = int(rng.integers(len(boxes)))
    rung = int(rng.integers(12))
    position = _index_fret(boxes[which], boxes[which][rung])
    for _ in range(int(rng.integers(3, 6))):
        ladder = boxes[which]
        rungs = _rungs(rng, 12, int(rng.integers(3, 9)), rung)
        _play_rungs(pen, rng, ladder, rungs, bends=True)
        way = int(rng.choice([-1, 1])) if 0 < which < len(boxes) - 1 else (1 if which == 0 else -1)
        if rng.random() < 0.15:
            pen.rest(4)
            which, rung = int(rng.integers(len(boxes))), int(rng.integers(6, 12))
            continue
        which += way
        string = ladder[rungs[-1]][0]
        # In the next box up, this string's lower note is the upper one of the box just left.
        rung = 2 * (6 - string) + (1 if way > 0 else 0)
        if boxes[which][rung] == ladder[rungs[-1]]:
            continue
        techniques = (Technique("slide", picked=False),) if rng.random() < 0.75 else ()
        pen.play(boxes[which][rung], float(rng.choice([1, 2])), techniques)
    return position


_COMPOSERS: dict[str, Callable[[Pen, np.random.Generator], int]] = {
    "box": _compose_box,
    "shifting": _compose_shifting,
    "three_a_string": _compose_three_a_string,
    "open": _compose_open,
    "one_string": _compose_one_string,
    "octaves": _compose_octaves,
}
