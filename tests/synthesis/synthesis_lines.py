"""Short lines that the synthesis tests share."""

from __future__ import annotations

from fractions import Fraction

from transcriber.records.line import Line, LineNote, PlayedNote
from transcriber.records.placed import Instrument
from transcriber.records.technique import Technique
from transcriber.records.written import Meter

FOUR_FOUR = Meter(4, 4)
GUITAR = Instrument("test guitar", (64, 59, 55, 50, 45, 40), frets=22)


def note(start: str, length: str, place: str, *techniques: Technique, velocity: int = 90) -> LineNote:
    """A note at `place`, written string.fret."""
    string, fret = place.split(".")
    return LineNote(Fraction(start), Fraction(length), int(string), int(fret), velocity, techniques)


def line(*notes: LineNote, tempo: float = 60.0, meter: Meter = FOUR_FOUR, swing: float | None = None) -> Line:
    return Line("test line", GUITAR, meter, tempo, notes, swing)


def curve(played: PlayedNote, time_s: float) -> float:
    import numpy as np

    return float(np.interp(time_s, played.curve_times_s, played.curve_semitones))
