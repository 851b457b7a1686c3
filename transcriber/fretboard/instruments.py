"""Instruments: the built-in ones of `models/instruments` and a player's own file in the same form."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, TypeGuard

from transcriber.errors import UsageError
from transcriber.fretboard.measured_file import measured_strings
from transcriber.fretboard.tunings import check_tuning, count_strings, read_open_strings
from transcriber.models import load_model
from transcriber.records.placed import NECK_FRETS, Instrument, MeasuredString

BUILT_IN_INSTRUMENTS = (
    "standard",
    "half_step_down",
    "whole_step_down",
    "drop_d",
    "open_g",
    "open_d",
    "open_e",
    "seven_string",
    "baritone",
    "bass",
)
INSTRUMENT_FORMAT_VERSION = 1

# For notes named without octaves: the usual tuning of as many strings.
# From a thin first string to a bass guitar's lowest; from a child's guitar to a long-scale bass.
GAUGE_RANGE_IN = (0.005, 0.16)
SCALE_RANGE_MM = (400.0, 1000.0)
_FAMILIAR = {4: "bass", 6: "standard", 7: "seven_string"}


def read_instrument(name_or_path: str | Path) -> Instrument:
    """Read a built-in instrument or a player's own instrument file.

    Parameters
    ----------
    name_or_path : str or Path
        One of `BUILT_IN_INSTRUMENTS` (spaces and hyphens count as underscores), or the path of a JSON file
        with ``format_version``, ``name``, ``tuning_midi`` (string 1 first), ``frets`` and perhaps ``capo``,
        ``scale_length_mm``, ``string_gauges_in`` and ``measured``. With ``base``, a built-in name, whatever
        it does not say itself is taken from there.

    Returns
    -------
    Instrument

    Raises
    ------
    UsageError
        If there is no such name or file, or the file is damaged, of another version or impossible.
    """
    key = _built_in_key(str(name_or_path))
    if key is not None:
        return _instrument_from(load_model(f"instruments/{key}"), key)
    path = Path(name_or_path)
    try:
        document = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise UsageError(
            f"instrument '{name_or_path}' is neither a file nor one of {', '.join(BUILT_IN_INSTRUMENTS)}"
        ) from None
    except OSError as error:
        raise UsageError(
            f"instrument file '{path}' cannot be read: {error.strerror}; name a readable JSON file"
        ) from None
    except ValueError:
        raise UsageError(f"instrument file '{path}' is not JSON; write it like models/instruments") from None
    if not isinstance(document, dict):
        raise UsageError(f"instrument file '{path}' holds no JSON object; write it like models/instruments")
    version = document.get("format_version")
    if version != INSTRUMENT_FORMAT_VERSION:
        raise UsageError(
            f"instrument file '{path}' has format_version {version!r}; "
            f"this program reads {INSTRUMENT_FORMAT_VERSION}"
        )
    try:
        return _instrument_from(_on_base(document), path.stem)
    except UsageError as error:
        raise UsageError(f"instrument file '{path}': {error}") from None


def parse_tuning(text: str) -> tuple[int, ...]:
    """Read a tuning as a player says it.

    Parameters
    ----------
    text : str
        A built-in name ("drop d"), note names from the lowest string up with or without octaves
        ("E2 A2 D3 G3 B3 E4", "DADGBE": without, each string is tuned the shortest way from the usual
        tuning), or MIDI numbers from the lowest string up ("38 45 50 55 59 64").

    Returns
    -------
    tuple of int
        MIDI numbers, string 1 (highest-sounding) first.

    Raises
    ------
    UsageError
        If the text cannot be read or no instrument can be strung so.

    Examples
    --------
    >>> parse_tuning("DADGBE")
    (64, 59, 55, 50, 45, 38)
    """
    key = _built_in_key(text)
    if key is not None:
        return read_instrument(key).tuning_midi
    familiar = _FAMILIAR.get(count_strings(text))
    return read_open_strings(text, read_instrument(familiar).tuning_midi if familiar else None)


def retuned(instrument: Instrument, tuning_midi: Sequence[int], name: str) -> Instrument:
    """Tune the same strings to other notes.

    Tension goes with the square of the pitch and inharmonicity falls with tension, so what was measured
    moves along. With another number of strings it is another guitar: nothing is known of its strings.
    """
    tuning = tuple(tuning_midi)
    if len(tuning) != len(instrument.tuning_midi):
        return replace(instrument, tuning_midi=tuning, name=name, gauges_in=None, measured=None)
    measured = instrument.measured and tuple(
        known and _at_pitch(known, new - old)
        for known, new, old in zip(instrument.measured, tuning, instrument.tuning_midi, strict=True)
    )
    return replace(instrument, tuning_midi=tuning, name=name, measured=measured)


def _at_pitch(string: MeasuredString, semitones: int) -> MeasuredString:
    if string.log10_b is None or semitones == 0:
        return string
    return replace(string, log10_b=string.log10_b - semitones / 6.0 * math.log10(2.0))


def _on_base(document: dict[str, Any]) -> dict[str, Any]:
    """Lay a player's file over the built-in instrument that it names as its base."""
    named = document.get("base")
    if named is None:
        return document
    key = _built_in_key(named) if isinstance(named, str) else None
    if key is None:
        raise UsageError(f"base is {named!r}; name one of {', '.join(BUILT_IN_INSTRUMENTS)}")
    base = {name: value for name, value in load_model(f"instruments/{key}").items() if name != "name"}
    tuning = document.get("tuning_midi")
    if isinstance(tuning, list) and len(tuning) != len(base["tuning_midi"]):
        del base["string_gauges_in"]
    return base | document


def _built_in_key(text: str) -> str | None:
    key = "_".join(text.lower().replace("-", " ").replace("_", " ").split())
    return key if key in BUILT_IN_INSTRUMENTS else None


def _instrument_from(document: dict[str, Any], fallback_name: str) -> Instrument:
    tuning = document.get("tuning_midi")
    if not isinstance(tuning, list) or not all(_is_whole(pitch) for pitch in tuning):
        raise UsageError(f"tuning_midi is {tuning!r}; give a list of MIDI numbers, string 1 first")
    frets = document.get("frets")
    fewest, most = NECK_FRETS
    if not _is_whole(frets) or not fewest <= frets <= most:
        raise UsageError(f"frets is {frets!r}; give a whole number from {fewest} to {most}")
    capo = document.get("capo", 0)
    if not _is_whole(capo) or not 0 <= capo < frets:
        raise UsageError(f"capo is {capo!r}; give a fret from 0 to {frets - 1}")
    name = document.get("name", fallback_name)
    if not isinstance(name, str) or not name.strip():
        raise UsageError(f"name is {name!r}; give the instrument a name in words")
    return Instrument(
        name=name,
        tuning_midi=check_tuning(tuning),
        frets=frets,
        capo=capo,
        gauges_in=_gauges(document.get("string_gauges_in"), len(tuning)),
        scale_length_mm=_scale_length(document.get("scale_length_mm", Instrument.scale_length_mm)),
        measured=measured_strings(document.get("measured"), len(tuning)),
    )


def _gauges(gauges: object, strings: int) -> tuple[float, ...] | None:
    if gauges is None:
        return None
    low, high = GAUGE_RANGE_IN
    listed = gauges if isinstance(gauges, list) else []
    if len(listed) != strings or not all(_is_number(gauge) and low <= gauge <= high for gauge in listed):
        raise UsageError(
            f"string_gauges_in is {gauges!r}; give one diameter from {low} to {high} inches for each string"
        )
    return tuple(float(gauge) for gauge in listed)


def _scale_length(length: object) -> float:
    low, high = SCALE_RANGE_MM
    if not _is_number(length) or not low <= length <= high:
        raise UsageError(f"scale_length_mm is {length!r}; give a length from {low:g} to {high:g} millimetres")
    return float(length)


def _is_number(value: object) -> TypeGuard[float]:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _is_whole(value: object) -> TypeGuard[int]:
    return isinstance(value, int) and not isinstance(value, bool)
