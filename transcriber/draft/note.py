"""The notes of a draft."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from transcriber.draft.timing import beats_from_bar_1
from transcriber.records.analysed import NoteMeaning
from transcriber.records.technique import Technique
from transcriber.records.written import Meter


@dataclass(frozen=True)
class Contour:
    """Pitch during a note.

    Attributes
    ----------
    times_s : tuple of float
        Strictly ascending, 5 to 12 ms apart.
    cents : tuple of float or None
        Cents from `pitch_midi` at the take's `reference_hz`, None where there is no pitch.
    """

    times_s: tuple[float, ...]
    cents: tuple[float | None, ...]


@dataclass(frozen=True)
class Confidence:
    """How sure the draft is of each aspect of a note, 0 to 1; `overall` is the product of the others."""

    pitch: float
    onset: float
    place: float
    rhythm: float
    technique: float
    overall: float


CONFIDENCE_ASPECTS: tuple[str, ...] = ("pitch", "onset", "place", "rhythm", "technique")


@dataclass(frozen=True)
class Alternative:
    """Another place for the same pitch; the likeliest stands first in `DraftNote.alternatives`."""

    string: int
    fret: int


@dataclass(frozen=True)
class DraftNote:
    """One sounded note.

    Attributes
    ----------
    id : str
        Unique and stable, such as ``"n012"``; a note added by a person has an id that begins with ``c``.
    onset_s, end_s : float
        Where the note begins to sound and where it stops.
    pitch_midi : int or None
        Fretted pitch (natural harmonic: sounding pitch); None only for a dead note.
    string, fret : int or None
        1 is the highest-sounding; frets count from the capo. Both None outside the instrument's range.
    finger : int or None
        1 to 4, 0 for open, None if not chosen.
    bar : int
        1 is the first full bar, 0 a pickup bar.
    beat : Fraction
        Denominator beats within the bar, from 1; a pickup bar counts as if it were full.
    length : Fraction
        Written length in denominator beats; 0 for a grace and for nothing else.
    voice : int
        1 is the line.
    velocity : int
        1 to 127.
    techniques : tuple of Technique
    contour : Contour
    remark : str or None
        The teacher's own words.
    confidence : Confidence
    alternatives : tuple of Alternative
    meaning : NoteMeaning or None
        What it is in the key and over its chord; None for a note without pitch, or not yet looked at.
    """

    id: str
    onset_s: float
    end_s: float
    pitch_midi: int | None
    string: int | None
    fret: int | None
    finger: int | None
    bar: int
    beat: Fraction
    length: Fraction
    voice: int
    velocity: int
    techniques: tuple[Technique, ...]
    contour: Contour
    remark: str | None
    confidence: Confidence
    alternatives: tuple[Alternative, ...]
    meaning: NoteMeaning | None = None

    def start(self, meter: Meter) -> Fraction:
        """Written position in denominator beats from beat 1 of bar 1; negative in a pickup bar."""
        return beats_from_bar_1(self.bar, self.beat, meter)

    def end(self, meter: Meter) -> Fraction:
        """Written end: `start` and `length` together."""
        return self.start(meter) + self.length

    def has(self, *kinds: str) -> bool:
        """Tell whether the note carries a technique of one of these kinds."""
        return any(technique.kind in kinds for technique in self.techniques)

    def technique(self, kind: str) -> Technique | None:
        """Return the first technique of a kind, or None."""
        return next((technique for technique in self.techniques if technique.kind == kind), None)

    @property
    def is_grace(self) -> bool:
        """Whether the note is a grace: it has no written length."""
        return self.length == 0
