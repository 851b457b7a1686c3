"""A stiff, plucked, magnetically picked-up string.

Partials lie at ``f_n = n f0 sqrt(1 + B n^2)`` with ``B = pi^3 E d^4 / (64 T L^2)`` (Fletcher 1964); for a
wound string ``d`` is its core, which alone resists bending. Stopping the string at fret n shortens L and
leaves T alone, so ``B(n) = B(0) 2^(n/6)``. An ideal pluck at share p of the length gives the n-th partial of
the string's velocity the amplitude ``sin(n pi p) / n``; a pickup at share q senses it with ``sin(n pi q)``.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from transcriber.records.pitch import midi_to_hz

FloatArray = npt.NDArray[np.float64]

SCALE_LENGTH_M = 0.6477
_YOUNG_PA = 207e9
_STEEL_KG_M3 = 7800.0
_WRAP_KG_M3 = 7900.0
# Round wire laid side by side fills pi / 4 of its ring.
_WRAP_FILL = math.pi / 4
_INCH_M = 0.0254

# Decay in dB a second, close to what was measured on two solid-body electrics: a floor, a part that grows
# with the pitch, and a part that grows with the frequency of the partial.
_DECAY_FLOOR_DB, _DECAY_PITCH_DB, _DECAY_FREQUENCY_DB = 3.5, 6.0, 8.0
_DECAY_EXPONENT = 1.1
_DECIBELS_PER_NEPER = 20.0 / math.log(10.0)
# No real comb has perfect zeros: pick and pickup have a width.
_COMB_FLOOR = 0.04


@dataclass(frozen=True)
class StringSpec:
    """One string of a set.

    Attributes
    ----------
    open_midi : int
        Pitch it is made for.
    gauge_in, core_in : float
        Outer and core diameter, inches; equal for a plain string.
    """

    open_midi: int
    gauge_in: float
    core_in: float

    @property
    def wound(self) -> bool:
        """Whether the string has a wrap."""
        return self.gauge_in > self.core_in

    @property
    def mass_kg_m(self) -> float:
        """Mass per length, kg/m."""
        outer, core = self.gauge_in * _INCH_M, self.core_in * _INCH_M
        ring = math.pi / 4 * (outer**2 - core**2)
        return math.pi / 4 * core**2 * _STEEL_KG_M3 + ring * _WRAP_FILL * _WRAP_KG_M3

    @property
    def tension_n(self) -> float:
        """Tension at its pitch on the full scale, newtons."""
        return self.mass_kg_m * (2.0 * SCALE_LENGTH_M * midi_to_hz(self.open_midi)) ** 2

    @property
    def inharmonicity(self) -> float:
        """B of the open string."""
        core = self.core_in * _INCH_M
        return math.pi**3 * _YOUNG_PA * core**4 / (64.0 * self.tension_n * SCALE_LENGTH_M**2)


# A common light set (common practice), the thinnest first, with a low B for seven strings and basses' thicker
# strings extended in the same proportions.
STRING_SET: tuple[StringSpec, ...] = (
    StringSpec(64, 0.010, 0.010),
    StringSpec(59, 0.013, 0.013),
    StringSpec(55, 0.017, 0.017),
    StringSpec(50, 0.026, 0.013),
    StringSpec(45, 0.036, 0.015),
    StringSpec(40, 0.046, 0.017),
    StringSpec(35, 0.060, 0.020),
    StringSpec(28, 0.080, 0.024),
)


def string_for(open_midi: int) -> StringSpec:
    """String of the set made for the nearest pitch."""
    return min(STRING_SET, key=lambda spec: abs(spec.open_midi - open_midi))


def inharmonicity_at_fret(open_inharmonicity: float, fret: FloatArray | float) -> FloatArray:
    """B of a stopped string, for one fret or an array of them: doubles every six frets."""
    return np.asarray(open_inharmonicity * 2.0 ** (np.asarray(fret) / 6.0))


def partial_ratios(count: int, inharmonicity: FloatArray | float) -> FloatArray:
    """Frequencies of the partials over f0.

    Parameters
    ----------
    count : int
        Number of partials.
    inharmonicity : float or ndarray, shape (k,)

    Returns
    -------
    ndarray, shape (count,) or (count, k)
    """
    stiffness = np.asarray(inharmonicity, dtype=np.float64)
    n = np.arange(1.0, count + 1.0).reshape((-1,) + (1,) * stiffness.ndim)
    return np.asarray(n * np.sqrt(1.0 + stiffness * n**2))


def pluck_spectrum(count: int, pluck_share: float, pickup_share: float) -> FloatArray:
    """Signed amplitudes of the partials of an ideal pluck as a pickup senses it.

    Parameters
    ----------
    count : int
    pluck_share, pickup_share : float
        Distance from the bridge as a share of the sounding length.

    Returns
    -------
    ndarray, shape (count,)
    """
    n = np.arange(1.0, count + 1.0)
    return _comb(n, pluck_share) * _comb(n, pickup_share) / n


def _comb(n: FloatArray, share: float) -> FloatArray:
    value = np.sin(np.pi * n * share)
    return np.asarray(np.where(value < 0, -1.0, 1.0) * np.sqrt(value**2 + _COMB_FLOOR**2))


def decay_rates(f0_hz: float, partials_hz: FloatArray, sustain: float) -> FloatArray:
    """Decay of the partials, nepers a second.

    Parameters
    ----------
    f0_hz : float
    partials_hz : ndarray, shape (n,)
    sustain : float
        Factor on how long they ring.
    """
    decibels = (
        _DECAY_FLOOR_DB
        + _DECAY_PITCH_DB * f0_hz / 440.0
        + _DECAY_FREQUENCY_DB * (partials_hz / 1000.0) ** _DECAY_EXPONENT
    )
    return np.asarray(decibels / _DECIBELS_PER_NEPER / sustain)
