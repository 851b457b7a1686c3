"""From a recording to its draft, stage by stage, and from a draft to one with its rhythm written anew."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from transcriber.errors import NoNotesError, UsageError
from transcriber.instrument import choose_instrument
from transcriber.settings import DraftSettings, told_options
from transcriber.stages import Progress, Stages, no_notes_words

if TYPE_CHECKING:
    from transcriber.draft.calibration import Calibration
    from transcriber.draft.document import Draft
    from transcriber.records.told import Told


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
    stage = Stages(progress)
    instrument = choose_instrument(settings)
    stage("reading the recording")
    take = read_take(path, settings.start_s, settings.end_s)
    stage("listening")
    heard = hear_clicks(take, listen(take, instrument), settings.count_in, settings.click)
    if not heard.notes:
        raise NoNotesError(no_notes_words(path, take, heard))
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


def retimed_draft(draft: Draft, told: Told) -> Draft:
    """Write the rhythm of a draft anew without listening again.

    Parameters
    ----------
    draft : Draft
        As drafted, without corrections.
    told : Told
        What is to be different.

    Returns
    -------
    Draft

    Raises
    ------
    UsageError
        If what is told does not fit the take.
    """
    from transcriber.draft.assemble import AssembleSettings
    from transcriber.draft.retime import heard_again, retimed, told_with
    from transcriber.explain import explained
    from transcriber.notation import write_rhythm

    last_s = draft.source.duration_s
    if told.downbeat_s is not None and told.downbeat_s > last_s:
        raise UsageError(
            f"downbeat {told.downbeat_s:g} s lies after the end of '{draft.source.file}'; "
            f"give a second of it at which a bar begins, up to {last_s:g}"
        )
    written = write_rhythm(heard_again(draft), told_with(draft, told))
    assembly = AssembleSettings(calibration=confidence_calibration())
    return explained(retimed(draft, written, told_options(told), assembly))


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


def confidence_calibration() -> Calibration:
    """Return the shipped calibration of confidences."""
    from transcriber.draft.calibration import calibration_of
    from transcriber.models import load_model

    return calibration_of(load_model("confidence"))
