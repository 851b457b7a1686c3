"""From a stage's own measure of certainty to a probability: one logistic curve for each aspect.

Platt, "Probabilistic outputs for support vector machines", 1999. The curves are fitted by
`tests/accuracy/fit_confidence.py` on guitars other than those they are reported on.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

_SURE = 0.995  # measures beyond this say no more


@dataclass(frozen=True)
class Curve:
    """``p = 1 / (1 + exp(-(slope * logit(measure) + offset)))``."""

    slope: float
    offset: float

    def probability(self, measure: float) -> float:
        """Probability, 0 to 1, of a measure from 0 to 1."""
        bounded = min(max(measure, 1.0 - _SURE), _SURE)
        return 1.0 / (1.0 + math.exp(-(self.slope * math.log(bounded / (1.0 - bounded)) + self.offset)))


@dataclass(frozen=True)
class Calibration:
    """Curves by aspect; an aspect without a curve is taken as it is."""

    curves: Mapping[str, Curve]

    def apply(self, aspect: str, measure: float) -> float:
        """Probability that an aspect of a note is right, 0 to 1; a measure of 0 stays 0."""
        curve = self.curves.get(aspect)
        return measure if curve is None or measure <= 0.0 else curve.probability(measure)


AS_MEASURED = Calibration({})
"""Leaves every measure as the stage gave it."""


def calibration_of(model: Mapping[str, Any]) -> Calibration:
    """Read a calibration from the document of `models/confidence.json`."""
    return Calibration({name: Curve(c["slope"], c["offset"]) for name, c in model["curves"].items()})
