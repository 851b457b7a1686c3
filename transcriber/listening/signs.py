"""What is measured at the boundary between two sounds."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from transcriber.listening.attacks import AttackStrength

FloatArray = npt.NDArray[np.float64]

_HELD = 8  # frames before a boundary that stand for the sound before it
_SOON = 10  # frames after an onset in which a sound is at its loudest
_SETTLED = 12  # frames whose median is a sound's pitch
_AFTER = slice(9, 15)  # frames after an onset at which its transient has passed


@dataclass(frozen=True)
class Sound:
    """Everything measured frame by frame, arrays of shape (n,): semitones (NaN where unvoiced), clarity
    (periodicity, 0 to 1) and attack strength; `typical_rise` is that of the take's stronger attacks,
    `typical_level_db` and `typical_high_db` how loud a clear attack becomes, in all and above 2.5 kHz.
    """

    pitch: FloatArray
    clarity: FloatArray
    strength: AttackStrength
    frame_s: float
    typical_rise: float
    typical_level_db: float
    typical_high_db: float


@dataclass(frozen=True)
class Signs:
    """Signs of a beginning, measured between two stretches of pitch.

    Attributes
    ----------
    frame : int
        Of the onset.
    rise, high_rise : float
        Attack strength there, in all and above 2.5 kHz.
    relative_rise : float
        Attack strength against the take's typical one.
    relative_level_db, relative_high_db : float
        Level soon after it, in all and above 2.5 kHz, against what the take's clear attacks reach.
    jump_db : float
        Level gained over the sound before.
    dip_db : float
        Level lost between the two, against the sound before.
    high_jump_db : float
        Level above 2.5 kHz gained at the boundary over just before.
    high_fall_db, fall_db : float
        Level above 2.5 kHz, and of the whole sound, lost again within 80 ms.
    clarity_dip : float
        Periodicity lost at the boundary, 0 to 1.
    gap_s : float
        Time without pitch.
    change : float
        Semitones from the end of the sound before.
    before_s : float
        How long the sound before had a pitch: what is measured within a quick run is blurred.
    """

    frame: int
    rise: float
    high_rise: float
    relative_rise: float
    relative_level_db: float
    relative_high_db: float
    jump_db: float
    dip_db: float
    high_jump_db: float
    high_fall_db: float
    fall_db: float
    clarity_dip: float
    gap_s: float
    change: float
    before_s: float


FIRST_SIGNS = Signs(0, 1.0, 1.0, 1.0, 0.0, 0.0, 40.0, 40.0, 40.0, 20.0, 20.0, 1.0, 10.0, 0.0, 10.0)
"""Signs of a take's first sound, before which there is nothing to compare with."""


def measure_signs(sound: Sound, before: tuple[int, int], after: tuple[int, int], onset: int) -> Signs:
    """Measure a boundary.

    Parameters
    ----------
    sound : Sound
    before, after : tuple of int
        First frame and frame after the last of the two stretches of pitch.
    onset : int
        Frame of the attack between them, or of the second's start.
    """
    strength, level = sound.strength, sound.strength.level_db
    around = slice(max(min(onset, after[0]) - 2, 0), max(onset, after[0]) + 3)
    held = slice(max(before[0], before[1] - _HELD), max(before[1] - 2, before[0] + 1))
    level_before = float(np.median(level[held]))
    between = slice(max(before[1] - 4, before[0]), after[0] + 1)
    rise = float(strength.rise[around].max())
    clarity_before = float(np.median(sound.clarity[held]))
    return Signs(
        onset,
        rise,
        float(strength.high_rise[around].max()),
        rise / max(sound.typical_rise, 0.05),
        peak_after(level, onset) - sound.typical_level_db,
        peak_after(strength.high_level_db, onset) - sound.typical_high_db,
        float(level[after[0] : min(after[0] + 10, after[1])].max()) - level_before,
        level_before - float(level[between].min()),
        *_transient(strength, onset),
        clarity_before - float(sound.clarity[around].min()),
        (after[0] - before[1]) * sound.frame_s,
        _level(sound.pitch[after[0] : min(after[0] + _SETTLED, after[1])])
        - _level(sound.pitch[max(before[1] - _SETTLED, before[0]) : before[1]]),
        (before[1] - before[0]) * sound.frame_s,
    )


def peak_after(level: FloatArray, frame: int) -> float:
    """Highest level within some 60 ms of an attack."""
    return float(level[max(frame - 1, 0) : frame + _SOON].max(initial=-100.0))


def _transient(strength: AttackStrength, onset: int) -> tuple[float, float, float]:
    """Gain of high frequencies at an onset; what they and the whole sound lose again soon after; in dB."""
    last = len(strength.rise) - 1
    before = slice(max(onset - _HELD, 0), max(onset - 3, 1))
    at = slice(max(onset - 1, 0), onset + 5)
    after = slice(min(onset + _AFTER.start, last), onset + _AFTER.stop)
    high, level = strength.high_level_db, strength.level_db
    peak = float(high[at].max())
    return (
        peak - float(np.median(high[before])),
        peak - float(np.median(high[after])),
        float(level[at].max()) - float(np.median(level[after])),
    )


def _level(values: FloatArray) -> float:
    return float(np.nanmedian(values))
