"""Words of the command line to values, and values to settings. No heavy import."""

from __future__ import annotations

import argparse
import os
from dataclasses import replace
from pathlib import Path
from typing import Any

from transcriber.errors import UsageError
from transcriber.records.told import Told
from transcriber.settings import (
    COUNT_IN_CLICKS,
    EXPORT_CHOICES,
    WIDTH_BOUNDS,
    DraftSettings,
    ExportSettings,
    check_bounds,
    check_told,
)
from transcriber.settings_words import parse_beats, parse_meter, parse_pickup, parse_pin, parse_tempo

JOBS_BOUNDS = (1, 256)
SEED_BOUNDS = (0, 2**31 - 1)

# Read by the libraries under numpy and scipy when they are first imported.
_THREAD_VARIABLES = (
    "OMP_NUM_THREADS",
    "OPENBLAS_NUM_THREADS",
    "MKL_NUM_THREADS",
    "BLIS_NUM_THREADS",
    "VECLIB_MAXIMUM_THREADS",
    "NUMEXPR_NUM_THREADS",
)


def cap_threads(jobs: str | None) -> None:
    """Cap the threads of the numeric libraries; works only before numpy is imported.

    Raises
    ------
    UsageError
        If `jobs` is not a whole number from 1 to 256.
    """
    if jobs is None:
        return
    threads = whole("jobs", jobs, *JOBS_BOUNDS)
    for variable in _THREAD_VARIABLES:
        os.environ[variable] = str(threads)


def draft_settings(arguments: argparse.Namespace) -> DraftSettings:
    """Make the settings of a draft from the options given.

    Raises
    ------
    UsageError
        If one is not a number, or out of its bounds.
    """
    return DraftSettings(
        **_rhythm(arguments),
        instrument=arguments.instrument,
        tuning=arguments.tuning,
        chords=arguments.chords,
        key=arguments.key,
        capo=_optional_whole("capo", arguments.capo),
        frets=_optional_whole("frets", arguments.frets),
        position=_optional_whole("position", arguments.position),
        start_s=optional_number("start", arguments.start, "seconds in the file"),
        end_s=optional_number("end", arguments.end, "seconds in the file"),
        pins=tuple(parse_pin(text) for text in arguments.pin),
    )


def export_settings(arguments: argparse.Namespace) -> ExportSettings:
    """Make the settings of what is written from the options given.

    Raises
    ------
    UsageError
        If one is out of its bounds.
    """
    told = vars(arguments)
    chosen = {name: told[name] for name in EXPORT_CHOICES if name in told}
    width = whole("width", arguments.width, *WIDTH_BOUNDS)
    return ExportSettings(width=width, count=arguments.count, **chosen)


def format_names(words: list[str] | None) -> tuple[str, ...]:
    """Read names of formats, parted by commas or given one by one; None stands for the usual ones.

    They come back in the table's order.

    Raises
    ------
    UsageError
        If there is no format of a name, none is named, or one needs what is not installed.
    """
    from transcriber.draft_files import USUAL_FORMATS, export_formats

    if words is None:
        return USUAL_FORMATS
    names = [name.strip() for word in words for name in word.split(",") if name.strip()]
    if not names:
        known = ", ".join(row.name for row in export_formats())
        raise UsageError(f"no format is named with --to; choose from {known}")
    rows = export_formats(names)
    for row in rows:
        row.check_installed()
    return tuple(row.name for row in rows)


def told_from(arguments: argparse.Namespace) -> Told:
    """What the options of `retime` tell of the rhythm.

    Raises
    ------
    UsageError
        If one cannot be read, or is out of its bounds.
    """
    rhythm = _rhythm(arguments)
    pickup = rhythm.pop("pickup")  # held against the draft's own meter, once it is open
    settings = DraftSettings(**rhythm)
    downbeat_s = optional_number("downbeat", arguments.downbeat, "seconds in the file")
    told = replace(settings.told, pickup=pickup, downbeat_s=downbeat_s)
    check_told(told, usual=None)
    return told


def _rhythm(arguments: argparse.Namespace) -> dict[str, Any]:
    """Fields of `DraftSettings` from the options that tell of the rhythm."""
    fields: dict[str, Any] = {
        "tempo_bpm": None if arguments.tempo is None else parse_tempo(arguments.tempo),
        "meter": None if arguments.meter is None else parse_meter(arguments.meter),
        "pickup": None if arguments.pickup is None else parse_pickup(arguments.pickup),
        "beats_s": () if arguments.beats is None else _beats_in(arguments.beats),
    }
    if getattr(arguments, "count_in", None) is not None:
        fields["count_in"] = whole("count-in", arguments.count_in, *COUNT_IN_CLICKS)
    return fields | {"click": getattr(arguments, "click", False)}


def _beats_in(file: str) -> tuple[float, ...]:
    try:
        text = Path(file).read_text(encoding="utf-8")
    except UnicodeDecodeError:
        raise UsageError(f"'{file}' is no text; write the time of each tapped beat in a line") from None
    except OSError as error:
        raise UsageError(f"cannot read the beats in '{file}': {error.strerror}") from None
    return parse_beats(text, file)


def whole(name: str, text: str, low: int, high: int) -> int:
    """Read a whole number within bounds.

    Raises
    ------
    UsageError
    """
    try:
        value = int(text)
    except ValueError:
        raise UsageError(f"{name} '{text}' is not a whole number; give {low} to {high}") from None
    check_bounds(name, value, low, high)
    return value


def _optional_whole(name: str, text: str | None) -> int | None:
    if text is None:
        return None
    try:
        return int(text)
    except ValueError:
        raise UsageError(f"{name} '{text}' is not a whole number; give a fret such as 5") from None


def optional_number(name: str, text: str | None, what: str) -> float | None:
    """Read a number if one was given; `what` says what is wanted instead of anything else.

    Raises
    ------
    UsageError
    """
    if text is None:
        return None
    try:
        return float(text)
    except ValueError:
        raise UsageError(f"{name} '{text}' is not a number; give {what}") from None
