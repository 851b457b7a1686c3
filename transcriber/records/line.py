"""A line as a composer writes it, and as a player plays it: what the synthesiser and the splicer take."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

import numpy as np
import numpy.typing as npt

from transcriber.records.placed import Instrument
from transcriber.records.technique import Technique
from transcriber.records.written import Meter


@dataclass(frozen=True)
class LineNote:
    """One written note.

    Attributes
    ----------
    start, length : Fraction
        Denominator beats from beat 1 of bar 1 (negative in a pickup bar), and written length.
    string, fret : int
        As in `Place`.
    velocity : int
        1 to 127.
    techniques : tuple of Technique
        Times in them are ignored: the performance decides when a gesture begins.
    """

    start: Fraction
    length: Fraction
    string: int
    fret: int
    velocity: int = 90
    techniques: tuple[Technique, ...] = ()


@dataclass(frozen=True)
class Line:
    """A written line: what is to be played."""

    title: str
    instrument: Instrument
    meter: Meter
    tempo_bpm: float
    notes: tuple[LineNote, ...]
    swing: float | None = None


@dataclass(frozen=True)
class PlayedNote:
    """One note of a performance: everything needed to make its sound, and its truth.

    Attributes
    ----------
    onset_s, end_s : float
        Seconds from the start of the rendered take.
    string, fret, pitch_midi, velocity : int
    picked : bool
        False when a slur or an unpicked slide sounds the note: then it continues the string's vibration.
    curve_times_s, curve_semitones : ndarray of float64, shape (k,), read-only
        Pitch of the note against `pitch_midi`, piecewise linear between these points; the first time is
        `onset_s` (earlier for a slide, whose glide precedes its arrival), the last `end_s`.
    techniques : tuple of Technique
        With the times at which they were really played.
    """

    onset_s: float
    end_s: float
    string: int
    fret: int
    pitch_midi: int
    velocity: int
    picked: bool
    curve_times_s: npt.NDArray[np.float64]
    curve_semitones: npt.NDArray[np.float64]
    techniques: tuple[Technique, ...]


@dataclass(frozen=True)
class Performance:
    """A line as played: one played note for each written note, and the beats it was played to.

    `beats_s[i]` is the time of denominator beat ``first_beat + i``.
    """

    line: Line
    notes: tuple[PlayedNote, ...]
    beats_s: tuple[float, ...]
    first_beat: int
