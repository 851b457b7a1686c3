from __future__ import annotations

import numpy as np
import pytest

from transcriber.synthesis.string_model import (
    STRING_SET,
    decay_rates,
    inharmonicity_at_fret,
    partial_ratios,
    pluck_spectrum,
    string_for,
)

# Plain strings .010 / .013 / .017 on a 25.5 in scale: tension in newtons and B, computed from mass per length
# and E = 207 GPa (the project's table of outside values).
PLAIN = [(64, 0.010, 72.1, 1.38e-5), (59, 0.013, 68.4, 4.15e-5), (55, 0.017, 73.7, 1.13e-4)]


@pytest.mark.parametrize(("midi", "gauge", "tension", "inharmonicity"), PLAIN)
def test_plain_strings_against_outside_values(midi, gauge, tension, inharmonicity):
    spec = string_for(midi)
    assert spec.gauge_in == gauge
    assert not spec.wound
    assert spec.tension_n == pytest.approx(tension, rel=0.005)
    assert spec.inharmonicity == pytest.approx(inharmonicity, rel=0.01)


def test_wound_strings_are_in_the_range_of_real_sets():
    # Tensions of light electric sets lie between 60 and 95 N (common practice).
    for spec in STRING_SET[3:6]:
        assert spec.wound
        assert 60 < spec.tension_n < 95
        assert 2e-5 < spec.inharmonicity < 1.5e-4


def test_b_doubles_every_six_frets():
    # f = sqrt(T / m) / 2L and B ~ 1 / (T L^2): stopping at fret n shortens L by 2^(-n/12), T stays.
    for fret in range(0, 23):
        assert inharmonicity_at_fret(3e-5, fret) == pytest.approx(3e-5 / (2 ** (-fret / 12)) ** 2)
    assert inharmonicity_at_fret(3e-5, 12) == pytest.approx(4 * 3e-5)


def test_partials_of_a_stiff_string():
    assert partial_ratios(4, 0.0) == pytest.approx([1, 2, 3, 4])
    assert partial_ratios(20, 1e-4)[19] == pytest.approx(20 * np.sqrt(1.04))
    assert partial_ratios(3, np.array([0.0, 1e-4])).shape == (3, 2)


def test_a_pluck_in_the_middle_leaves_out_even_partials():
    spectrum = np.abs(pluck_spectrum(8, 0.5, 0.11))
    odd = np.abs(pluck_spectrum(8, 0.27, 0.11))
    assert spectrum[1] < 0.1 * odd[1]
    assert spectrum[3] < 0.2 * odd[3]
    assert spectrum[0] > odd[0]


def test_a_pickup_has_its_zero_where_the_partial_has_a_node():
    # A pickup at a fifth of the string hears no fifth partial.
    spectrum = np.abs(pluck_spectrum(6, 0.13, 0.2))
    assert spectrum[4] < 0.1 * spectrum[3]


def test_high_partials_and_high_notes_die_sooner():
    rates = decay_rates(110.0, np.array([110.0, 1000.0, 4000.0]), 1.0)
    assert np.all(np.diff(rates) > 0)
    assert decay_rates(880.0, np.array([1000.0]), 1.0) > rates[1]
    assert decay_rates(110.0, np.array([110.0]), 2.0) == pytest.approx(rates[0] / 2)
