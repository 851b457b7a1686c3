"""What a line is made of: key, chords, the meaning of each note, phrases, shapes, and what makes it hard."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

KeyMode = Literal["major", "minor", "dorian", "phrygian", "lydian", "mixolydian", "locrian"]
Role = Literal["chord_tone", "extension", "passing", "approach", "outside"]
ShapeKind = Literal[
    "pentatonic_box", "major_scale_shape", "position", "triad", "half_step_approach", "chromatic_run"
]


@dataclass(frozen=True)
class LinePoint:
    """One note of a line, as the analysis sees it.

    Attributes
    ----------
    onset_s, end_s : float
        Seconds in the file.
    start, length : Fraction
        Written place from beat 1 of bar 1, and written length, in denominator beats.
    pitch_midi : int or None
        Fretted pitch; None where there is none.
    bends : tuple of float
        Heights that it is bent to, semitones above the fret.
    string, fret, finger : int or None
        As in `Place`.
    slid : bool
        Whether it is reached by sliding on its string.
    """

    onset_s: float
    end_s: float
    start: Fraction
    length: Fraction
    pitch_midi: int | None
    bends: tuple[float, ...] = ()
    string: int | None = None
    fret: int | None = None
    finger: int | None = None
    slid: bool = False

    @property
    def goal_midi(self) -> int | None:
        """Pitch that the ear takes away: the top of a bend of about a semitone or more, else the fret's."""
        if self.pitch_midi is None:
            return None
        return self.pitch_midi + (int(max(self.bends) + 0.5) if self.bends else 0)


@dataclass(frozen=True)
class KeyFound:
    """A key: `tonic` with ``#`` or ``b``, `mode`, and how sure it is (0 to 1; 1 where it was given).

    `relative` names the major or minor key of the same signature, `outside` the pitches that stand outside.
    """

    tonic: str
    mode: KeyMode
    confidence: float
    relative: str = ""
    outside: tuple[str, ...] = ()
    given: bool = False

    def __str__(self) -> str:
        return f"{self.tonic} {self.mode}"


@dataclass(frozen=True)
class ChordSpan:
    """A chord symbol that holds from `start` for `length` denominator beats from beat 1 of bar 1."""

    name: str
    start: Fraction
    length: Fraction


@dataclass(frozen=True)
class NoteMeaning:
    """What a note is in its key and over its chord, judged by the pitch that it is bent to, if it is.

    Attributes
    ----------
    name : str
        Spelled in the key, without octave.
    degree : str
        In the key, against the major scale of its tonic, such as ``"b3"``.
    in_key : bool
    chord : str or None
        Symbol of the chord it sounds over.
    chord_degree : str or None
        Against the chord's root, such as ``"9"``.
    role : str or None
        None where there is no chord.
    fretted_degree : str or None
        Degree of the fretted pitch, where the note is bent away from it.
    """

    name: str
    degree: str
    in_key: bool
    chord: str | None = None
    chord_degree: str | None = None
    role: Role | None = None
    fretted_degree: str | None = None


@dataclass(frozen=True)
class BendCount:
    """How often notes are bent to a height: semitones to the nearest half, and times."""

    semitones: float
    times: int


@dataclass(frozen=True)
class HardParts:
    """What makes a phrase hard, as plain facts.

    Attributes
    ----------
    notes_a_second : float
        Fastest passage: the most notes a second over four neighbours (or as many as there are).
    shift_frets : int
        Largest move of the index finger from one note to the next.
    stretch_frets : int
        Most frets between lowest and highest fretted note of one hand position.
    bends : tuple of BendCount
        From the lowest up.
    string_changes_a_beat : float
        Changes of string in a denominator beat, over the phrase.
    """

    notes_a_second: float
    shift_frets: int
    stretch_frets: int
    bends: tuple[BendCount, ...]
    string_changes_a_beat: float


@dataclass(frozen=True)
class PhraseFound:
    """Notes `first` up to, not including, `stop`; `like` is the number (from 0) of the phrase it takes up."""

    first: int
    stop: int
    like: int | None = None
    like_words: str | None = None


@dataclass(frozen=True)
class ShapeSpan:
    """Notes `first` up to, not including, `stop`, and the shape they are played out of.

    Attributes
    ----------
    kind : str
    name : str
        For people, such as ``"A minor pentatonic, box 1"``.
    also : tuple of str
        Other names of the same notes: the relative key's.
    first, stop : int
    position : int
        Fret of the index finger, from the capo, 0 in open position.
    places : tuple of (int, int)
        The whole shape as (string, fret), string 1 first; the notes' own places where no scale stands behind.
    explained, unexplained : tuple of int
        Notes of the span that the shape holds, and those that it does not.
    """

    kind: ShapeKind
    name: str
    also: tuple[str, ...]
    first: int
    stop: int
    position: int
    places: tuple[tuple[int, int], ...]
    explained: tuple[int, ...]
    unexplained: tuple[int, ...]


@dataclass(frozen=True)
class Analysis:
    """All that was found out about a line; `meanings` has one entry for each note, None without pitch."""

    key: KeyFound
    chords: tuple[ChordSpan, ...]
    meanings: tuple[NoteMeaning | None, ...]
    phrases: tuple[PhraseFound, ...]
    hard_parts: tuple[HardParts, ...]
    shapes: tuple[ShapeSpan, ...]
