"""Pitch as a MIDI number, as a frequency and as a name: the one place where they are turned into each other.

MIDI 69 is A4, 440 Hz (ISO 16:1975); twelve equal semitones make an octave. Names follow scientific pitch
notation: C4 is MIDI 60.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, overload

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    FloatArray = npt.NDArray[np.float64]

A4_MIDI, A4_HZ = 69, 440.0
SEMITONES = 12
NOTE_NAMES = ("C", "C#", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")
SHARP_NAMES = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")
FLAT_NAMES = ("C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B")


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


def open_string_names(open_midi: Sequence[int]) -> tuple[str, ...]:
    """Name open strings as players do: all in sharps, or all in flats if one of them is an Eb or a Bb.

    Parameters
    ----------
    open_midi : sequence of int
        MIDI numbers of the open strings, in any order.

    Returns
    -------
    tuple of str
        Names without octaves, in the order given.

    Examples
    --------
    >>> open_string_names((39, 44, 49, 54, 58, 63))
    ('Eb', 'Ab', 'Db', 'Gb', 'Bb', 'Eb')
    >>> open_string_names((40, 47, 52, 56, 59, 64))
    ('E', 'B', 'E', 'G#', 'B', 'E')
    """
    classes = [midi % SEMITONES for midi in open_midi]
    flat = any(FLAT_NAMES[each] in ("Eb", "Bb") for each in classes)
    return tuple((FLAT_NAMES if flat else SHARP_NAMES)[each] for each in classes)
