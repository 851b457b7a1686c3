"""Whether a note was picked: its attack against notes that are known to be picked in the same attempt.

A logistic regression over four measures, ``models/picks.json``, written by ``python -m
tests.practice.fit_picks`` from the bench's split ``fit``: notes that were picked anew on a sounding string
against hammer-ons and pull-offs.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
import numpy.typing as npt

from transcriber.models import load_model
from transcriber.practice.evidence import Attempt
from transcriber.records.heard import HeardNote

FloatArray = npt.NDArray[np.float64]

# Rise of the pick's band (10 dB), its level (10 dB) and velocity (by 20), all against the usual pick of the
# attempt. How sure listening is of its own decision is no measure here: that was fitted on the guitars of
# the same split, where it is surer than elsewhere.
_SCALES = np.array([10.0, 10.0, 20.0])
_BOUNDS = np.array([[-2.5, 1.0], [-1.0, 0.8], [-2.0, 1.0]])
_LEAST_PICKED = 6


@dataclass(frozen=True)
class PickModel:
    """Weights of `pick_features`, and how likely a pick must be before a student is told of it."""

    weights: tuple[float, ...]
    bias: float
    least_sure: float


@cache
def pick_model() -> PickModel:
    """Read ``models/picks.json``."""
    document = load_model("picks")
    return PickModel(tuple(document["weights"]), document["bias"], document["least_sure"])


@dataclass(frozen=True)
class PickScale:
    """The usual pick of an attempt: rise and level of the pick's band in dB, and velocity."""

    rise_db: float
    level_db: float
    velocity: float


def pick_scale(attempt: Attempt, picked: Sequence[HeardNote]) -> PickScale | None:
    """Medians over notes that are to be picked; None where there are too few to tell."""
    if len(picked) < _LEAST_PICKED:
        return None
    measured = np.array([_measures(attempt, note) for note in picked])
    return PickScale(*(float(value) for value in np.median(measured, axis=0)))


def _measures(attempt: Attempt, note: HeardNote) -> tuple[float, float, float]:
    return attempt.attack(note.onset_s), attempt.pick_level(note.onset_s), float(note.velocity)


def pick_features(attempt: Attempt, note: HeardNote, scale: PickScale) -> FloatArray:
    """Measures of a note against the usual pick, bounded, and whether it was heard as a slur; shape (4,)."""
    usual = np.array([scale.rise_db, scale.level_db, scale.velocity])
    against = (np.array(_measures(attempt, note)) - usual) / _SCALES
    slurred = note.has("hammer_on", "pull_off", "slide", "trill")
    return np.append(np.clip(against, _BOUNDS[:, 0], _BOUNDS[:, 1]), float(slurred))


def is_picked(attempt: Attempt, note: HeardNote, scale: PickScale) -> bool:
    """Tell whether a note was picked rather than slurred."""
    model = pick_model()
    score = model.bias + float(np.dot(model.weights, pick_features(attempt, note, scale)))
    return 1.0 / (1.0 + float(np.exp(-score))) > model.least_sure
