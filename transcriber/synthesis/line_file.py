"""Written lines on disk: `NAME.line.json`, to be read and edited by people.

Rhythm is written as rationals in strings ("1/2", "-1", "4/3"), in beats of the meter's denominator from
beat 1 of bar 1. A line file may carry a `style` and a `tone` object: settings of `PlayingStyle` and `Tone`
that differ from their defaults.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, fields
from fractions import Fraction
from pathlib import Path
from typing import Any, cast

from transcriber.errors import TranscriberError, UsageError
from transcriber.records.line import Line, LineNote
from transcriber.records.placed import Instrument
from transcriber.records.technique import TECHNIQUE_KINDS, Technique, TechniqueKind
from transcriber.records.written import Meter
from transcriber.synthesis.line_check import check_line
from transcriber.synthesis.style import PlayingStyle
from transcriber.synthesis.tone import Tone

LINE_FORMAT_VERSION = 1
STANDARD_TUNING_MIDI = (64, 59, 55, 50, 45, 40)

_LINE_KEYS = {
    "format_version", "title", "instrument", "tuning_midi", "capo", "frets",
    "meter", "tempo_bpm", "swing", "style", "tone", "notes",
}  # fmt: skip
_NOTE_KEYS = {"start", "length", "string", "fret", "velocity", "techniques"}
_TECHNIQUE_KEYS = (
    "semitones", "rate_hz", "depth_semitones", "direction", "picked", "to_fret", "optional",
)  # fmt: skip


@dataclass(frozen=True)
class LineFile:
    """A line file's whole content: the line, and how it is to be played and to sound."""

    line: Line
    style: PlayingStyle
    tone: Tone


def read_line(path: str | Path) -> Line:
    """Read the written line of a line file.

    Parameters
    ----------
    path : str or Path

    Returns
    -------
    Line

    Raises
    ------
    UsageError
        If the line cannot be played or a value is out of its bounds.
    TranscriberError
        If the file cannot be read or is not a line file of a known version.
    """
    return read_line_file(path).line


def read_line_file(path: str | Path) -> LineFile:
    """Read a line file with its style and tone; raises as `read_line` does."""
    path = Path(path)
    try:
        document = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise TranscriberError(f"{path.name}: no such line file") from None
    except (OSError, ValueError) as error:
        raise TranscriberError(f"{path.name}: not a line file: {error}") from None
    try:
        return parse_line_file(document)
    except TranscriberError as error:
        raise type(error)(f"{path.name}: {error}") from None


def parse_line_file(document: Any) -> LineFile:
    """Turn the decoded JSON of a line file into records; raises as `read_line` does."""
    _check_version(document)
    _refuse_unknown(document, _LINE_KEYS, "line")
    tuning = tuple(
        _whole(value, "tuning_midi") for value in document.get("tuning_midi", STANDARD_TUNING_MIDI)
    )
    instrument = Instrument(
        name=str(document.get("instrument", "guitar")),
        tuning_midi=tuning,
        frets=_whole(document.get("frets", 22), "frets"),
        capo=_whole(document.get("capo", 0), "capo"),
    )
    notes = document.get("notes")
    if not isinstance(notes, list):
        raise UsageError("notes is missing; give a list")
    swing = document.get("swing")
    line = Line(
        title=str(document.get("title", "")),
        instrument=instrument,
        meter=parse_meter(document.get("meter", "4/4")),
        tempo_bpm=_number(document.get("tempo_bpm"), "tempo_bpm"),
        notes=tuple(_parse_note(note, f"note {index + 1}") for index, note in enumerate(notes)),
        swing=None if swing is None else _number(swing, "swing"),
    )
    check_line(line)
    style = document.get("style", {})
    if isinstance(style, dict) and isinstance(style.get("bend_s"), list):
        style = {**style, "bend_s": tuple(style["bend_s"])}
    return LineFile(
        line=line,
        style=_settings(PlayingStyle, style, "style"),
        tone=_settings(Tone, document.get("tone", {}), "tone"),
    )


def line_to_json(line: Line, style: PlayingStyle | None = None, tone: Tone | None = None) -> str:
    """Write a line as the text of a line file, one note to a row.

    Parameters
    ----------
    line : Line
    style, tone : PlayingStyle, Tone, optional
        Only what differs from the defaults is written.

    Returns
    -------
    str
        JSON that `parse_line_file` turns into the same line.
    """
    head: dict[str, Any] = {
        "format_version": LINE_FORMAT_VERSION,
        "title": line.title,
        "instrument": line.instrument.name,
        "tuning_midi": list(line.instrument.tuning_midi),
        "capo": line.instrument.capo,
        "frets": line.instrument.frets,
        "meter": str(line.meter),
        "tempo_bpm": line.tempo_bpm,
        "swing": line.swing,
    }
    for name, settings, default in (("style", style, PlayingStyle()), ("tone", tone, Tone())):
        if settings is not None and settings != default:
            head[name] = _differences(settings, default)
    rows = [f"  {json.dumps(key)}: {json.dumps(value, ensure_ascii=False)}," for key, value in head.items()]
    notes = ",\n".join("    " + json.dumps(_note_to_dict(note)) for note in line.notes)
    return "\n".join(["{", *rows, '  "notes": [', notes, "  ]", "}", ""])


def technique_to_dict(technique: Technique, *, with_times: bool) -> dict[str, Any]:
    """Give the fields of a technique that are set, in a fixed order; times rounded to 0.1 ms."""
    entry: dict[str, Any] = {"kind": technique.kind}
    if with_times:
        for name in ("start_s", "end_s"):
            value = getattr(technique, name)
            if value is not None:
                entry[name] = round(value, 4)
    for name in _TECHNIQUE_KEYS:
        value = getattr(technique, name)
        if value is not None and not (name == "optional" and not value):
            entry[name] = round(value, 3) if isinstance(value, float) else value
    return entry


def parse_meter(text: Any) -> Meter:
    """Read a meter such as ``"6/8"``.

    Raises
    ------
    UsageError
        If the lower figure is not 2, 4, 8 or 16, or the upper not 1 to 32.
    """
    beats, _, unit = str(text).partition("/")
    if not (beats.isdigit() and unit.isdigit() and 1 <= int(beats) <= 32 and int(unit) in (2, 4, 8, 16)):
        raise UsageError(f"meter is '{text}'; write it like 4/4, 3/4 or 6/8")
    return Meter(int(beats), int(unit))


def _check_version(document: Any) -> None:
    if not isinstance(document, dict) or "format_version" not in document:
        raise TranscriberError("not a line file: format_version is missing")
    version = document["format_version"]
    if version != LINE_FORMAT_VERSION:
        raise TranscriberError(f"format_version is {version}; this program reads {LINE_FORMAT_VERSION}")


def _refuse_unknown(entry: dict[str, Any], known: set[str], what: str) -> None:
    unknown = sorted(set(entry) - known)
    if unknown:
        raise UsageError(f"{what}: unknown key '{unknown[0]}'; known are {', '.join(sorted(known))}")


def _parse_note(entry: Any, what: str) -> LineNote:
    if not isinstance(entry, dict):
        raise UsageError(f"{what}: not an object")
    _refuse_unknown(entry, _NOTE_KEYS, what)
    return LineNote(
        start=_rational(entry.get("start"), f"{what}: start"),
        length=_rational(entry.get("length"), f"{what}: length"),
        string=_whole(entry.get("string"), f"{what}: string"),
        fret=_whole(entry.get("fret"), f"{what}: fret"),
        velocity=_whole(entry.get("velocity", 90), f"{what}: velocity"),
        techniques=tuple(_parse_technique(item, what) for item in entry.get("techniques", ())),
    )


def _parse_technique(entry: Any, what: str) -> Technique:
    if not isinstance(entry, dict) or entry.get("kind") not in TECHNIQUE_KINDS:
        given = entry.get("kind") if isinstance(entry, dict) else entry
        raise UsageError(f"{what}: technique is '{given}'; known are {', '.join(TECHNIQUE_KINDS)}")
    _refuse_unknown(entry, {"kind", *_TECHNIQUE_KEYS}, f"{what}: {entry['kind']}")
    values: dict[str, Any] = {}
    for name in ("semitones", "rate_hz", "depth_semitones"):
        if entry.get(name) is not None:
            values[name] = _number(entry[name], f"{what}: {name}")
    if entry.get("to_fret") is not None:
        values["to_fret"] = _whole(entry["to_fret"], f"{what}: to_fret")
    direction = entry.get("direction")
    if direction not in (None, "up", "down"):
        raise UsageError(f"{what}: direction is '{direction}'; give up or down")
    return Technique(
        kind=cast(TechniqueKind, entry["kind"]),
        direction=direction,
        picked=entry.get("picked"),
        optional=bool(entry.get("optional", False)),
        **values,
    )


def _note_to_dict(note: LineNote) -> dict[str, Any]:
    entry: dict[str, Any] = {
        "start": str(note.start),
        "length": str(note.length),
        "string": note.string,
        "fret": note.fret,
        "velocity": note.velocity,
    }
    if note.techniques:
        entry["techniques"] = [technique_to_dict(item, with_times=False) for item in note.techniques]
    return entry


def _settings(kind: type[Any], entry: Any, what: str) -> Any:
    if not isinstance(entry, dict):
        raise UsageError(f"{what}: not an object")
    _refuse_unknown(entry, {field.name for field in fields(kind)}, what)
    try:
        return kind(**entry)
    except TypeError:
        raise UsageError(f"{what}: a value has the wrong type; give numbers") from None


def _differences(settings: Any, default: Any) -> dict[str, Any]:
    return {
        field.name: getattr(settings, field.name)
        for field in fields(settings)
        if getattr(settings, field.name) != getattr(default, field.name)
    }


def _rational(value: Any, what: str) -> Fraction:
    try:
        if isinstance(value, str | int) and not isinstance(value, bool):
            return Fraction(value)
    except (ValueError, ZeroDivisionError):
        pass
    raise UsageError(f"{what} is '{value}'; give a rational in a string, such as \"3/2\"")


def _whole(value: Any, what: str) -> int:
    if isinstance(value, int) and not isinstance(value, bool):
        return value
    raise UsageError(f"{what} is '{value}'; give a whole number")


def _number(value: Any, what: str) -> float:
    if isinstance(value, int | float) and not isinstance(value, bool):
        return float(value)
    raise UsageError(f"{what} is '{value}'; give a number")
