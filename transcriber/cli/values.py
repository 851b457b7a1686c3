"""Words of the command line to values, and values to settings. No heavy import."""

from __future__ import annotations

import argparse
import os

from transcriber.errors import UsageError
from transcriber.settings import (
    EXPORT_CHOICES,
    WIDTH_BOUNDS,
    DraftSettings,
    ExportSettings,
    check_bounds,
    parse_meter,
    parse_pin,
)

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
        tempo_bpm=optional_number("tempo", arguments.tempo, "20 to 400 BPM"),
        meter=parse_meter(arguments.meter),
        instrument=arguments.instrument,
        tuning=arguments.tuning,
        capo=_optional_whole("capo", arguments.capo),
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
    chosen = {name: getattr(arguments, name) for name in EXPORT_CHOICES}
    width = whole("width", arguments.width, *WIDTH_BOUNDS)
    return ExportSettings(width=width, count=arguments.count, **chosen)


def format_names(words: list[str] | None) -> tuple[str, ...]:
    """Read names of formats, parted by commas or given one by one; None stands for the usual ones.

    They come back in the table's order.

    Raises
    ------
    UsageError
        If there is no format of a name, or none is named.
    """
    from transcriber.pipeline import USUAL_FORMATS, export_formats

    if words is None:
        return USUAL_FORMATS
    names = [name.strip() for word in words for name in word.split(",") if name.strip()]
    if not names:
        known = ", ".join(row.name for row in export_formats())
        raise UsageError(f"no format is named with --to; choose from {known}")
    return tuple(row.name for row in export_formats(names))


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
