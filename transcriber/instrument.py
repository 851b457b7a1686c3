"""The instrument that a take is drafted for: strung as told, or a player's own guitar as measured."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from transcriber.errors import NoNotesError, UsageError
from transcriber.records.pitch import pitch_name
from transcriber.settings import DraftSettings
from transcriber.stages import Progress, Stages, no_notes_words

if TYPE_CHECKING:
    from transcriber.fretboard import GuitarProfile
    from transcriber.records.placed import Instrument
    from transcriber.records.problem import Problem


def choose_instrument(settings: DraftSettings) -> Instrument:
    """Read the instrument, string it and put the capo on as the settings say.

    Raises
    ------
    UsageError
        If there is no such instrument, tuning, capo, position or pinned place on it.
    """
    from transcriber.fretboard import (
        check_pin,
        parse_tuning,
        read_instrument,
        retuned,
        validate_position,
    )

    instrument = read_instrument(settings.instrument)
    if settings.tuning is not None:
        tuning = parse_tuning(settings.tuning)
        if tuning != instrument.tuning_midi:
            name = "tuned " + " ".join(pitch_name(pitch) for pitch in reversed(tuning))
            instrument = retuned(instrument, tuning, name)
    if settings.frets is not None:
        instrument = replace(instrument, frets=settings.frets)
    if settings.capo is not None:
        if settings.capo >= instrument.frets:
            raise UsageError(
                f"capo {settings.capo} is out of 0 to {instrument.frets - 1} on a neck of {instrument.frets} "
                f"frets; the nearest that works is {instrument.frets - 1}"
            )
        instrument = replace(instrument, capo=settings.capo)
    if settings.position is not None:
        validate_position(settings.position, instrument)
    for pin in settings.pins:
        check_pin(pin.string, pin.fret, instrument)
    return instrument


@dataclass(frozen=True)
class MeasuredGuitar:
    """A player's own guitar as measured.

    Attributes
    ----------
    base : Instrument
    profile : GuitarProfile
    file : bytes
        The instrument file.
    problems : tuple of Problem
        What was wrong with the recording.
    """

    base: Instrument
    profile: GuitarProfile
    file: bytes
    problems: tuple[Problem, ...]


def measure_guitar(
    path: str | Path,
    name: str,
    base: str = "standard",
    notes: str | None = None,
    progress: Progress | None = None,
) -> MeasuredGuitar:
    """Measure a guitar from a recording of labelled notes.

    Parameters
    ----------
    path : str or Path
        The recording.
    name : str
        What the guitar is to be called.
    base : str
        Built-in instrument or instrument file with the guitar's tuning and frets.
    notes : str or None
        What is played, such as ``"6/0 6/12"``; None for each string from the lowest up, open and at fret 12.
    progress : callable, optional

    Raises
    ------
    UsageError
        If there is no such instrument or place on it, or the recording is of other notes: it holds half of
        the places expected at most, and fewer notes that fit than notes that don't.
    AudioError
        If the recording cannot be listened to.
    NoNotesError
        If no notes are heard in it.
    """
    from transcriber.audio import read_take
    from transcriber.fretboard import (
        expected_places,
        instrument_file,
        parse_places,
        profile_guitar,
        read_instrument,
    )
    from transcriber.listening import listen

    stage = Stages(progress)
    instrument = read_instrument(base)
    expected = expected_places(instrument) if notes is None else parse_places(notes, instrument)
    stage("reading the recording")
    take = read_take(path)
    stage("listening")
    heard = listen(take, instrument)
    if not heard.notes:
        raise NoNotesError(no_notes_words(path, take, heard))
    stage("measuring the strings")
    profile = profile_guitar(heard, instrument, expected)
    found = profile.found
    if not found or (profile.half_missing and len(profile.used) < len(profile.stray)):
        first = ", ".join(pitch_name(note.pitch_midi) for note in heard.notes[:6])
        raise UsageError(
            f"{found or 'none'} of the {found + len(profile.missing)} notes expected "
            f"{'are' if found > 1 else 'is'} in '{path}', which begins {first}; name what is played with "
            "--notes, and the guitar's tuning with --instrument"
        )
    made = instrument_file(name, instrument, profile, expected, take.file, take.sha256)
    stage.end()
    return MeasuredGuitar(instrument, profile, made, take.problems + heard.problems)
