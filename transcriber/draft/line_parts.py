"""What a draft says of its line beside the notes: key, chords, phrases and their fingerings, shapes."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from transcriber.draft.timing import beats_from_bar_1
from transcriber.records.analysed import HardParts, KeyMode, ShapeKind
from transcriber.records.written import Meter


@dataclass(frozen=True)
class Key:
    """Key of the take.

    Attributes
    ----------
    tonic : str
        A letter with ``#`` or ``b`` where needed, such as ``"F#"``.
    mode : str
    relative : str
        Major or minor key of the same signature, such as ``"A major"``.
    outside : tuple of str
        Pitches of the take that stand outside the key, spelled.
    confidence : float
        How sure the signature is, 0 to 1; 1 where a person gave the key.
    given : bool
        Whether a person gave it.
    """

    tonic: str
    mode: KeyMode
    relative: str = ""
    outside: tuple[str, ...] = ()
    confidence: float = 1.0
    given: bool = True


@dataclass(frozen=True)
class Chord:
    """One chord symbol, such as ``"Am7"``, where it begins and how long it holds (denominator beats)."""

    name: str
    bar: int
    beat: Fraction
    length: Fraction

    def start(self, meter: Meter) -> Fraction:
        """Beats from beat 1 of bar 1."""
        return beats_from_bar_1(self.bar, self.beat, meter)


@dataclass(frozen=True)
class NotePlace:
    """A string and a fret for the note with an id."""

    id: str
    string: int
    fret: int


@dataclass(frozen=True)
class PhraseAlternative:
    """Another fingering of a phrase, the notes around it left where they are.

    Attributes
    ----------
    position : int
        Lowest fret of the index finger, counted from the capo; 0 if all notes are open.
    strings : tuple of int
        Strings that it uses, ascending.
    shifts : int
        How often the hand shifts, to and from the notes around the phrase included.
    extra_cost : float
        How much harder than the fingering drafted; a hand's shift costs 2 to 10.
    toss_up : bool
        Whether it is as good a guess as the fingering drafted.
    words : str
        What sets it apart, for people.
    notes : tuple of NotePlace
    """

    position: int
    strings: tuple[int, ...]
    shifts: int
    extra_cost: float
    toss_up: bool
    words: str
    notes: tuple[NotePlace, ...]


@dataclass(frozen=True)
class Phrase:
    """A part of the take from `start_s` up to `end_s`.

    Attributes
    ----------
    id : str
    name : str
        Given by a person, empty where nobody named it.
    remark : str or None
        The teacher's own words.
    start_s, end_s : float
    bars : tuple of int
        First and last bar in which a note of it begins; empty where it has no notes.
    like : str or None
        Id of the earlier phrase that it takes up.
    like_words : str or None
        How, for people: ``"as phrase 2, last bar differs"``.
    hard : HardParts or None
        What makes it hard.
    alternatives : tuple of PhraseAlternative
        Other fingerings, the easiest first.
    """

    id: str
    name: str
    remark: str | None
    start_s: float
    end_s: float
    alternatives: tuple[PhraseAlternative, ...] = ()
    bars: tuple[int, ...] = ()
    like: str | None = None
    like_words: str | None = None
    hard: HardParts | None = None


@dataclass(frozen=True)
class Shape:
    """A span of the take that is played out of one shape on the neck, or a small figure within such a span.

    Attributes
    ----------
    name : str
        What the shape is, for people: ``"A minor pentatonic, box 1"``, ``"Em triad over C"``.
    start_s, end_s : float
    lowest_fret, highest_fret : int
        The stretch of neck it takes, counted from the capo.
    kind : str
        Spans that follow one another through the whole take are ``pentatonic_box``, ``major_scale_shape`` or
        ``position`` (no shape explains it); figures within them ``triad``, ``half_step_approach`` and
        ``chromatic_run``.
    also : tuple of str
        Other names of the same notes.
    position : int
        Fret of the index finger, counted from the capo; 0 in open position.
    places : tuple of str
        The whole shape on the neck, ``"string/fret"``.
    notes : tuple of str
        Ids of the notes of the span that it explains.
    unexplained : tuple of str
        Ids of those that it does not.
    """

    name: str
    start_s: float
    end_s: float
    lowest_fret: int
    highest_fret: int
    kind: ShapeKind = "position"
    also: tuple[str, ...] = ()
    position: int = 0
    places: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    unexplained: tuple[str, ...] = ()
