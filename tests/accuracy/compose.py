"""Lines in the idiom, made up by seeded rules, with the fingering a player would use.

Two generators written independently of one another: `walk` (cells of rhythm, a walk along shapes that turns
and leaps) and `develop` (a motif by metric weight, repeated, moved along the shape and varied). Each
line belongs to one of `STYLES` of fingering and one of `CONDITIONS`.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from tests.accuracy.decorate import decorate
from tests.accuracy.necks import (
    BLUES,
    DORIAN,
    GUITAR,
    MAJOR,
    MAJOR_PENTATONIC,
    MINOR_PENTATONIC,
    MIXOLYDIAN,
    NATURAL_MINOR,
    OPEN_KEYS,
    Shape,
    along_strings,
    box,
    open_position,
    per_string,
)
from tests.accuracy.rhythms import CELLS, Slot, cell_rhythm, weighted_rhythm
from transcriber.records.line import Line, LineNote
from transcriber.records.written import Meter

STYLES = ("box", "shift", "three_a_string", "open")
FOUR_FOUR = Meter(4, 4)
LONGEST_NOTE_S = 1.3  # the recorded notes are cut at 1.5 s
PLAIN_LENGTHS = tuple(Fraction(n, 4) for n in (2, 3, 4, 6, 8, 12))


@dataclass(frozen=True)
class Condition:
    """What is asked of the player and done to the sound.

    Attributes
    ----------
    rhythm : str
        Key of `rhythms.CELLS`.
    tempo : tuple of int
        Slowest and fastest, in quarter notes a minute.
    technique : float
        How readily a technique is used where one is possible, 0 to 1.
    velocity : tuple of int
        Lowest and highest centre of the dynamics.
    effects : tuple of str
        Names understood by `splice.splice`.
    meter : Meter
        Only `walk` writes other meters than 4/4.
    """

    rhythm: str
    tempo: tuple[int, int]
    technique: float
    velocity: tuple[int, int] = (75, 100)
    effects: tuple[str, ...] = ()
    meter: Meter = FOUR_FOUR


CONDITIONS: dict[str, Condition] = {
    "straight": Condition("straight", (60, 150), 0.0),
    "triplets": Condition("triplets", (60, 110), 0.1),
    "techniques": Condition("straight", (60, 110), 0.5),
    "driven": Condition("straight", (70, 130), 0.25, effects=("drive",)),
    "noisy": Condition("straight", (70, 130), 0.15, effects=("noise", "hum")),
    "detuned": Condition("straight", (70, 130), 0.15, effects=("detune",)),
    "fast": Condition("fast", (95, 130), 0.2),
    "dynamics": Condition("straight", (60, 130), 0.15, velocity=(38, 118)),
    "waltz": Condition("straight", (80, 140), 0.15, meter=Meter(3, 4)),
    "six_eight": Condition("six_eight", (50, 90), 0.15, meter=Meter(6, 8)),
}


@dataclass(frozen=True)
class Composed:
    """A line with what a player would be asked about it.

    Attributes
    ----------
    line : Line
    condition, style, maker : str
        Key of `CONDITIONS`; one of `STYLES`; ``walk``, ``develop`` or ``hand``.
    position : int
        Fret of the index finger at the start, 0 in open position.
    seed : int
    """

    line: Line
    condition: str
    style: str
    maker: str
    position: int
    seed: int


@dataclass(frozen=True)
class Step:
    """One note before rhythm: where it is on the neck, and the hand's fret."""

    string: int
    fret: int
    hand: int


def compose(condition: str, index: int, seed: int) -> Composed:
    """Write line number `index` of a condition.

    Parameters
    ----------
    condition : str
        Key of `CONDITIONS`.
    index : int
        0 and up: styles and makers take turns.
    seed : int
        Base of the random numbers; the same three arguments give the same line.
    """
    asked = CONDITIONS[condition]
    number = list(CONDITIONS).index(condition)
    rng = np.random.default_rng([seed, number, index])
    style = STYLES[(index + number) % 4]
    maker = ("walk", "develop")[(index + index // 4) % 2] if asked.meter == FOUR_FOUR else "walk"
    tempo = int(rng.integers(asked.tempo[0], asked.tempo[1] + 1))
    beats_a_minute = tempo * asked.meter.tap
    count = int(rng.integers(16, 41))
    shapes = choose_shapes(style, rng)
    if maker == "walk":
        slots = cell_rhythm(CELLS[asked.rhythm], count, rng, asked.meter)
        steps = walk(shapes, slots, rng)
    else:
        slots = weighted_rhythm(asked.rhythm, count, rng)
        steps = develop(shapes, slots, rng)
    sounded = [slot for slot in slots if slot.sounded][:40]
    notes = [
        LineNote(slot.start, length, step.string, step.fret, velocity)
        for slot, step, length, velocity in zip(
            sounded, steps, _lengths(sounded, beats_a_minute), _velocities(sounded, asked, rng), strict=False
        )
    ]
    line = Line(
        f"{condition} {index} ({style}, {maker})",
        GUITAR,
        asked.meter,
        float(tempo),
        decorate(notes, beats_a_minute, asked.technique, rng),
    )
    return Composed(line, condition, style, maker, steps[0].hand, seed)


def choose_shapes(style: str, rng: np.random.Generator) -> list[Shape]:
    """Shapes a line of this style moves through, in the order it does."""
    tonic = 40 + int(rng.integers(12))
    pentatonic = (MINOR_PENTATONIC, MINOR_PENTATONIC, MAJOR_PENTATONIC, BLUES)[rng.integers(4)]
    diatonic = (NATURAL_MINOR, DORIAN, MAJOR, MIXOLYDIAN)[rng.integers(4)]
    if style == "open":
        return [open_position(*OPEN_KEYS[rng.integers(len(OPEN_KEYS))])]
    if style == "three_a_string":
        start = int(rng.integers(1, 11))
        low, high = per_string(tonic, diatonic, start, 3), per_string(tonic, diatonic, start + 2, 3)
        return [low] if rng.random() < 0.6 else [low, high]
    if style == "shift":
        return _shapes_up_the_neck(tonic, diatonic, rng)
    if rng.random() < 0.3:
        return [box(tonic, diatonic, int(rng.integers(1, 13)))]
    tonic_fret = (tonic - 40) if tonic > 41 else tonic - 28
    if pentatonic == BLUES:
        return [box(tonic, BLUES, tonic_fret)]
    return [per_string(tonic, pentatonic, tonic_fret, 2)]


def _shapes_up_the_neck(tonic: int, diatonic: tuple[int, ...], rng: np.random.Generator) -> list[Shape]:
    if rng.random() < 0.35:
        strings = ((1, 2), (2, 3), (3, 4), (1, 2, 3))[rng.integers(4)]
        return [along_strings(tonic, diatonic, strings, int(rng.integers(2, 8)))]
    starts = np.cumsum([int(rng.integers(1, 6)), 3, 3, 2])
    climb = [per_string(tonic, MINOR_PENTATONIC, int(fret), 2) for fret in starts]
    return climb if rng.random() < 0.5 else climb[::-1]


def walk(shapes: list[Shape], slots: list[Slot], rng: np.random.Generator) -> list[Step]:
    """Walk along the shapes: runs, turns, repeated notes, leaps, shifts of the hand."""
    count = sum(slot.sounded for slot in slots)
    stay = max(4, count // (len(shapes) + 1))
    shape_at = 0
    shape = shapes[0]
    index = int(rng.integers(len(shape.rungs) // 2, len(shape.rungs)))
    direction = -1 if rng.random() < 0.6 else 1
    steps = []
    for number in range(count):
        steps.append(Step(*shape.rungs[index], shape.index_finger(index)))
        if len(shapes) > 1 and number % stay == stay - 1:
            shape_at = min(shape_at + 1, len(shapes) - 1)
            pitch = shape.pitch(index)
            shape = shapes[shape_at]
            index = shape.nearest(pitch)
        chance = rng.random()
        if chance < 0.12:
            continue
        if chance < 0.27:
            direction = -direction
        size = 1 if rng.random() < 0.8 else int(rng.integers(2, 5))
        if not 0 <= index + direction * size < len(shape.rungs):
            direction = -direction
        index = int(np.clip(index + direction * size, 0, len(shape.rungs) - 1))
    return steps


def develop(shapes: list[Shape], slots: list[Slot], rng: np.random.Generator) -> list[Step]:
    """State a motif of intervals, repeat it higher or lower, answer it, now and then in another shape."""
    count = sum(slot.sounded for slot in slots)
    size = int(rng.integers(4, 8))
    motif = rng.choice([-2, -1, -1, 0, 1, 1, 2, 3], size)
    steps: list[Step] = []
    shape = shapes[0]
    base = int(rng.integers(len(shape.rungs) // 3, 2 * len(shape.rungs) // 3 + 1))
    shift_every = max(1, count // size // len(shapes))
    for statement in range(-(-count // size)):
        if statement and len(shapes) > 1 and statement % shift_every == 0:
            pitch = shape.pitch(base)
            shape = shapes[min(statement // shift_every, len(shapes) - 1)]
            base = shape.nearest(pitch)
        index = base
        for interval in motif if rng.random() < 0.8 else -motif:
            index += int(interval)
            if not 0 <= index < len(shape.rungs):
                index -= 2 * int(interval)
            index = int(np.clip(index, 0, len(shape.rungs) - 1))
            steps.append(Step(*shape.rungs[index], shape.index_finger(index)))
        base = int(np.clip(base + rng.integers(-2, 3), 2, len(shape.rungs) - 3))
    return steps


def _lengths(slots: list[Slot], beats_a_minute: int) -> list[Fraction]:
    """Written lengths: the last note is held, and what the recorded notes could not last is cut short."""
    longest = LONGEST_NOTE_S * beats_a_minute / 60.0
    held = [slot.length for slot in slots[:-1]] + [max(slots[-1].length, Fraction(1))]
    cut = max(length for length in PLAIN_LENGTHS if length <= longest)
    return [length if length <= longest else cut for length in held]


def _velocities(slots: list[Slot], asked: Condition, rng: np.random.Generator) -> list[int]:
    low, high = asked.velocity
    centre = float(rng.uniform(low, high))
    velocities = []
    for slot in slots:
        if high - low > 40 and rng.random() < 0.15:
            centre = float(rng.uniform(low, high))
        accent = 6 if slot.start.denominator == 1 else 0
        velocities.append(int(np.clip(centre + accent + rng.normal(0, 5), 25, 127)))
    return velocities
