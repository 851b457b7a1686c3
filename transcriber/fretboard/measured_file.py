"""The `measured` block of an instrument file: written from a profile, read back with its bounds."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from transcriber.errors import UsageError
from transcriber.fretboard.guitar_profile import FretPlace, GuitarProfile
from transcriber.records.placed import Instrument, MeasuredString

# Key, least and greatest value; null is allowed everywhere but for `notes`.
_BOUNDS: tuple[tuple[str, float, float], ...] = (
    ("log10_b", -6.0, -2.0),
    ("log10_b_sd", 0.0, 9.0),
    ("tuning_cents", -150.0, 150.0),
    ("intonation_cents", -300.0, 300.0),
    ("brightness", 0.5, 50.0),
)
_UNITS = {
    "tuning_midi": "MIDI number of each open string, string 1 (highest-sounding) first",
    "frets": "frets on the neck",
    "scale_length_mm": "millimetres, nut to saddle",
    "string_gauges_in": "inches, string 1 first",
    "measured": "string 1 first, null where nothing was heard; log10_b: common logarithm of the "
    "inharmonicity coefficient B of the whole string, log10_b_sd its spread; tuning_cents: lowest measured "
    "fret against A4 = 440 Hz; intonation_cents: fret 12 against the octave of the open string; brightness: "
    "centroid of the partials' amplitudes in multiples of f0; notes: how many were measured",
}


def instrument_file(
    name: str,
    base: Instrument,
    profile: GuitarProfile,
    expected: Sequence[FretPlace],
    recording: str,
    sha256: str,
) -> bytes:
    """Write a measured guitar as an instrument file that stands alone.

    Parameters
    ----------
    name : str
        Of the guitar.
    base : Instrument
        Tuning, frets, capo and build.
    profile : GuitarProfile
    expected : sequence of (int, int)
        What was to be played.
    recording, sha256 : str
        Name and digest of the recording.

    Returns
    -------
    bytes
        JSON, UTF-8.
    """
    document: dict[str, Any] = {
        "format_version": 1,
        "name": name,
        "tuning_midi": list(base.tuning_midi),
        "frets": base.frets,
        "capo": base.capo,
        "scale_length_mm": base.scale_length_mm,
    }
    if base.gauges_in is not None:
        document["string_gauges_in"] = list(base.gauges_in)
    document |= {
        "measured": [None if string is None else asdict(string) for string in profile.strings],
        "units": _UNITS,
        "provenance": {
            "recording": recording,
            "sha256": sha256,
            "base": base.name,
            "measured": "tuning, intonation, inharmonicity and brightness; all else is the base's",
            "expected": " ".join(f"{string}/{fret}" for string, fret in expected),
            "notes_used": len(profile.used),
            "not_found": " ".join(f"{string}/{fret}" for string, fret in profile.missing),
            "sounds_not_used": len(profile.stray),
            "made_by": "transcriber instrument",
        },
    }
    return (json.dumps(document, indent=2, ensure_ascii=False) + "\n").encode()


def measured_strings(block: object, strings: int) -> tuple[MeasuredString | None, ...] | None:
    """Read the `measured` block of an instrument file.

    Raises
    ------
    UsageError
        If it does not hold one entry for each string, or a value is out of its bounds.
    """
    if block is None:
        return None
    if not isinstance(block, list) or len(block) != strings:
        raise UsageError(f"measured does not list {strings} strings; give one entry or null for each")
    return tuple(_string_from(entry, number) for number, entry in enumerate(block, 1))


def _string_from(entry: object, number: int) -> MeasuredString | None:
    if entry is None:
        return None
    if not isinstance(entry, dict):
        raise UsageError(f"measured string {number} is {entry!r}; give an object or null")
    values = {key: _bounded(entry.get(key), key, number, low, high) for key, low, high in _BOUNDS}
    notes = entry.get("notes", 0)
    if not isinstance(notes, int) or isinstance(notes, bool) or notes < 0:
        raise UsageError(f"notes of measured string {number} is {notes!r}; give how many there were")
    return MeasuredString(**values, notes=notes)


def _bounded(value: object, key: str, number: int, low: float, high: float) -> float | None:
    if value is None:
        return None
    if not isinstance(value, int | float) or isinstance(value, bool) or not low <= value <= high:
        raise UsageError(
            f"{key} of measured string {number} is {value!r}; give {low:g} to {high:g}, or null if not known"
        )
    return float(value)
