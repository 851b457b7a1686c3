"""What the beam search keeps: hypotheses as columns, the steps between them, what is read off at the end."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from transcriber.notation.vocabulary import IMPOSSIBLE, FloatArray, IntArray


@dataclass(frozen=True)
class Strata:
    """Starting points: period in seconds, swing ratio (NaN straight) and log prior, each of shape (k,)."""

    period_s: FloatArray
    swing: FloatArray
    log_prior: FloatArray
    period_bound: float


@dataclass(frozen=True)
class Opening:
    """What is known of the first note's place before the search.

    Attributes
    ----------
    tick : int or None
        Written tick in its beat.
    beat_zero_s : float or None
        Time of beat 0, from which beats are then counted.
    spread_s, spread_per_tap : float
        How well that time is known, seconds, and how much less with every beat that lies between, as a share.
    free_notes : int
        Steps from note to note that are played freely before the beat sets in.
    free_sd : float
        Spread of their tempo about the line's, as a ratio.
    """

    tick: int | None = None
    beat_zero_s: float | None = None
    spread_s: float = 0.025
    spread_per_tap: float = 0.02
    free_notes: int = 0
    free_sd: float = 0.0


@dataclass(frozen=True)
class Reading:
    """The best reading of a row of onsets.

    Attributes
    ----------
    beat : ndarray of int, shape (n,)
        Tapped beat of each note: the first note's is 0 unless the opening says where beat 0 is.
    tick : ndarray of int, shape (n,)
        Written tick in that beat.
    position : ndarray, shape (n,)
        Performed position, in tapped beats.
    extra : ndarray of bool, shape (n,)
        Onsets that were left out of the rhythm; their other fields hold those of the note before.
    certainty : ndarray, shape (n,)
        Posterior probability of the note's place in its beat, 0 to 1.
    period_s : float
        Starting period of the winning stratum.
    swing : float or None
    score, runner_up : float
        Log score of the best reading, and of the best in any stratum whose period differs by 10 % or more.
    runner_up_period_s : float
        Starting period of that stratum; NaN for none.
    slowing : bool
        Whether the line slows to its end.
    free_notes : int
        Steps from note to note that are played freely before the beat sets in.
    """

    beat: IntArray
    tick: IntArray
    position: FloatArray
    extra: npt.NDArray[np.bool_]
    certainty: FloatArray
    period_s: float
    swing: float | None
    score: float
    runner_up: float
    runner_up_period_s: float
    slowing: bool = False
    free_notes: int = 0


@dataclass
class Beam:
    """Hypotheses as columns, shape (h,) each."""

    score: FloatArray
    stratum: IntArray
    node: IntArray
    context: IntArray
    slot: IntArray
    beat: IntArray
    time: FloatArray
    period: FloatArray
    var_time: FloatArray
    covar: FloatArray
    var_period: FloatArray

    def take(self, rows: IntArray) -> Beam:
        """Give the hypotheses of these rows."""
        return Beam(**{name: column[rows] for name, column in vars(self).items()})


@dataclass(frozen=True)
class Step:
    """Surviving hypotheses after one note, and every transition that led to one of them."""

    slot: IntArray
    beat: IntArray
    extra: npt.NDArray[np.bool_]
    parent: IntArray
    edge_parent: IntArray
    edge_child: IntArray
    edge_logp: FloatArray


@dataclass
class Candidates:
    """Next places for all hypotheses: rows of hypotheses, columns of slots, flattened where possible."""

    parent: IntArray
    slot: IntArray
    beat: IntArray
    node: IntArray
    context: IntArray
    gain: FloatArray
    distance: FloatArray
    stray: npt.NDArray[np.bool_]
    fresh: npt.NDArray[np.bool_]
    extra: npt.NDArray[np.bool_]


def posterior(
    steps: list[Step], closing: FloatArray, start: FloatArray, path: IntArray, power: float
) -> FloatArray:
    """Posterior probability that each note stands in the slot of the best path (forward-backward).

    All probabilities are raised to `power`: beats that repeat one another are not independent evidence.
    """
    forward = [power * (start - start.max())]
    for step in steps[1:]:
        forward.append(
            _log_sum(forward[-1][step.edge_parent] + power * step.edge_logp, step.edge_child, len(step.slot))
        )
    backward = power * closing
    certainty = np.ones(len(steps))
    for i in range(len(steps) - 1, -1, -1):
        step = steps[i]
        logp = forward[i] + backward
        weight = np.exp(logp - logp.max())
        same = (step.slot == step.slot[path[i]]) & (step.extra == step.extra[path[i]])
        certainty[i] = weight[same].sum() / weight.sum()
        if i:
            backward = _log_sum(
                backward[step.edge_child] + power * step.edge_logp, step.edge_parent, len(forward[i - 1])
            )
    return certainty


def _log_sum(values: FloatArray, group: IntArray, groups: int) -> FloatArray:
    """Log of the sum of exponentials in each group; `IMPOSSIBLE` for an empty one."""
    top = np.full(groups, IMPOSSIBLE)
    np.maximum.at(top, group, values)
    total = np.bincount(group, np.exp(values - top[group]), minlength=groups)
    with np.errstate(divide="ignore"):
        return np.where(total > 0, top + np.log(total), IMPOSSIBLE)
