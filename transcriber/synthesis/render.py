"""From a performance to sound."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from transcriber.errors import UsageError
from transcriber.records.line import Performance
from transcriber.synthesis import amplifier
from transcriber.synthesis.excitation import string_histories
from transcriber.synthesis.noises import add_circuit_noise, add_hand_noises
from transcriber.synthesis.resonance import add_string
from transcriber.synthesis.string_model import string_for
from transcriber.synthesis.tone import Tone

SAMPLE_RATE_HZ = 44100
_TAIL_S = 0.7
_RATE_BOUNDS_HZ = (16000, 96000)


def render_performance(
    performance: Performance,
    tone: Tone,
    seed: int,
    sample_rate_hz: int = SAMPLE_RATE_HZ,
    between: Callable[[], None] | None = None,
) -> npt.NDArray[np.float32]:
    """Make the sound of a performance.

    Parameters
    ----------
    performance : Performance
    tone : Tone
    seed : int
        Same performance, tone and seed give the same samples.
    sample_rate_hz : int
        16,000 to 96,000.
    between : callable, optional
        Called between notes and other pieces of work; what it raises ends the rendering.

    Returns
    -------
    ndarray of float32, shape (n,)
        Mono; the loudest sample lies at `tone.peak_db`, never above -1 dB full scale. It ends 0.7 s after the
        last note.

    Raises
    ------
    UsageError
        If the sample rate is out of its bounds.
    """
    low, high = _RATE_BOUNDS_HZ
    if not low <= sample_rate_hz <= high:
        raise UsageError(f"sample rate is {sample_rate_hz} Hz; give {low} to {high}")
    end_s = max(note.end_s for note in performance.notes) + _TAIL_S
    out = np.zeros(round(end_s * sample_rate_hz), dtype=np.float32)
    specs = {}
    for history in string_histories(performance):
        specs[history.string] = string_for(performance.line.instrument.open_midi(history.string))
        rng = np.random.default_rng([seed, 1, history.string])
        add_string(out, history, specs[history.string], tone, sample_rate_hz, rng, between)
    add_hand_noises(out, performance, specs, tone, sample_rate_hz, seed)
    for stage in (amplifier.pickup, amplifier.drive, amplifier.room):
        if between is not None:
            between()
        out = stage(out, tone, sample_rate_hz)
    out = amplifier.to_peak(out, tone.peak_db)
    add_circuit_noise(out, tone, sample_rate_hz, seed)
    return amplifier.to_peak(out, tone.peak_db)
