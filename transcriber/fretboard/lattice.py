"""Exact sums and minima over all paths of hand states through a line.

The cheapest path is the Viterbi recursion (Viterbi 1967); posteriors are the scaled forward and backward sums
(Rabiner 1989) with exp(-cost / temperature) for each factor.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from transcriber.fretboard.costs import Demand, Move, Pair, demand_features, move_features, weigh
from transcriber.fretboard.fretting_model import FrettingModel
from transcriber.fretboard.hands import HandStates, NoteKey, hand_states
from transcriber.records.placed import Instrument

FloatArray = npt.NDArray[np.float64]
CostArray = npt.NDArray[np.float32]
PlaceLikelihood = Mapping[tuple[int, int], float]


@dataclass(frozen=True)
class Step:
    """One note of a line as the lattice sees it.

    Attributes
    ----------
    key : NoteKey
    demand : Demand
    move : Move
        How it follows the step before; of no account in the first step.
    haste : float
        Weight, 0 to 1, of the costs of haste in that move.
    sound : mapping of (string, fret) to float, or None
        Log likelihood of each place by the sound of the string; None where the sound tells nothing.
    sound_weight : float
        Cost of a log likelihood of -1.
    reach : int or None
        Frets the hand can shift in the time there is; None for no bound.
    """

    key: NoteKey
    demand: Demand
    move: Move
    haste: float
    sound: PlaceLikelihood | None = None
    sound_weight: float = 0.0
    reach: int | None = None


@dataclass(frozen=True)
class Path:
    """One path through a line: an index into each step's states, and its total cost."""

    states: tuple[int, ...]
    cost: float


@dataclass(frozen=True)
class Sums:
    """Forward and backward sums, scaled, one array for each step, and the logarithm of the total."""

    forward: list[FloatArray]
    backward: list[FloatArray]
    log_total: float


@dataclass(frozen=True)
class _MoveCosts:
    """Costs of the moves between two notes at leisure and in haste, and the frets shifted, each (n, m)."""

    at_leisure: CostArray
    in_haste: CostArray
    shifted: npt.NDArray[np.int8]
    furthest: int


class Lattice:
    """Costs between hand states on one instrument, computed once for each pair of notes that occurs."""

    def __init__(self, instrument: Instrument, model: FrettingModel) -> None:
        self._instrument = instrument
        self._model = model
        self._states: dict[NoteKey, HandStates] = {}
        self._demands: dict[tuple[NoteKey, Demand], CostArray] = {}
        self._moves: dict[tuple[NoteKey, NoteKey, Move, bool], _MoveCosts] = {}

    def states(self, key: NoteKey) -> HandStates:
        """States of one note."""
        if key not in self._states:
            self._states[key] = hand_states(key, self._instrument)
        return self._states[key]

    def demand_cost(self, step: Step) -> CostArray:
        """Cost of each state of a step by itself, shape (n,)."""
        index = (step.key, step.demand)
        if index not in self._demands:
            states = self.states(step.key)
            features = demand_features(states, step.demand, self._model.hard_cost)
            self._demands[index] = weigh(features, self._model.weights, (len(states),)).astype(np.float32)
        cost = self._demands[index]
        return cost if step.sound is None else cost + self._sound_cost(step, step.sound)

    def _sound_cost(self, step: Step, sound: PlaceLikelihood) -> CostArray:
        states = self.states(step.key)
        likely = np.array([sound.get(place, 0.0) for place in states.places], np.float32)
        return np.float32(-step.sound_weight) * likely[states.place]

    def move_cost(self, before: Step, step: Step) -> CostArray:
        """Cost of each move from a state of `before` to one of `step`, shape (n, m)."""
        gapped_scale = step.demand.gapped_scale
        index = (before.key, step.key, step.move, gapped_scale)
        if index not in self._moves:
            self._moves[index] = self._costs_of(
                Pair(self.states(before.key), self.states(step.key)), step.move, gapped_scale
            )
        costs = self._moves[index]
        total = costs.at_leisure + np.float32(step.haste) * costs.in_haste
        if step.reach is not None and step.reach < costs.furthest:
            total += np.float32(self._model.too_fast_cost) * (costs.shifted > step.reach)
        return total

    def _costs_of(self, pair: Pair, move: Move, gapped_scale: bool) -> _MoveCosts:
        shape = (len(pair.before), len(pair.after))
        leisure, haste = move_features(pair, move, gapped_scale, self._model.hard_cost)
        position_before, position_after = pair.both("position")
        shifted = np.abs(position_after - position_before).astype(np.int8)
        return _MoveCosts(
            at_leisure=weigh(leisure, self._model.weights, shape).astype(np.float32),
            in_haste=weigh(haste, self._model.weights, shape).astype(np.float32),
            shifted=shifted,
            furthest=int(shifted.max()),
        )

    def cheapest_path(self, steps: Sequence[Step]) -> list[int]:
        """Index into each step's states along the path of least total cost; the first of equals."""
        (path,) = self.cheapest_paths(steps, [self.demand_cost(step)[None] for step in steps])
        return list(path.states)

    def cheapest_paths(self, steps: Sequence[Step], own: Sequence[FloatArray | CostArray]) -> list[Path]:
        """Find the cheapest path under each of k readings of what the states cost by themselves.

        Parameters
        ----------
        steps : sequence of Step
        own : sequence of ndarray, shape (k, n) each
            Cost of each state of a step under each reading; infinite where it is ruled out.

        Returns
        -------
        list of Path
            One for each reading; its cost is infinite if everything is ruled out.
        """
        total: FloatArray = own[0].astype(np.float64)
        origins = []
        for before, step, cost in zip(steps, steps[1:], own[1:], strict=False):
            arriving = total[:, :, None] + self.move_cost(before, step)
            origins.append(arriving.argmin(axis=1))
            total = arriving.min(axis=1) + cost
        ends = total.argmin(axis=1)
        paths = []
        for reading, end in enumerate(ends.tolist()):
            states = [end]
            for origin in reversed(origins):
                states.append(int(origin[reading, states[-1]]))
            paths.append(Path(tuple(states[::-1]), float(total[reading, end])))
        return paths

    def posteriors(self, steps: Sequence[Step]) -> list[FloatArray]:
        """Probability of every state of every step given the whole line; each array sums to 1."""
        sums = self.sums(steps, [self.factor(self.demand_cost(step)) for step in steps])
        products = (ahead * behind for ahead, behind in zip(sums.forward, sums.backward, strict=True))
        return [product / product.sum() for product in products]

    def sums(self, steps: Sequence[Step], own: Sequence[FloatArray]) -> Sums:
        """Run the scaled forward and backward recursions.

        Parameters
        ----------
        steps : sequence of Step
        own : sequence of ndarray
            Each state's own factor; 0 rules a state out.
        """
        # Move factors are computed in both directions: kept, they would fill memory on long takes.
        forward = [own[0] / own[0].sum()]
        log_total = float(np.log(own[0].sum()))
        for index in range(1, len(steps)):
            arrived = (forward[-1] @ self.move_factor(steps[index - 1], steps[index])) * own[index]
            log_total += float(np.log(arrived.sum()))
            forward.append(arrived / arrived.sum())
        backward = [np.ones(len(own[-1]))]
        for index in range(len(steps) - 1, 0, -1):
            left = self.move_factor(steps[index - 1], steps[index]) @ (backward[-1] * own[index])
            backward.append(left / left.sum())
        return Sums(forward=forward, backward=backward[::-1], log_total=log_total)

    def move_factor(self, before: Step, step: Step) -> FloatArray:
        """Factor exp(-cost / temperature) of each move, shape (n, m)."""
        return self.factor(self.move_cost(before, step))

    def factor(self, cost: CostArray) -> FloatArray:
        """Turn costs into factors, the greatest of them 1."""
        # Taking out the least cost keeps hard costs that no state escapes from underflowing together.
        energy: FloatArray = (cost - cost.min()).astype(np.float64) / self._model.temperature
        return np.exp(-energy)
