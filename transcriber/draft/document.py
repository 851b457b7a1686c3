"""The draft document in memory: frozen records whose field names are the keys of the JSON document.

Times are seconds in the file as recorded. Rhythm is exact: `beat` and `length` are fractions counted in beats
of the meter's denominator, rational strings such as ``"5/2"`` in JSON. A draft is the machine's and is never
edited; corrections live in a journal beside it (`transcriber.draft.journal`).

The notes are in `note`, tempo and beats in `timing`, key, chords, phrases and shapes in `line_parts`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from transcriber.draft.line_parts import Chord, Key, Phrase, Shape
from transcriber.draft.note import DraftNote
from transcriber.draft.timing import Timing
from transcriber.records.placed import Instrument
from transcriber.records.written import Meter

FORMAT_VERSION = 1

Scalar = str | int | float | bool | None
OptionValue = Scalar | tuple[Scalar, ...]


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
