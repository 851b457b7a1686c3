"""Decisions between two readings of the same sound, fitted where a rule of thumb falls short.

Each is a small ensemble of boosted trees over a few measured features, in `models/decisions.json`, fitted by
`tests/listening/fit_decisions.py` on some guitars and reported there on others.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np

from transcriber.errors import ModelError
from transcriber.listening.gestures import Move
from transcriber.listening.signs import Signs
from transcriber.models import load_model

_LIMIT = 6.0  # log odds beyond this claim more certainty than the fit can support


@dataclass(frozen=True)
class Tree:
    """One regression tree; node 0 is the root. A leaf has feature -1."""

    features: tuple[int, ...]
    thresholds: tuple[float, ...]
    left: tuple[int, ...]
    right: tuple[int, ...]
    values: tuple[float, ...]

    def value(self, sample: tuple[float, ...]) -> float:
        """Value of the leaf that a sample falls into."""
        node = 0
        while self.features[node] >= 0:
            below = sample[self.features[node]] <= self.thresholds[node]
            node = self.left[node] if below else self.right[node]
        return self.values[node]


@dataclass(frozen=True)
class BoostedDecision:
    """Log odds as a sum over small regression trees (Friedman 2001, gradient boosting).

    Attributes
    ----------
    features : tuple of str
        Names, in order.
    prior : float
        Log odds before any tree.
    rate : float
        Weight of each tree.
    trees : tuple of Tree
    """

    features: tuple[str, ...]
    prior: float
    rate: float
    trees: tuple[Tree, ...]

    def log_odds(self, sample: tuple[float, ...]) -> float:
        """Log odds of the first reading, limited to +-6."""
        odds = self.prior + self.rate * sum(tree.value(sample) for tree in self.trees)
        return float(np.clip(odds, -_LIMIT, _LIMIT))


_ATTACK_FEATURES = (
    "rise",
    "relative_rise",
    "high_share",
    "jump_db",
    "dip_db",
    "high_jump_db",
    "high_fall_db",
    "fall_db",
    "clarity_dip",
)
PICK_FEATURES = (
    *_ATTACK_FEATURES,
    "relative_level_db",
    "relative_high_db",
    "log_gap",
    "change",
    "step_up",
    "log_before",
)
REPICK_FEATURES = (*_ATTACK_FEATURES, "change")
BEND_FEATURES = (
    "log_duration",
    "log_extent",
    "log_speed",
    "fret_halt",
    "upward",
    "log_stand_before",
    "log_stand_after",
    "off_fret",
)


FEATURES = {"picked": PICK_FEATURES, "repicked": REPICK_FEATURES, "bend": BEND_FEATURES}


def pick_features(signs: Signs) -> tuple[float, ...]:
    """Features of the decision picked or slurred, in the order of `PICK_FEATURES`."""
    change = min(abs(signs.change), 12.0)
    before = float(np.log(np.clip(signs.before_s, 0.01, 1.0)))
    return (
        *_attack_features(signs),
        float(np.clip(signs.relative_level_db, -25.0, 6.0)),
        float(np.clip(signs.relative_high_db, -30.0, 6.0)),
        float(np.log(signs.gap_s + 0.01)),
        change,
        float(signs.change > 0),
        before,
    )


def repick_features(signs: Signs) -> tuple[float, ...]:
    """Features of the decision picked again or held, in the order of `REPICK_FEATURES`."""
    return (*_attack_features(signs), min(abs(signs.change), 3.0))


def _attack_features(signs: Signs) -> tuple[float, ...]:
    return (
        min(signs.rise, 1.5),
        min(signs.relative_rise, 2.0),
        signs.high_rise / (signs.rise + 0.05),
        float(np.clip(signs.jump_db, -15.0, 15.0)),
        float(np.clip(signs.dip_db, -3.0, 25.0)),
        float(np.clip(signs.high_jump_db, -10.0, 30.0)),
        float(np.clip(signs.high_fall_db, -10.0, 30.0)),
        float(np.clip(signs.fall_db, -10.0, 20.0)),
        signs.clarity_dip,
    )


def bend_features(move: Move, frame_s: float, stand_after_s: float) -> tuple[float, ...]:
    """Features of the decision bend or slide, in the order of `BEND_FEATURES`."""
    return (
        float(np.log((move.last - move.first) * frame_s)),
        float(np.log(abs(move.extent))),
        float(np.log(max(move.speed, 0.1))),
        move.fret_halt,
        float(move.extent > 0),
        float(np.log(np.clip(move.first * frame_s, 0.01, 1.0))),
        float(np.log(np.clip(stand_after_s, 0.01, 1.0))),
        abs(move.target - round(move.target)),
    )


@cache
def decision(name: str) -> BoostedDecision:
    """Read one fitted decision: ``picked``, ``repicked`` or ``bend``.

    Raises
    ------
    ModelError
        If the model file does not hold it.
    """
    expected = FEATURES[name]
    try:
        entry: dict[str, Any] = load_model("decisions")["decisions"][name]
        trees = tuple(
            Tree(*(tuple(tree[key]) for key in ("features", "thresholds", "left", "right", "values")))
            for tree in entry["trees"]
        )
        fitted = BoostedDecision(tuple(entry["features"]), entry["prior"], entry["rate"], trees)
    except KeyError as missing:
        raise ModelError(f"model file 'decisions' lacks {missing}; install the package again") from None
    if fitted.features != expected:
        raise ModelError(f"model file 'decisions' has other features for '{name}'; install the package again")
    return fitted
