"""The onset patterns of one beat as tables for the search.

A pattern is a set of places in a tapped beat where notes begin. All patterns are put in a tree by their
onsets in order, so that a line can be scored note by note while every beat still gets exactly the probability
of its whole pattern. A place ("slot") has a written tick and a performed position; they differ under swing,
where the written eighth at half of the beat is played at ``ratio / (1 + ratio)`` of it while true triplets
stay where they are.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

import numpy as np
import numpy.typing as npt

from transcriber.notation.parameters import Grammar

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

IMPOSSIBLE = -1e9
# Swung sixteenths sound like triplets, which are far more common in a shuffle: they keep this share.
_SWUNG_SIXTEENTHS = 0.1


@dataclass(frozen=True)
class Vocabulary:
    """Tables over slots (s), tree nodes (n), contexts (c: class of the beat before) and feels (f).

    Attributes
    ----------
    ticks : int
        Ticks in a tapped beat.
    slot_tick : ndarray, shape (s,)
        Written tick of each slot.
    slot_swung : ndarray of bool, shape (s,)
        Whether swing moves the slot.
    eighth : ndarray of bool, shape (s,)
        Whether the slot is an eighth of the meter.
    child : ndarray, shape (n, s)
        Node reached by one more onset in the beat, -1 for none.
    continue_logp : ndarray, shape (c, n, s)
        Log probability of that step; `IMPOSSIBLE` for none.
    end_logp : ndarray, shape (c, n)
        Log probability that the beat holds no further onset.
    node_class : ndarray, shape (n,)
        Class of the pattern that ends at the node.
    roots : ndarray, shape (f,)
        Root of the tree of each feel: 0 straight, 1 swung.
    first_bonus, last_bonus : ndarray, shape (s,)
        Nats for the slot of the first and the last note of a take.
    start_context : int
        Context of the first beat; context 0 is the empty beat.
    """

    ticks: int
    slot_tick: IntArray
    slot_swung: npt.NDArray[np.bool_]
    eighth: npt.NDArray[np.bool_]
    child: IntArray
    continue_logp: FloatArray
    end_logp: FloatArray
    node_class: IntArray
    roots: IntArray
    first_bonus: FloatArray
    last_bonus: FloatArray
    start_context: int

    def positions(self, ratio: float | None) -> FloatArray:
        """Performed position in the beat, 0 to 1, of each slot at a swing ratio (None: straight)."""
        straight = self.slot_tick / self.ticks
        if ratio is None:
            return straight
        knee = ratio / (1.0 + ratio)
        warped = np.where(straight <= 0.5, 2 * knee * straight, knee + (2 * straight - 1) * (1 - knee))
        return np.where(self.slot_swung, warped, straight)


class _Tree:
    """Patterns joined by their common beginnings, with each class's share of every node."""

    def __init__(self, classes: int, slots: int) -> None:
        self.slots = slots
        self.classes = classes
        self.child: list[list[int]] = []
        self.ending: list[list[float]] = []

    def node(self) -> int:
        self.child.append([-1] * self.slots)
        self.ending.append([0.0] * self.classes)
        return len(self.child) - 1

    def add(self, root: int, slots: tuple[int, ...], kind: int, weight: float) -> None:
        at = root
        for slot in slots:
            if self.child[at][slot] < 0:
                self.child[at][slot] = self.node()
            at = self.child[at][slot]
        self.ending[at][kind] += weight


def _swings(tick: int, ticks: int) -> bool:
    """Whether swing moves a place: one of halves, quarters or eighths of the beat, but for its beginning."""
    return tick > 0 and 8 * tick % ticks == 0


def _keeps_even(pattern: tuple[int, ...], ticks: int) -> bool:
    """Whether a pattern holds triplets, sextuplets or quintuplets, which stay even under swing."""
    return any(8 * tick % ticks for tick in pattern)


def _slots_of(grammar: Grammar) -> tuple[list[tuple[int, bool]], dict[tuple[int, bool], int]]:
    ticks = sorted({tick for kind in grammar.patterns for pattern, _ in kind for tick in pattern})
    slots = [(tick, False) for tick in ticks]
    slots += [(tick, True) for tick in ticks if _swings(tick, grammar.ticks)]
    return slots, {slot: index for index, slot in enumerate(slots)}


def first_places(grammar: Grammar) -> tuple[Fraction, ...]:
    """Places in a tapped beat at which some pattern has its first note, in order, as shares of the beat."""
    ticks = {pattern[0] for kind in grammar.patterns for pattern, _ in kind if pattern}
    return tuple(Fraction(tick, grammar.ticks) for tick in sorted(ticks))


def build_vocabulary(grammar: Grammar, weight: float, swing: bool) -> Vocabulary:
    """Turn a grammar into search tables.

    Parameters
    ----------
    grammar : Grammar
    weight : float
        Exponent of every probability; below 1 it tempers the grammar against the timing.
    swing : bool
        Whether beats divide in two, and a swung feel is added; else they divide in three.
    """
    slots, index = _slots_of(grammar)
    eighths = 2 if swing else 3
    tree = _Tree(len(grammar.kinds), len(slots))
    roots = []
    for swung in (False, True) if swing else (False,):
        root = tree.node()
        roots.append(root)
        for kind, patterns in enumerate(grammar.patterns):
            for ticks, share in patterns:
                moved = swung and not _keeps_even(ticks, grammar.ticks)
                if moved and any(2 * tick % grammar.ticks for tick in ticks):
                    share *= _SWUNG_SIXTEENTHS
                tree.add(root, tuple(index[(tick, moved and tick > 0)] for tick in ticks), kind, share)
    child = np.array(tree.child, dtype=np.int64)
    ending = np.array(tree.ending)
    follow = np.array(grammar.follow)
    end_mass = follow @ ending.T  # (context, node): probability of the patterns that end here
    through = end_mass.copy()
    for node in range(len(child) - 1, -1, -1):  # children always come after their parents
        for kid in child[node][child[node] >= 0]:
            through[:, node] += through[:, kid]
    with np.errstate(divide="ignore"):
        end_logp = weight * np.log(end_mass / through)
        step = np.log(through[:, child] / through[:, :, None])
    continue_logp = np.where(child[None] >= 0, weight * step, IMPOSSIBLE)
    return Vocabulary(
        ticks=grammar.ticks,
        slot_tick=np.array([tick for tick, _ in slots], dtype=np.int64),
        slot_swung=np.array([moved for _, moved in slots]),
        eighth=np.array([tick % (grammar.ticks // eighths) == 0 for tick, _ in slots]),
        child=child,
        continue_logp=np.maximum(continue_logp, IMPOSSIBLE),
        end_logp=np.maximum(end_logp, IMPOSSIBLE),
        node_class=ending.argmax(axis=1).astype(np.int64),
        roots=np.array(roots, dtype=np.int64),
        first_bonus=np.array([grammar.first.get(tick, grammar.first[-1]) for tick, _ in slots]),
        last_bonus=np.array([grammar.last.get(tick, grammar.last[-1]) for tick, _ in slots]),
        start_context=len(grammar.kinds),
    )
