"""Decisions between two readings of the same sound, fitted where a rule of thumb falls short.

Each is a logistic regression over a few measured features. Its weights are in `models/decisions.json`, fitted by
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
class LogisticDecision:
    """Log odds that are linear in standardised features.

    Attributes
    ----------
    features : tuple of str
        Names, in order.
    means, scales, weights : tuple of float
        One for each feature.
    bias : float
    """

    features: tuple[str, ...]
    means: tuple[float, ...]
    scales: tuple[float, ...]
    weights: tuple[float, ...]
    bias: float

    def log_odds(self, values: tuple[float, ...]) -> float:
        """Log odds of the first reading, limited to +-6."""
        standard = (np.array(values) - self.means) / self.scales
        return float(np.clip(standard @ np.array(self.weights) + self.bias, -_LIMIT, _LIMIT))


PICK_FEATURES = ("rise", "high_rise", "high_share", "jump_db", "dip_db", "log_gap", "change", "step_up")
BEND_FEATURES = ("log_duration", "log_extent", "log_speed", "steppedness", "upward", "log_stand_after")


def pick_features(signs: Signs) -> tuple[float, ...]:
    """Features of the decision picked or slurred, in the order of `PICK_FEATURES`."""
    change = abs(signs.change)
    return (
        min(signs.rise, 1.5),
        min(signs.high_rise, 1.5),
        signs.high_rise / (signs.rise + 0.05),
        float(np.clip(signs.jump_db, -15.0, 15.0)),
        float(np.clip(signs.dip_db, -3.0, 25.0)),
        float(np.log(signs.gap_s + 0.01)),
        min(change, 12.0),
        float(signs.change > 0),
    )


def bend_features(move: Move, frame_s: float, stand_after_s: float) -> tuple[float, ...]:
    """Features of the decision bend or slide, in the order of `BEND_FEATURES`."""
    return (
        float(np.log((move.last - move.first) * frame_s)),
        float(np.log(abs(move.extent))),
        float(np.log(max(move.speed, 0.1))),
        move.steppedness,
        float(move.extent > 0),
        float(np.log(np.clip(stand_after_s, 0.01, 1.0))),
    )


@cache
def decision(name: str) -> LogisticDecision:
    """Read one fitted decision: ``picked`` or ``bend``.

    Raises
    ------
    ModelError
        If the model file does not hold it.
    """
    expected = {"picked": PICK_FEATURES, "bend": BEND_FEATURES}[name]
    try:
        entry: dict[str, Any] = load_model("decisions")["decisions"][name]
        fitted = LogisticDecision(
            tuple(entry["features"]),
            tuple(entry["means"]),
            tuple(entry["scales"]),
            tuple(entry["weights"]),
            float(entry["bias"]),
        )
    except KeyError as missing:
        raise ModelError(f"model file 'decisions' lacks {missing}; install the package again") from None
    if fitted.features != expected:
        raise ModelError(f"model file 'decisions' has other features for '{name}'; install the package again")
    return fitted
