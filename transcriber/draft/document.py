"""The draft document in memory: frozen records whose field names are the keys of the JSON document.

Times are seconds in the file as recorded. Rhythm is exact: `beat` and `length` are fractions counted in beats
of the meter's denominator, rational strings such as ``"5/2"`` in JSON. A draft is the machine's and is never
edited; corrections live in a journal beside it (`transcriber.draft.journal`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

from transcriber.records.analysed import HardParts, KeyMode, NoteMeaning, ShapeKind
from transcriber.records.placed import Instrument
from transcriber.records.technique import Technique
from transcriber.records.written import Meter

FORMAT_VERSION = 1

Scalar = str | int | float | bool | None
OptionValue = Scalar | tuple[Scalar, ...]
Mode = KeyMode


@dataclass(frozen=True)
class MadeBy:
    """What made the draft.

    Attributes
    ----------
    version : str
        Version of the program.
    options : mapping of str to scalar or tuple of scalars
        The options that shaped the draft, by their name in lower case with underscores.
    models_sha256 : str
        Digest over all model files, 64 hexadecimal figures.
    """

    version: str
    options: Mapping[str, OptionValue]
    models_sha256: str


@dataclass(frozen=True)
class Source:
    """The recording: its file name without folder, digest, sample rate as recorded and whole length."""

    file: str
    sha256: str
    sample_rate_hz: int
    duration_s: float


@dataclass(frozen=True)
class DraftInstrument:
    """The instrument that the draft is fingered for.

    Attributes
    ----------
    name : str
    tuning_midi : tuple of int
        Open strings without capo, string 1 (highest-sounding) first.
    capo, frets : int
        Fret of the capo (0 for none) and number of frets on the neck.
    reference_hz : float
        Frequency of MIDI 69 on this take.
    """

    name: str
    tuning_midi: tuple[int, ...]
    capo: int
    frets: int
    reference_hz: float

    @property
    def fretted(self) -> Instrument:
        """The same instrument as the record that the stages use."""
        return Instrument(self.name, self.tuning_midi, frets=self.frets, capo=self.capo)


@dataclass(frozen=True)
class Timing:
    """Tempo, meter and the beats found.

    Attributes
    ----------
    tempo_bpm : float
        Tapped beats a minute: dotted quarters in 6/8, 9/8 and 12/8, else the denominator's note.
    meter : Meter
        Written ``"4/4"`` in JSON.
    swing : float or None
        Long:short ratio of the eighths, None where they are straight.
    beats_s : tuple of float
        Times of the meter's denominator beats, strictly ascending, at least one.
    first_beat : int
        Beats from beat 1 of bar 1 of ``beats_s[0]``; negative in a pickup bar.
    downbeat_confidence : float or None
        Probability that bars begin where they are written, 0 to 1; None where a person said so.
    """

    tempo_bpm: float
    meter: Meter
    swing: float | None
    beats_s: tuple[float, ...]
    first_beat: int
    downbeat_confidence: float | None = None

    def time_of(self, start: Fraction) -> float:
        """Time at which a written position is due.

        Parameters
        ----------
        start : Fraction
            Denominator beats from beat 1 of bar 1, as in `DraftNote.start`.

        Returns
        -------
        float
            Seconds in the file: linear between the beats found, and carried on at the nearest beat's pace
            before the first and after the last. Under swing in a quarter-note meter the second eighth of a
            beat is due at ``swing / (1 + swing)`` of it, since written positions are the straight ones.
        """
        whole = start.numerator // start.denominator
        place = whole - self.first_beat
        part = self._swung(float(start - whole))
        last = len(self.beats_s) - 1
        if last == 0:
            return self.beats_s[0] + (place + part) * 60.0 / (self.tempo_bpm * self.meter.tap)
        index = min(max(place, 0), last - 1)
        pace = self.beats_s[index + 1] - self.beats_s[index]
        return self.beats_s[index] + (place - index + part) * pace

    def _swung(self, part: float) -> float:
        """Move a straight position within one beat (0 to 1) to where swing puts it."""
        if self.swing is None or self.meter.unit != 4:
            return part
        turn = self.swing / (1.0 + self.swing)
        if part <= 0.5:
            return 2.0 * part * turn
        return turn + (2.0 * part - 1.0) * (1.0 - turn)


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
    mode: Mode
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
        return _start(self.bar, self.beat, meter)


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
        return _start(self.bar, self.beat, meter)

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


@dataclass(frozen=True)
class Issue:
    """Something worth a look.

    Attributes
    ----------
    code : str
        Stable name for programs, lower case with underscores; ``check_note`` marks a note to listen to again.
    message : str
        One sentence for people.
    start_s, end_s : float or None
        Where in the file; both None for the whole take.
    notes : tuple of str
        Ids of the notes concerned.
    """

    code: str
    message: str
    start_s: float | None
    end_s: float | None
    notes: tuple[str, ...]


@dataclass(frozen=True)
class Draft:
    """The whole document. `notes` stand in order of onset."""

    format_version: int
    made_by: MadeBy
    source: Source
    instrument: DraftInstrument
    timing: Timing
    key: Key | None
    chords: tuple[Chord, ...]
    phrases: tuple[Phrase, ...]
    shapes: tuple[Shape, ...]
    notes: tuple[DraftNote, ...]
    issues: tuple[Issue, ...]

    @property
    def meter(self) -> Meter:
        """The meter, for short."""
        return self.timing.meter

    def note(self, note_id: str) -> DraftNote | None:
        """Return the note with an id, or None."""
        return next((note for note in self.notes if note.id == note_id), None)

    def phrase_notes(self, phrase: Phrase) -> tuple[DraftNote, ...]:
        """Notes whose onset lies in a phrase, its end excluded."""
        return tuple(note for note in self.notes if phrase.start_s <= note.onset_s < phrase.end_s)


def _start(bar: int, beat: Fraction, meter: Meter) -> Fraction:
    return (bar - 1) * meter.beats + beat - 1
