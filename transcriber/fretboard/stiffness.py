"""How stiff each string is at each fret, and what a measured inharmonicity says about the string.

A stiff string's partials lie at ``n f0 sqrt(1 + B n^2)`` with ``B = pi^3 E d^4 / (64 T L^2)`` (Fletcher
1964); ``d`` is the core of a wound string, which alone resists bending. Fretting shortens L and leaves the
tension, so B doubles every six frets from the nut on. The strings of a guitar nobody has measured are taken
to be those of its instrument file: real sets stray from them by `StiffnessSettings.model_sd`. Where the
player's own guitar was measured, what was measured stands instead.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from transcriber.records.pitch import midi_to_hz
from transcriber.records.placed import Instrument, MeasuredString

_YOUNG_PA = 207e9
_STEEL_KG_M3 = 7800.0
_WRAP_KG_M3 = 7900.0
# Round wire laid side by side fills pi / 4 of its ring.
_WRAP_FILL = math.pi / 4
_INCH_M = 0.0254
_FRETS_PER_DOUBLING = 6.0
# Electric sets wind their third string from this gauge on; thinner ones are plain (common practice).
_WOUND_FROM_IN = 0.0205
# Core of a wound string by its gauge, inches. From .024 to .053 they follow from the open-string B of one
# acoustic set (Barbancho et al. 2012, quoted second-hand) taken to be .024 .032 .042 .053 on 25.5 in; the
# others are extended from there by hand and were held against no recording.
_WOUND_GAUGES_IN = (0.020, 0.024, 0.032, 0.042, 0.053, 0.060, 0.080, 0.105)
_CORES_IN = (0.0116, 0.0137, 0.0152, 0.0169, 0.0179, 0.0200, 0.0240, 0.0290)


@dataclass(frozen=True)
class StringSet:
    """Strings of an instrument, string 1 (highest-sounding) first.

    Attributes
    ----------
    tuning_midi : tuple of int
        Open strings without capo.
    gauges_in : tuple of float
        Outer diameters, inches.
    scale_length_mm : float
        Nut to saddle.
    capo : int
        Fret of the capo, 0 for none; frets are counted from it.
    measured : tuple of (MeasuredString or None), or None
        Strings that were measured; the others are computed from their gauges.
    """

    tuning_midi: tuple[int, ...]
    gauges_in: tuple[float, ...]
    scale_length_mm: float
    capo: int = 0
    measured: tuple[MeasuredString | None, ...] | None = None


@dataclass(frozen=True)
class StiffnessSettings:
    """How far to trust the sound of a string.

    Attributes
    ----------
    model_sd : float
        Standard deviation of a real string's log10 B from the computed one. Chosen by hand: one common set up
        or down (.009 or .011 for .010) is 0.09, makers' cores as much again.
    measured_sd_floor : float
        Least standard deviation from a measured one, however well its own notes agreed: frets of one string
        stray from the law by 0.01 to 0.02, and strings age.
    outlier_share, measured_outlier_share : float
        Share of measurements taken to tell nothing, of a computed and of a measured string; bounds what one
        note can say.
    outlier_width : float
        Range of log10 B over which such measurements are spread.
    """

    model_sd: float = 0.12
    measured_sd_floor: float = 0.03
    outlier_share: float = 0.1
    measured_outlier_share: float = 0.02
    outlier_width: float = 2.5


def string_set_of(instrument: Instrument) -> StringSet | None:
    """Gather what is known of an instrument's strings; None where some are neither measured nor described."""
    measured = instrument.measured or (None,) * len(instrument.tuning_midi)
    if instrument.gauges_in is None and any(known is None or known.log10_b is None for known in measured):
        return None
    return StringSet(
        instrument.tuning_midi,
        instrument.gauges_in or (),
        instrument.scale_length_mm,
        instrument.capo,
        instrument.measured,
    )


def expected_log10_b(strings: StringSet, string: int, fret: float) -> float:
    """Compute the inharmonicity expected of a stopped string, from what was measured if it was.

    Parameters
    ----------
    strings : StringSet
    string : int
        1 is the highest-sounding.
    fret : float
        Counted from the capo.

    Returns
    -------
    float
        log10 B.

    Examples
    --------
    >>> light = StringSet((64,), (0.010,), 647.7)
    >>> round(10 ** expected_log10_b(light, 1, 0) * 1e5, 2)
    1.38
    """
    shortened = (fret + strings.capo) / _FRETS_PER_DOUBLING * math.log10(2.0)
    measured = strings.measured[string - 1] if strings.measured else None
    if measured is not None and measured.log10_b is not None:
        return measured.log10_b + shortened
    gauge_in = strings.gauges_in[string - 1]
    core_in = core_of(gauge_in)
    core_m, length_m = core_in * _INCH_M, strings.scale_length_mm / 1000.0
    open_hz = midi_to_hz(strings.tuning_midi[string - 1])
    tension_n = _mass_kg_m(gauge_in, core_in) * (2.0 * length_m * open_hz) ** 2
    open_b = math.pi**3 * _YOUNG_PA * core_m**4 / (64.0 * tension_n * length_m**2)
    return math.log10(open_b) + shortened


def at_the_nut(log10_b: float, fret: float, capo: int = 0) -> float:
    """Refer the inharmonicity of a stopped string to its whole length; `fret` counts from the capo."""
    return log10_b - (fret + capo) / _FRETS_PER_DOUBLING * math.log10(2.0)


def core_of(gauge_in: float) -> float:
    """Diameter of what resists bending: the core of a wound string, the whole of a plain one; inches."""
    if gauge_in < _WOUND_FROM_IN:
        return gauge_in
    return float(np.interp(gauge_in, _WOUND_GAUGES_IN, _CORES_IN))


class StringEvidence:
    """What measured inharmonicities say about the places of notes; what is expected is worked out once.

    A measurement is normal about the expected value, with the strings' and its own error, or an outlier
    that says nothing: one far from all places, or a poor one, makes no difference between them.

    Parameters
    ----------
    strings : StringSet
    instrument : Instrument
        Says which places a pitch has.
    settings : StiffnessSettings, optional
    """

    def __init__(
        self, strings: StringSet, instrument: Instrument, settings: StiffnessSettings | None = None
    ) -> None:
        self._strings = strings
        self._instrument = instrument
        self._settings = settings or StiffnessSettings()
        self._expected: dict[int, list[_Expected]] = {}

    def log_likelihoods(
        self, pitch_midi: int, log10_b: float, standard_error: float
    ) -> dict[tuple[int, int], float]:
        """Say how well a measurement fits each place of a pitch.

        Returns
        -------
        dict of (int, int) to float
            Natural logarithm of the likelihood of each place over that of the best, so at most 0.
        """
        return _log_likelihoods(log10_b, standard_error, self._places(pitch_midi), self._settings)

    def nearest(self, pitch_midi: int, log10_b: float, standard_error: float) -> tuple[float, float]:
        """Tell how far a measurement lies from the nearest place of its pitch.

        Returns
        -------
        float
            In standard deviations; infinite if the pitch has no place.
        float
            Share of the variance that is the strings' own, 0 to 1: little where the note was heard vaguely.
        """
        distance, clarity = math.inf, 0.0
        for place in self._places(pitch_midi):
            spread = math.hypot(place.sd, standard_error)
            distance = min(distance, abs(log10_b - place.log10_b) / spread)
            clarity = max(clarity, (place.sd / spread) ** 2)
        return distance, clarity

    def _places(self, pitch_midi: int) -> list[_Expected]:
        if pitch_midi not in self._expected:
            places = self._instrument.places(pitch_midi)
            self._expected[pitch_midi] = [_expect(self._strings, place, self._settings) for place in places]
        return self._expected[pitch_midi]


def string_log_likelihoods(
    log10_b: float,
    standard_error: float,
    places: Iterable[tuple[int, int]],
    strings: StringSet,
    settings: StiffnessSettings | None = None,
) -> dict[tuple[int, int], float]:
    """Say how well a measured inharmonicity fits each place: see `StringEvidence.log_likelihoods`.

    Parameters
    ----------
    log10_b, standard_error : float
        As measured.
    places : iterable of (int, int)
        (string, fret) pairs, frets counted from the capo.
    strings : StringSet
    settings : StiffnessSettings, optional
    """
    settings = settings or StiffnessSettings()
    expected = [_expect(strings, place, settings) for place in places]
    return _log_likelihoods(log10_b, standard_error, expected, settings)


@dataclass(frozen=True)
class _Expected:
    """What a note at one place would be measured at, and how far a string may lie from it."""

    place: tuple[int, int]
    log10_b: float
    sd: float
    outlier_share: float


def _expect(strings: StringSet, place: tuple[int, int], settings: StiffnessSettings) -> _Expected:
    string, fret = place
    known = strings.measured[string - 1] if strings.measured else None
    measured = known is not None and known.log10_b is not None
    return _Expected(
        place=place,
        log10_b=expected_log10_b(strings, string, fret),
        sd=_expectation_sd(strings, string, settings),
        outlier_share=settings.measured_outlier_share if measured else settings.outlier_share,
    )


def _log_likelihoods(
    log10_b: float, standard_error: float, expected: Sequence[_Expected], settings: StiffnessSettings
) -> dict[tuple[int, int], float]:
    scores = {}
    for each in expected:
        spread = math.hypot(each.sd, standard_error)
        distance = (log10_b - each.log10_b) / spread
        density = math.exp(-0.5 * distance**2) / (spread * math.sqrt(2.0 * math.pi))
        outlier = each.outlier_share / settings.outlier_width
        scores[each.place] = math.log((1.0 - each.outlier_share) * density + outlier)
    best = max(scores.values(), default=0.0)
    return {place: score - best for place, score in scores.items()}


def _expectation_sd(strings: StringSet, string: int, settings: StiffnessSettings) -> float:
    """How far a string's log10 B may lie from the expected one."""
    measured = strings.measured[string - 1] if strings.measured else None
    if measured is None or measured.log10_b is None:
        return settings.model_sd
    return max(measured.log10_b_sd or 0.0, settings.measured_sd_floor)


def _mass_kg_m(gauge_in: float, core_in: float) -> float:
    """Mass per length of a plain or wound string."""
    outer, core = gauge_in * _INCH_M, core_in * _INCH_M
    wrap = math.pi / 4.0 * (outer**2 - core**2) * _WRAP_FILL * _WRAP_KG_M3
    return math.pi / 4.0 * core**2 * _STEEL_KG_M3 + wrap
