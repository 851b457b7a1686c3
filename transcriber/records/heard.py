"""What listening found: the pitch track and the sounded notes, before rhythm and fretting."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from transcriber.records.problem import Problem
from transcriber.records.technique import Technique

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True)
class PitchTrack:
    """Pitch at evenly spaced times. All arrays have shape (n,) and are read-only.

    Attributes
    ----------
    times_s : ndarray of float64
        Centre of each frame, seconds in the file.
    frequency_hz : ndarray of float64
        Fundamental frequency, NaN where there is no pitch.
    guess_hz : ndarray of float64
        The likeliest frequency even where the frame was found to have no pitch; NaN in silence.
    voiced_probability : ndarray of float64
        Periodicity of the frame at its likeliest pitch, 0 (noise, silence) to 1.
    level_db : ndarray of float64
        Level of the frame, dB below full scale.
    """

    times_s: FloatArray
    frequency_hz: FloatArray
    guess_hz: FloatArray
    voiced_probability: FloatArray
    level_db: FloatArray


@dataclass(frozen=True)
class Stiffness:
    """How a string sounds.

    Attributes
    ----------
    log10_b, standard_error : float
        Common logarithm of the inharmonicity coefficient B, and its standard error.
    brightness : float or None
        Centroid of the partials' amplitudes, in multiples of f0.
    f0_hz : float or None
        Pitch of the fundamental near the attack, freed from the sharpness of the other partials.
    """

    log10_b: float
    standard_error: float
    brightness: float | None = None
    f0_hz: float | None = None


@dataclass(frozen=True)
class HeardNote:
    """One note as it sounded.

    Attributes
    ----------
    onset_s, end_s : float
        Where the note begins to sound (slur or slide: where its pitch is reached) and where it stops,
        seconds in the file.
    pitch_midi : int
        Fretted pitch; a bend does not change it.
    velocity : int
        1 to 127, from the level of the attack.
    techniques : tuple of Technique
    contour_times_s, contour_cents : ndarray, shape (k,), read-only
        Pitch during the note, cents from `pitch_midi` at the take's reference; NaN where there is none.
    pitch_confidence, onset_confidence, technique_confidence : float
        0 to 1.
    stiffness : Stiffness or None
        What the note's partials tell of its string; None where they tell nothing.
    second_midi : int or None
        Pitch that begins with the note on another string: the two are a double stop.
    """

    onset_s: float
    end_s: float
    pitch_midi: int
    velocity: int
    techniques: tuple[Technique, ...]
    contour_times_s: FloatArray
    contour_cents: FloatArray
    pitch_confidence: float
    onset_confidence: float
    technique_confidence: float
    stiffness: Stiffness | None = None
    second_midi: int | None = None

    def has(self, *kinds: str) -> bool:
        """Tell whether the note carries a technique of one of these kinds."""
        return any(technique.kind in kinds for technique in self.techniques)


@dataclass(frozen=True)
class Heard:
    """All that listening found in a take.

    Attributes
    ----------
    notes : tuple of HeardNote
        The line, in order of onset.
    reference_hz : float
        Frequency of MIDI 69 on this take: 440 moved by the tuning offset found.
    track : PitchTrack
    problems : tuple of Problem
    clicks_s : tuple of float
        Times of the clicks of a count-in or a metronome, ascending, seconds in the file; no notes.
    """

    notes: tuple[HeardNote, ...]
    reference_hz: float
    track: PitchTrack
    problems: tuple[Problem, ...] = ()
    clicks_s: tuple[float, ...] = ()
