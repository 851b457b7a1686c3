"""Where on the neck each note was put."""

from __future__ import annotations

from dataclasses import dataclass

from transcriber.records.problem import Problem

NECK_FRETS = (5, 36)
"""Fewest and most frets of a neck."""


@dataclass(frozen=True)
class MeasuredString:
    """What a recording of a player's own guitar told about one string.

    Attributes
    ----------
    log10_b : float or None
        Common logarithm of the inharmonicity coefficient B of the whole string, nut to saddle; None where no
        note told it.
    log10_b_sd : float or None
        How far a note of the string may lie from it; None where `log10_b` is None.
    tuning_cents : float or None
        Of its lowest measured fret against equal temperament at A4 = 440 Hz.
    intonation_cents : float or None
        Fret 12 against the octave of the open string, positive where it is sharp.
    brightness : float or None
        Centroid of the partials' amplitudes in multiples of f0, median over the notes.
    notes : int
        Number of notes it was measured from.
    """

    log10_b: float | None
    log10_b_sd: float | None
    tuning_cents: float | None
    intonation_cents: float | None
    brightness: float | None
    notes: int


@dataclass(frozen=True)
class Instrument:
    """A fretted instrument.

    Attributes
    ----------
    name : str
    tuning_midi : tuple of int
        Open strings without capo, string 1 (highest-sounding) first.
    frets : int
        Number of frets on the neck.
    capo : int
        Fret of the capo, 0 for none. Frets are counted from it.
    gauges_in : tuple of float or None
        Diameters of the strings in inches, string 1 first; None where they are not known.
    scale_length_mm : float
        Nut to saddle.
    measured : tuple of (MeasuredString or None), or None
        Strings as measured on the player's own guitar, string 1 first.
    """

    name: str
    tuning_midi: tuple[int, ...]
    frets: int = 24
    capo: int = 0
    gauges_in: tuple[float, ...] | None = None
    scale_length_mm: float = 648.0
    measured: tuple[MeasuredString | None, ...] | None = None

    def open_midi(self, string: int) -> int:
        """Pitch of a string played open over the capo; `string` counts from 1."""
        return self.tuning_midi[string - 1] + self.capo

    @property
    def highest_fret(self) -> int:
        """Highest fret that can be played, counted from the capo."""
        return self.frets - self.capo

    def places(self, pitch_midi: int) -> tuple[tuple[int, int], ...]:
        """All (string, fret) at which a pitch can be played, thinnest string first."""
        found = []
        for string in range(1, len(self.tuning_midi) + 1):
            fret = pitch_midi - self.open_midi(string)
            if 0 <= fret <= self.highest_fret:
                found.append((string, fret))
        return tuple(found)


@dataclass(frozen=True)
class Place:
    """One note's place.

    Attributes
    ----------
    string : int
        1 is the highest-sounding.
    fret : int
        Counted from the capo; 0 is open.
    finger : int or None
        1 to 4, 0 for open, None if not chosen.
    confidence : float
        0 to 1.
    others : tuple of (int, int)
        Other (string, fret) pairs for the same pitch, the likeliest first.
    """

    string: int
    fret: int
    finger: int | None
    confidence: float
    others: tuple[tuple[int, int], ...] = ()


@dataclass(frozen=True)
class PlacedBeside:
    """The second note of a double stop: index of the line's note, own pitch and place."""

    line_note: int
    pitch_midi: int
    place: Place


@dataclass(frozen=True)
class Placed:
    """Places of a whole take; `places` holds None for a note outside the instrument's range.

    `beside` are second notes of double stops, in order of the notes they begin with.
    """

    places: tuple[Place | None, ...]
    problems: tuple[Problem, ...] = ()
    beside: tuple[PlacedBeside, ...] = ()
