"""Rhythms for test lines: cells of a beat, and a second way that places attacks by metric weight."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np

from transcriber.records.written import Meter

Q, E, S, T, X = Fraction(1), Fraction(1, 2), Fraction(1, 4), Fraction(1, 3), Fraction(1, 6)

Cells = tuple[tuple[tuple[Fraction, ...], int], ...]


@dataclass(frozen=True)
class Slot:
    """A stretch of time that is sounded or rested through, in beats of the denominator."""

    start: Fraction
    length: Fraction
    sounded: bool = True


# (cell, weight); a negative figure is a rest. A cell fills one, two or three beats.
STRAIGHT_CELLS = (
    ((Q,), 3),
    ((E, E), 6),
    ((S, S, S, S), 4),
    ((E, S, S), 3),
    ((S, S, E), 3),
    ((S, E, S), 2),
    ((E + S, S), 2),
    ((S, E + S), 1),
    ((-E, E), 2),
    ((-S, S, S, S), 1),
    ((-S, S, E), 1),
    ((-Q,), 1),
    ((Q + E, E), 2),
    ((E, Q, E), 2),
    ((2 * Q,), 1),
    ((E, Q, Q, E), 1),
)
TRIPLET_CELLS = (
    ((T, T, T), 5),
    ((2 * T, T), 3),
    ((-T, T, T), 1),
    ((X,) * 6, 3),
    ((X, X, X, S, S), 4),
    ((S, S, X, X, X), 2),
    ((E, X, X, X), 3),
    ((X, X, X, E), 3),
    ((S, S, S, S), 2),
    ((E, E), 2),
    ((Q,), 2),
    ((2 * Q,), 1),
    ((-E, E), 1),
)
FAST_CELLS = (
    ((X,) * 6, 6),
    ((X, X, X, S, S), 4),
    ((S, S, S, S), 3),
    ((X, X, X, E), 3),
    ((E, X, X, X), 2),
    ((Q,), 2),
    ((-E, E), 1),
)
# In eighths, the beats of 6/8; a cell fills one or two dotted quarters.
SIX_EIGHT_CELLS = (
    ((Q, Q, Q), 6),
    ((2 * Q, Q), 5),
    ((Q, 2 * Q), 2),
    ((Q, E, E, Q), 3),
    ((E, E, E, E, E, E), 2),
    ((E + Q, E, Q), 2),
    ((3 * Q,), 1),
    ((-Q, Q, Q), 1),
    ((-2 * Q, Q), 1),
    ((2 * Q, 2 * Q, Q, Q), 1),
)
CELLS = {
    "straight": STRAIGHT_CELLS,
    "triplets": TRIPLET_CELLS,
    "fast": FAST_CELLS,
    "six_eight": SIX_EIGHT_CELLS,
}
PICKUPS = (Fraction(0), Fraction(0), Fraction(0), -E, -Q, -Fraction(3, 2), -S)
TIE_OVER_BAR = 0.2

# The second way: chance that an attack falls on each sixteenth of a 4/4 bar.
ATTACK_WEIGHT = (0.9, 0.25, 0.7, 0.3, 0.75, 0.2, 0.65, 0.35, 0.8, 0.25, 0.7, 0.3, 0.7, 0.25, 0.65, 0.4)
TRIPLET_BEATS = ((T, T, T), (2 * T, T), (X, X, X, E), (X, X, X, S, S))


def cell_rhythm(cells: Cells, count: int, rng: np.random.Generator, meter: Meter) -> list[Slot]:
    """String cells together until `count` notes sound; tie some over the bar line."""
    weights = np.array([weight for _, weight in cells], float)
    at = PICKUPS[rng.integers(len(PICKUPS))] * (2 if meter.compound else 1)
    slots = [Slot(at + E * i, min(E, -at - E * i)) for i in range(int(np.ceil(-at / E)))]
    at = Fraction(0)
    while sum(slot.sounded for slot in slots) < count:
        cell = cells[rng.choice(len(cells), p=weights / weights.sum())][0]
        if at % meter.beats + sum(abs(figure) for figure in cell) > meter.beats:
            continue
        for figure in cell:
            slots.append(Slot(at, abs(figure), figure > 0))
            at += abs(figure)
        if at % meter.beats == 0 and rng.random() < TIE_OVER_BAR and slots[-1].sounded:
            held, rest_of_beat = (Q, 2 * Q) if meter.compound else (E, E)
            slots[-1] = Slot(slots[-1].start, slots[-1].length + held)
            slots.append(Slot(at + held, rest_of_beat))
            at += held + rest_of_beat
    return slots


def weighted_rhythm(kind: str, count: int, rng: np.random.Generator) -> list[Slot]:
    """Write a two-bar motif by metric weight, repeat it with a varied ending, until `count` notes sound.

    Each note lasts until the next attack, or is cut to an eighth or a quarter and followed by a rest.
    """
    motif = _motif(kind, rng)
    slots: list[Slot] = []
    bar = 0
    while len(slots) < count:
        if bar and rng.random() < 0.4:
            fresh = _motif(kind, rng)
            ending = [slot for slot in fresh if slot.start >= 4]
            until = ending[0].start if ending else Fraction(8)
            motif = [replace(s, length=min(s.length, until - s.start)) for s in motif if s.start < 4] + ending
        slots += [Slot(slot.start + 4 * bar, slot.length) for slot in motif]
        bar += 2
    return slots


def _motif(kind: str, rng: np.random.Generator) -> list[Slot]:
    attacks: list[Fraction] = []
    triplet_share = {"straight": 0.0, "triplets": 0.45, "fast": 0.6}[kind]
    density = rng.uniform(0.6, 1.15)
    for beat in range(8):
        if rng.random() < triplet_share:
            at = Fraction(beat)
            for figure in TRIPLET_BEATS[rng.integers(len(TRIPLET_BEATS))]:
                attacks.append(at)
                at += figure
            continue
        for part in range(4):
            weight = ATTACK_WEIGHT[(4 * beat + part) % 16]
            if rng.random() < weight * density:
                attacks.append(beat + Fraction(part, 4))
    attacks = attacks or [Fraction(0)]
    ends = [*attacks[1:], Fraction(8)]
    slots = []
    for start, end in zip(attacks, ends, strict=True):
        length = end - start
        if length > E and rng.random() < 0.3:
            length = E if length <= Q else Q
        slots.append(Slot(start, length))
    return slots
