"""Which channel, or which mean of channels, a take is listened to from.

Each channel is scored by the range between its loud blocks (95th percentile) and its quiet ones (10th),
which is signal over hum and noise where the player pauses; clipping costs. Of channels that score alike
the loudest is taken. A mean of channels is taken instead only where it scores better by a clear gain and
the channels are in phase with the chosen one in nearly every loud block: so two channels that cancel each
other, or that a chorus turns against each other now and then, are never added.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from transcriber.audio.limits import (
    CLIPPED_SHARE_COST_DB,
    IN_PHASE_CORRELATION,
    MEAN_MUST_GAIN_DB,
    MOST_USEFUL_RANGE_DB,
    NOISE_FLOOR_DB,
    SCORES_ALIKE_DB,
)
from transcriber.audio.survey import FloatArray, Survey
from transcriber.records.problem import Problem

# Power ratio of full scale below which a block counts as digital silence.
_TINY_POWER = 1e-14
_ALIKE_CORRELATION = 0.9
_ALIKE_LEVEL_DB = 3.0


@dataclass(frozen=True)
class Mix:
    """Weights of the channels, shape (C,), and what to tell about the choice."""

    weights: FloatArray
    problems: tuple[Problem, ...] = ()


def decibels(power: npt.ArrayLike) -> FloatArray:
    """Power (mean square, full scale 1.0) as dB against full scale."""
    level: FloatArray = 10.0 * np.log10(np.maximum(power, _TINY_POWER))
    return level


def choose_mix(survey: Survey) -> Mix:
    """Choose the channel or the mean of channels to listen to.

    Parameters
    ----------
    survey : Survey

    Returns
    -------
    Mix
        Weights that sum to 1; a problem if the channels differ so that the choice matters.
    """
    channels = len(survey.offset)
    singles = np.eye(channels)
    if channels == 1:
        return Mix(singles[0])
    scores = np.array([_score(survey, weights) for weights in singles])
    levels = np.array([_loud_db(survey, weights) for weights in singles])
    alike = scores >= scores.max() - SCORES_ALIKE_DB
    best = int(np.argmax(np.where(alike, np.round(levels, 2), -np.inf)))
    agreement = np.array([_agreement(survey, best, other) for other in range(channels)])
    together = (agreement >= IN_PHASE_CORRELATION) & (levels > levels[best] - 12.0)
    mean = together / together.sum()
    if together.sum() > 1 and _score(survey, mean) >= scores[best] + MEAN_MUST_GAIN_DB:
        return Mix(mean, (_told_mean(together),))
    return Mix(singles[best], _told_single(best, agreement, levels))


def _score(survey: Survey, weights: FloatArray) -> float:
    level = decibels(survey.mix_power(weights))
    loud, quiet = np.percentile(level, [95, 10])
    useful = min(max(loud - max(quiet, NOISE_FLOOR_DB), 0.0), MOST_USEFUL_RANGE_DB)
    clipped = float(survey.clipped_share[weights > 0].max())
    return float(useful - CLIPPED_SHARE_COST_DB * clipped)


def _loud_db(survey: Survey, weights: FloatArray) -> float:
    return float(np.percentile(decibels(survey.mix_power(weights)), 95))


def _agreement(survey: Survey, one: int, other: int) -> float:
    """10th percentile, over the loud blocks of `one`, of its correlation with `other` (-1 to 1)."""
    power_one = survey.moments[:, one, one].astype(np.float64)
    power_other = survey.moments[:, other, other].astype(np.float64)
    loud = power_one >= np.percentile(power_one, 95) * 0.01
    scale = np.sqrt(np.maximum(power_one * power_other, _TINY_POWER**2))
    return float(np.percentile((survey.moments[:, one, other] / scale)[loud], 10))


def _told_mean(together: FloatArray) -> Problem:
    names = ", ".join(str(i + 1) for i in np.flatnonzero(together))
    return Problem(
        "channel_choice", f"The mean of channels {names} was listened to: they agree and it is cleaner."
    )


def _told_single(best: int, agreement: FloatArray, levels: FloatArray) -> tuple[Problem, ...]:
    others = np.arange(len(levels)) != best
    if (agreement[others] < -IN_PHASE_CORRELATION).any():
        message = f"The channels are out of phase and would cancel; channel {best + 1} alone was listened to."
        return (Problem("channels_out_of_phase", message),)
    alike = (agreement > _ALIKE_CORRELATION) & (np.abs(levels - levels[best]) < _ALIKE_LEVEL_DB)
    if alike[others].all():
        return ()
    message = f"The {len(levels)} channels differ; channel {best + 1}, the clearest, was listened to."
    return (Problem("channel_choice", message),)
