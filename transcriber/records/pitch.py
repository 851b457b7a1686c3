"""Pitch as a MIDI number, as a frequency and as a name: the one place where they are turned into each other.

MIDI 69 is A4, 440 Hz (ISO 16:1975); twelve equal semitones make an octave. Names follow scientific pitch
notation: C4 is MIDI 60.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, overload

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    FloatArray = npt.NDArray[np.float64]

A4_MIDI, A4_HZ = 69, 440.0
SEMITONES = 12
NOTE_NAMES = ("C", "C#", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")


@overload
def midi_to_hz(midi: float, reference_hz: float = A4_HZ) -> float: ...
@overload
def midi_to_hz(midi: FloatArray, reference_hz: float = A4_HZ) -> FloatArray: ...
def midi_to_hz(midi: float | FloatArray, reference_hz: float = A4_HZ) -> float | FloatArray:
    """Return the frequency of a MIDI number in equal temperament; `reference_hz` is that of MIDI 69.

    Parameters
    ----------
    midi : float, or ndarray of float of any shape
    reference_hz : float

    Returns
    -------
    float, or ndarray of the same shape

    Examples
    --------
    >>> round(midi_to_hz(40), 4)
    82.4069
    """
    hz: Any = reference_hz * 2.0 ** ((midi - A4_MIDI) / SEMITONES)
    # No import of numpy, so that the command line can name pitches without waiting for it.
    return hz if getattr(hz, "ndim", 0) else float(hz)


def hz_to_midi(frequency_hz: float, reference_hz: float = A4_HZ) -> float:
    """Return the MIDI number, with its fraction, of a frequency above 0."""
    return A4_MIDI + SEMITONES * math.log2(frequency_hz / reference_hz)


def pitch_name(pitch_midi: int) -> str:
    """Name a MIDI number in scientific pitch notation, such as ``Eb4``."""
    return f"{NOTE_NAMES[pitch_midi % SEMITONES]}{pitch_midi // SEMITONES - 1}"
