"""Trills: one pitch struck, then a finger hammered and pulled many times in quick alternation.

A trill stands flat on two frets and steps between them; a vibrato swings round and seldom stands. That, and
that no pick strikes at the steps, is what tells them apart.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from transcriber.listening.signs import Sound

FloatArray = npt.NDArray[np.float64]

_STILL = 0.09  # semitones a frame below which a pitch stands
_STAND_FRAMES = 3
_LONGEST_STAND_S = 0.13  # from one stand's start to the next
_FEWEST_STANDS = 6
_SLOWEST_S = 0.1  # from step to step on average; slower ones are written out as slurs
_NARROWEST, _WIDEST = 0.7, 4.5
_ALIKE = 0.3  # semitones between two stands on one fret
_NEAR_EXTREME = 0.12  # share of the interval
_DWELLS = (
    0.71  # share of the time near the two extremes; a sine has .45, a vibrato that rests on the fret .70
)
_OFF_FRET = 0.12  # semitones that the interval may be off a whole number
_UNPICKED = 1.05  # attack at the steps, against the take's typical attack


@dataclass(frozen=True)
class Trill:
    """A trill between frames `first` and `last`: it begins on `pitch` and alternates with `pitch +
    interval`.
    """

    first: int
    last: int
    pitch: int
    interval: int


@dataclass(frozen=True)
class _Stand:
    """A stretch on one fret; `units` is 3 where the step away and back within it was lost."""

    first: int
    last: int
    level: float
    units: int = 1


def find_trills(sound: Sound) -> list[Trill]:
    """Find all trills of a take, in order.

    Parameters
    ----------
    sound : Sound
        Pitch in semitones at the take's own tuning.
    """
    stands = _stands(sound.pitch)
    trills: list[Trill] = []
    begin = 0
    while begin + _FEWEST_STANDS <= len(stands):
        run, end = _alternation(stands, begin, sound.frame_s)
        if len(run) >= _FEWEST_STANDS and _is_trill(run, sound):
            interval = round(run[1].level - run[0].level)
            trills.append(Trill(run[0].first, run[-1].last, round(run[0].level), interval))
            begin = end
        else:
            begin += 1
    return trills


def _alternation(stands: list[_Stand], begin: int, frame_s: float) -> tuple[list[_Stand], int]:
    """Stands that alternate from one on, and the index after the last; one stand may have been lost."""
    run, end = [stands[begin]], begin + 1
    while end < len(stands):
        stand, last = stands[end], run[-1]
        if _goes_on(run, stand, frame_s):
            run.append(stand)
        elif (
            abs(stand.level - last.level) <= _ALIKE
            and (stand.first - last.first) * frame_s <= 2 * _LONGEST_STAND_S
            and last.units == 1
        ):
            run[-1] = _Stand(last.first, stand.last, last.level, 3)
        else:
            break
        end += 1
    return run, end


def _stands(pitch: FloatArray) -> list[_Stand]:
    """Stretches in which the pitch stands still."""
    still = np.zeros(len(pitch), bool)
    still[1:] = np.abs(np.diff(pitch)) < _STILL
    edges = np.flatnonzero(np.diff(np.concatenate(([0], still.view(np.int8), [0]))))
    return [
        _Stand(int(low) - 1, int(high), float(np.median(pitch[low - 1 : high])))
        for low, high in zip(edges[::2], edges[1::2], strict=True)
        if high - low + 1 >= _STAND_FRAMES
    ]


def _goes_on(run: list[_Stand], stand: _Stand, frame_s: float) -> bool:
    """Whether a stand continues an alternation."""
    step = abs(stand.level - run[-1].level)
    last = run[-1]
    begins = last.first if len(run) > 1 else max(last.first, last.last - _STAND_FRAMES)
    quick = (stand.first - begins) * frame_s <= _LONGEST_STAND_S * last.units
    returns = len(run) < 2 or abs(stand.level - run[-2].level) <= _ALIKE
    return quick and returns and _NARROWEST <= step <= _WIDEST


def _is_trill(run: list[_Stand], sound: Sound) -> bool:
    low, high = sorted(float(np.median([s.level for s in run[k::2]])) for k in (0, 1))
    interval = high - low
    if abs(interval - round(interval)) > _OFF_FRET:
        return False
    steps = [stand.first for stand in run[1:]]
    if (steps[-1] - steps[0]) * sound.frame_s / (sum(s.units for s in run[1:-1]) or 1) > _SLOWEST_S:
        return False
    rises = [float(sound.strength.rise[max(at - 6, 0) : at + 2].max()) for at in steps]
    if float(np.median(rises)) > _UNPICKED * sound.typical_rise:
        return False
    inside = sound.pitch[run[0].first : run[-1].last]
    inside = inside[~np.isnan(inside)]
    near = (inside < low + _NEAR_EXTREME * interval) | (inside > high - _NEAR_EXTREME * interval)
    return float(near.mean()) >= _DWELLS
