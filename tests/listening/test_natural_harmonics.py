"""A touched string told from a fretted one beside a string that only sounds along."""

from __future__ import annotations

import numpy as np
import pytest

from transcriber.listening import listen
from transcriber.records.heard import HeardNote
from transcriber.records.placed import Instrument
from transcriber.records.take import Take

RATE = 22_050
GUITAR = Instrument("standard", (64, 59, 55, 50, 45, 40))
D3_HZ = 440.0 * 2 ** ((50 - 69) / 12)


def picked(partials_hz: list[float], levels: list[float], seconds: float) -> np.ndarray:
    t = np.arange(round(seconds * RATE)) / RATE
    rising = np.minimum(t / 0.004, 1.0) * np.exp(-1.5 * t)
    return rising * sum(a * np.sin(2 * np.pi * f * t) for f, a in zip(partials_hz, levels, strict=True))


def heard(open_off_cents: float, residue_db: float, noise_db: float = -85.0) -> HeardNote:
    """Hear D4, with an open D string 9 partials deep under it."""
    rng = np.random.default_rng(2)
    octave = [2 * D3_HZ * k for k in range(1, 7)]
    sounding = picked(octave, [1.0 / k for k in range(1, 7)], 1.0)
    open_hz = D3_HZ * 2 ** (open_off_cents / 1200)
    below = picked([open_hz * k for k in range(1, 10)], [10 ** (residue_db / 20)] * 9, 1.0)
    quiet = np.zeros(RATE // 4)
    sound = 0.2 * np.concatenate([quiet, sounding + below, quiet])
    sound = sound + 10 ** (noise_db / 20) * rng.normal(size=len(sound))
    take = Take(sound.astype(np.float32), RATE, 0.0, "", "", RATE, len(sound) / RATE)
    (note,) = listen(take, GUITAR).notes
    return note


@pytest.mark.parametrize("residue_db", [-40.0, -50.0, -58.0])
def test_a_touched_string_lets_its_own_partials_through(residue_db: float) -> None:
    """Recorded harmonics let them through at 40 to 58 dB below what sounds."""
    note = heard(0.0, residue_db)
    assert note.pitch_midi == 62
    assert note.has("natural_harmonic")


@pytest.mark.parametrize("off_cents", [-14.0, -8.0, 8.0, 14.0])
def test_a_string_that_sounds_along_is_out_of_tune(off_cents: float) -> None:
    assert not heard(off_cents, -44.0).has("natural_harmonic")


def test_noise_alone_is_no_string() -> None:
    assert not heard(0.0, -200.0, -60.0).has("natural_harmonic")
