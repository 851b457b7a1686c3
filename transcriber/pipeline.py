"""The only caller of the stages: from a recording to its draft, and from a draft to what is written."""

from __future__ import annotations

import importlib
import logging
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from transcriber.errors import NoNotesError, UsageError
from transcriber.records.pitch import pitch_name
from transcriber.settings import DraftSettings, ExportSettings, told_options

if TYPE_CHECKING:
    from transcriber.draft.calibration import Calibration
    from transcriber.draft.document import Draft
    from transcriber.export.feel import Feel
    from transcriber.export.formats import Format
    from transcriber.fretboard import GuitarProfile
    from transcriber.records.heard import Heard
    from transcriber.records.placed import Instrument
    from transcriber.records.problem import Problem
    from transcriber.records.take import Take
    from transcriber.records.told import Told

logger = logging.getLogger(__name__)

Progress = Callable[[str], None]
# What stands after NAME in the name of a draft document.
DRAFT_SUFFIX = ".draft.json"
# Formats that are written beside it unless others are asked for.
USUAL_FORMATS = ("text", "midi")
TRUTH_SUFFIX = ".truth.json"
_LOADED_FOR_A_DRAFT = (
    "soundfile",
    "soxr",
    "scipy.fft",
    "scipy.ndimage",
    "scipy.special",
    "jsonschema",
    "mido",
    "transcriber.audio",
    "transcriber.listening",
    "transcriber.notation",
    "transcriber.fretboard",
    "transcriber.analysis",
    "transcriber.draft",
    "transcriber.export.midi",
    "transcriber.export.tab",
)


def draft_take(
    path: str | Path, settings: DraftSettings | None = None, progress: Progress | None = None
) -> Draft:
    """Draft one recording.

    Parameters
    ----------
    path : str or Path
        The recording.
    settings : DraftSettings, optional
        What is known about the take.
    progress : callable, optional
        Called with a few words as each stage begins.

    Returns
    -------
    Draft

    Raises
    ------
    UsageError
        If a setting does not fit the recording or the instrument.
    AudioError
        If the recording cannot be listened to.
    NoNotesError
        If no notes are heard in it.
    """
    import transcriber
    from transcriber.audio import read_take
    from transcriber.draft.assemble import AssembleSettings, assemble_draft
    from transcriber.draft.document import MadeBy
    from transcriber.explain import check_harmony, explained, phrase_spans
    from transcriber.fretboard import find_pins, place_beside, place_phrases, without_crossed_slurs
    from transcriber.listening import hear_clicks, listen
    from transcriber.models import models_sha256
    from transcriber.notation import write_rhythm

    settings = settings or DraftSettings()
    check_harmony(settings.chords, settings.key)
    stage = _Stages(progress)
    instrument = choose_instrument(settings)
    stage("reading the recording")
    take = read_take(path, settings.start_s, settings.end_s)
    stage("listening")
    heard = hear_clicks(take, listen(take, instrument), settings.count_in, settings.click)
    if not heard.notes:
        raise NoNotesError(_no_notes(path, take, heard))
    stage("writing the rhythm")
    written = write_rhythm(heard, settings.told)
    stage("placing the notes on the neck")
    pins = find_pins(heard.notes, [(pin.time_s, pin.string, pin.fret) for pin in settings.pins])
    beat_s = 60.0 / written.tempo_bpm
    spans = phrase_spans(heard, written)
    placed, phrases = place_phrases(heard.notes, instrument, settings.position, pins, beat_s, spans)
    beside, unplaced = place_beside(heard.notes, placed.places, instrument)
    placed = replace(placed, beside=beside, problems=(*placed.problems, *unplaced))
    heard = replace(heard, notes=without_crossed_slurs(heard.notes, placed.places))
    stage("putting the draft together")
    made_by = MadeBy(transcriber.__version__, settings.options(), models_sha256())
    assembly = AssembleSettings(calibration=confidence_calibration())
    draft = assemble_draft(take, heard, written, placed, instrument, made_by, assembly, phrases)
    stage("saying what the line is made of")
    draft = explained(draft, settings.chords, settings.key)
    stage.end()
    return draft


def retimed_files(
    draft: Path,
    told: Told,
    folder: Path,
    name: str,
    formats: Sequence[str],
    settings: ExportSettings | None = None,
) -> DraftFiles:
    """Write the rhythm of a draft anew without listening again, and make what it is written as.

    Parameters
    ----------
    draft : Path
        ``NAME.draft.json``; its journal of corrections is kept and applied.
    told : Told
        What is to be different.
    folder, name, formats, settings
        As in `draft_files`.

    Returns
    -------
    DraftFiles
        Its problems tell which corrections of rhythm were made for the rhythm before.

    Raises
    ------
    UsageError, DraftError
        As `draft_files`; also if the draft cannot be read.
    """
    from transcriber.draft import AssembleSettings, draft_bytes, journal_path, read_draft, read_journal
    from transcriber.draft.apply import apply_journal
    from transcriber.draft.retime import heard_again, misfits, retimed, rhythm_corrections, told_with
    from transcriber.explain import explained
    from transcriber.notation import write_rhythm

    before = read_draft(draft)
    written = write_rhythm(heard_again(before), told_with(before, told))
    assembly = AssembleSettings(calibration=confidence_calibration())
    anew = explained(retimed(before, written, told_options(told), assembly))
    journal = read_journal(journal_path(draft))
    corrected, problems = apply_journal(anew, journal)
    if corrected != anew:
        corrected = explained(corrected)
    stale = misfits(rhythm_corrections(anew, journal))
    document = folder / f"{name}{DRAFT_SUFFIX}"
    files = {document: draft_bytes(anew, document.name)}
    files |= _formatted(corrected, folder, name, settings, formats)
    return DraftFiles(files, corrected, (*problems, *stale), _feel(corrected))


def load_stages() -> None:
    """Import all that drafting needs, which otherwise happens when it is first used."""
    for name in _LOADED_FOR_A_DRAFT:
        importlib.import_module(name)


def check_settings(settings: DraftSettings) -> None:
    """Refuse what can be seen to be wrong before a recording is read.

    Raises
    ------
    UsageError
        If instrument, tuning, capo, position, pin, key or chords do not exist.
    """
    from transcriber.explain import check_harmony

    choose_instrument(settings)
    check_harmony(settings.chords, settings.key)


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
        If there is no such instrument or place on it, or none of the notes is in the recording.
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

    stage = _Stages(progress)
    instrument = read_instrument(base)
    expected = expected_places(instrument) if notes is None else parse_places(notes, instrument)
    stage("reading the recording")
    take = read_take(path)
    stage("listening")
    heard = listen(take, instrument)
    if not heard.notes:
        raise NoNotesError(_no_notes(path, take, heard))
    stage("measuring the strings")
    profile = profile_guitar(heard, instrument, expected)
    if not profile.used:
        first = ", ".join(pitch_name(note.pitch_midi) for note in heard.notes[:6])
        raise UsageError(
            f"none of the {len(expected)} notes expected is in '{path}', which begins {first}; "
            "name what is played with --notes, and the guitar's tuning with --instrument"
        )
    made = instrument_file(name, instrument, profile, expected, take.file, take.sha256)
    stage.end()
    return MeasuredGuitar(instrument, profile, made, take.problems + heard.problems)


@dataclass(frozen=True)
class DraftFiles:
    """What a draft is written as.

    Attributes
    ----------
    files : dict of Path to bytes
        The machine's draft where it is written anew, then each format with a person's corrections applied.
    corrected : Draft
        The draft with the corrections applied.
    problems : tuple of Problem
        Corrections that no longer fit.
    feel : tuple of (Feel, str)
        How far ahead of the beat or behind it each phrase sits, and that in words.
    """

    files: dict[Path, bytes]
    corrected: Draft
    problems: tuple[Problem, ...]
    feel: tuple[tuple[Feel, str], ...] = ()


def export_formats(names: Sequence[str] | None = None) -> tuple[Format, ...]:
    """Give the formats of these names, or all there are.

    Raises
    ------
    UsageError
        If there is no format of a name.
    """
    from transcriber.export.formats import FORMATS, formats_named

    return FORMATS if names is None else formats_named(names)


def draft_files(
    draft: Draft,
    folder: Path,
    name: str,
    settings: ExportSettings | None = None,
    formats: Sequence[str] = USUAL_FORMATS,
) -> DraftFiles:
    """Make what a draft is written as: the document, and the formats asked for.

    A journal of corrections that is there already is kept, and what still fits is applied.

    Parameters
    ----------
    draft : Draft
    folder : Path
        Where the files are to stand; nothing is written here.
    name : str
        What their names begin with.
    settings : ExportSettings, optional
    formats : sequence of str
        Names of formats, see `export_formats`.

    Returns
    -------
    DraftFiles

    Raises
    ------
    UsageError
        If there is no such format, or it needs a library that is not installed.
    DraftError
        If the journal that is there is damaged, or a format cannot hold the draft.
    """
    from transcriber.draft import apply_journal, draft_bytes, journal_path, read_journal
    from transcriber.explain import explained

    document = folder / f"{name}{DRAFT_SUFFIX}"
    corrected, problems = apply_journal(draft, read_journal(journal_path(document)))
    if corrected != draft:
        corrected = explained(corrected)
    files = {document: draft_bytes(draft, document.name)}
    files |= _formatted(corrected, folder, name, settings, formats)
    return DraftFiles(files, corrected, tuple(problems), _feel(corrected))


def exported_files(
    draft: Path, folder: Path, name: str, formats: Sequence[str], settings: ExportSettings | None = None
) -> DraftFiles:
    """Make other formats of a draft that is there, its journal of corrections applied.

    Parameters
    ----------
    draft : Path
        ``NAME.draft.json``.
    folder, name, settings, formats
        As in `draft_files`.

    Returns
    -------
    DraftFiles
        Without the document itself.

    Raises
    ------
    UsageError, DraftError
        As `draft_files`; also if the draft cannot be read.
    """
    from transcriber.draft import read_corrected
    from transcriber.explain import explained

    read = read_corrected(draft)
    corrected = explained(read.draft)
    files = _formatted(corrected, folder, name, settings, formats)
    return DraftFiles(files, corrected, read.problems)


def _feel(draft: Draft) -> tuple[tuple[Feel, str], ...]:
    from transcriber.export.feel import feel_of, feel_words

    return tuple((feel, feel_words(feel)) for feel in feel_of(draft))


def _formatted(
    draft: Draft, folder: Path, name: str, settings: ExportSettings | None, formats: Sequence[str]
) -> dict[Path, bytes]:
    chosen = settings or ExportSettings()
    return {
        folder / f"{name}{suffix}": data
        for row in export_formats(formats)
        for suffix, data in row.write(draft, chosen).items()
    }


def result_paths(folder: Path, name: str, formats: Sequence[str] = USUAL_FORMATS) -> tuple[Path, ...]:
    """Paths of the draft document of a take called `name`, and of each format that is a single file."""
    return (folder / f"{name}{DRAFT_SUFFIX}", *format_paths(folder, name, formats))


def format_paths(folder: Path, name: str, formats: Sequence[str]) -> tuple[Path, ...]:
    """Paths of the formats that are a single file."""
    return tuple(folder / f"{name}{row.suffix}" for row in export_formats(formats) if row.single)


def left_behind(folder: Path, name: str, formats: Sequence[str], written: Iterable[Path]) -> tuple[Path, ...]:
    """Paths of pages and pictures that an earlier export of a draft left, which `written` has no more."""
    from transcriber.export.formats import left_behind as left_by

    names = [path.name for path in written if path.parent == folder]
    there = [path.name for path in folder.iterdir()]
    rows = export_formats(formats)
    return tuple(folder / each for row in rows for each in left_by(row, name, names, there))


def rendered_files(
    line: str | Path,
    sound: Path,
    seed: int,
    style: str | None = None,
    tone: str | None = None,
    tempo_bpm: float | None = None,
) -> dict[Path, bytes]:
    """Play a written line with the program's own guitar.

    Parameters
    ----------
    line : str or Path
        Line file.
    sound : Path
        Where the sound is to stand; the truth stands beside it. Nothing is written here.
    seed : int
        Another seed is another take.
    style, tone : str or None
        By name; None takes what the line file says.
    tempo_bpm : float or None
        None takes the line's own.

    Returns
    -------
    dict of Path to bytes
        The sound (FLAC) and its truth (JSON), in the order of `rendered_paths`.
    """
    from transcriber.synthesis import RenderOptions, render_line_file

    options = RenderOptions(seed=seed, style=style, tone=tone, tempo_bpm=tempo_bpm)
    return dict(zip(rendered_paths(sound), render_line_file(line, options), strict=True))


def rendered_paths(sound: Path) -> tuple[Path, Path]:
    """Paths of a rendered sound and of its truth beside it."""
    return sound, sound.with_name(sound.stem + TRUTH_SUFFIX)


def confidence_calibration() -> Calibration:
    """Return the shipped calibration of confidences."""
    from transcriber.draft.calibration import calibration_of
    from transcriber.models import load_model

    return calibration_of(load_model("confidence"))


def _no_notes(path: str | Path, take: Take, heard: Heard) -> str:
    if heard.problems:
        return f"no single-note line was found in '{path}': {heard.problems[0].message}"
    seen = f" ({take.problems[0].message.rstrip('.')})" if take.problems else ""
    return (
        f"no notes were found in '{path}' from {take.start_s:.1f} to {take.end_s:.1f} s{seen}; "
        "give a part or a recording in which single guitar notes can be heard"
    )


class _Stages:
    """Tells when each stage begins, and logs how long it took."""

    def __init__(self, progress: Progress | None) -> None:
        self._progress = progress
        self._current: tuple[str, float] | None = None

    def __call__(self, words: str) -> None:
        self.end()
        self._current = (words, time.perf_counter())
        if self._progress is not None:
            self._progress(words)

    def end(self) -> None:
        if self._current is not None:
            words, began = self._current
            logger.info("%s took %.2f s", words, time.perf_counter() - began)
            self._current = None
