"""The answer to a student, as records."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Verdict = Literal["played", "missed", "wrong_pitch"]
Remark = Literal[
    "early",
    "late",
    "short",
    "long",
    "off_pitch",
    "bend_missing",
    "bend_flat",
    "bend_sharp",
    "bend_slow",
    "vibrato_missing",
    "vibrato_differs",
    "slur_picked",
    "slide_missing",
    "ringing",
]


@dataclass(frozen=True)
class TechniqueReport:
    """One technique of a note as it was played.

    Attributes
    ----------
    kind : str
        As in the draft.
    verdict : {"played", "missing", "differs", "not_judged", "left_out"}
        ``left_out`` is an optional technique that was not played: no mistake.
    cents : float or None
        Bend: how far its top lies from the target, positive above.
    took_s : float or None
        Bend: from its beginning to its top.
    rate_hz, depth_semitones : float or None
        Vibrato as played.
    """

    kind: str
    verdict: Literal["played", "missing", "differs", "not_judged", "left_out"]
    cents: float | None = None
    took_s: float | None = None
    rate_hz: float | None = None
    depth_semitones: float | None = None


@dataclass(frozen=True)
class NoteReport:
    """What became of one note of the line.

    Attributes
    ----------
    id : str
    bar : int
    verdict : str
    attempt_onset_s : float or None
        Where it was played, seconds in the attempt's file.
    timing_ms, timing_beats : float or None
        After (positive) or before where it was due by the student's own tempo; None where nothing tells.
    length_ratio : float or None
        How long it sounded, as a share of what is written at the student's tempo.
    pitch_cents : float or None
        From the pitch wanted, the attempt's own tuning and transposition allowed for.
    played_midi : int or None
        What was played where the pitch was wrong.
    techniques : tuple of TechniqueReport
    remarks : tuple of str
        All that lies outside the tolerance.
    """

    id: str
    bar: int
    verdict: Verdict
    attempt_onset_s: float | None = None
    timing_ms: float | None = None
    timing_beats: float | None = None
    length_ratio: float | None = None
    pitch_cents: float | None = None
    played_midi: int | None = None
    techniques: tuple[TechniqueReport, ...] = ()
    remarks: tuple[Remark, ...] = ()


@dataclass(frozen=True)
class PlayedPitch:
    """The pitch of one note as listening heard it in an attempt, to be drawn.

    Attributes
    ----------
    onset_s : float
        Seconds in the attempt's file, as are `times_s`.
    pitch_midi : int
        What it was heard as.
    times_s : tuple of float
    cents : tuple of (float or None)
        From `pitch_midi`; None where there is no pitch.
    """

    onset_s: float
    pitch_midi: int
    times_s: tuple[float, ...]
    cents: tuple[float | None, ...]


@dataclass(frozen=True)
class ExtraNote:
    """A note that the line does not have: when, which, and the id of the note before it, if any."""

    onset_s: float
    pitch_midi: int
    after: str | None


@dataclass(frozen=True)
class Stop:
    """A halt, seconds beyond what is written, before the note with an id."""

    before: str
    pause_s: float


@dataclass(frozen=True)
class PhraseReport:
    """How one phrase went.

    Attributes
    ----------
    id, name : str
    tempo_bpm : float or None
        Tapped beats a minute in this phrase.
    tempo_ratio : float or None
        Against the reference there.
    played, notes : int
        Notes that were played right in pitch, and all it has.
    tries : int
        How often it was gone through, in part or whole.
    verdict : str
        A few words.
    """

    id: str
    name: str
    tempo_bpm: float | None
    tempo_ratio: float | None
    played: int
    notes: int
    tries: int
    verdict: str


@dataclass(frozen=True)
class Advice:
    """One of the things to work on first: the bar, what happened and what to try."""

    bar: int
    notes: tuple[str, ...]
    happened: str
    try_this: str


@dataclass(frozen=True)
class CheckReport:
    """The whole answer.

    Attributes
    ----------
    tolerance : str
        Name of the ear.
    tempo_bpm, tempo_ratio : float or None
        Of the attempt, and as a share of the reference.
    transposed : int
        Semitones by which the whole attempt lies higher.
    tuning_cents : float
        The attempt's tuning against A4 = 440 Hz.
    notes : tuple of NoteReport
        One for each note of the line.
    extra : tuple of ExtraNote
    stops : tuple of Stop
    restarts : int
        How often a passage was begun again.
    phrases : tuple of PhraseReport
    advice : tuple of Advice
        At most three.
    """

    tolerance: str
    tempo_bpm: float | None
    tempo_ratio: float | None
    transposed: int
    tuning_cents: float
    notes: tuple[NoteReport, ...]
    extra: tuple[ExtraNote, ...]
    stops: tuple[Stop, ...]
    restarts: int
    phrases: tuple[PhraseReport, ...]
    advice: tuple[Advice, ...] = ()

    @property
    def without_remark(self) -> int:
        """How many notes were played as written."""
        return sum(note.verdict == "played" and not note.remarks for note in self.notes)
