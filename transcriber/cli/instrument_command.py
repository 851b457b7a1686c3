"""`transcriber instrument`: a player's own guitar, measured into an instrument file."""

from __future__ import annotations

import argparse
import json
import math
from pathlib import Path
from typing import TYPE_CHECKING, Any

from transcriber.cli.console import Output, counted, progress_on
from transcriber.cli.interrupts import interrupts_deferred
from transcriber.cli.results import check_folder, check_free, write_into
from transcriber.errors import UsageError

if TYPE_CHECKING:
    from transcriber.instrument import MeasuredGuitar
    from transcriber.records.placed import MeasuredString

_SUFFIX = ".json"


def run_instrument(arguments: argparse.Namespace) -> int:
    """Measure one guitar."""
    from transcriber.instrument import measure_guitar
    from transcriber.stages import load_stages

    out = Path(arguments.out)
    if out.suffix.lower() != _SUFFIX:
        raise UsageError(f"--out '{out}' does not end in {_SUFFIX}; instrument files are JSON")
    check_free([out], arguments.force)
    check_folder(out.parent)
    with progress_on(arguments.recording, arguments.quiet) as progress:
        progress("getting ready")
        with interrupts_deferred():
            load_stages()
        guitar = measure_guitar(
            arguments.recording, out.stem, arguments.instrument, arguments.notes, progress
        )
        write_into(out.parent, {out: guitar.file}, arguments.force)
    if arguments.json:
        Output().raw(json.dumps([_entry(arguments.recording, out, guitar)], indent=2))
    else:
        _print_guitar(Output(), arguments.recording, out, guitar)
    return 0


def _entry(recording: str, out: Path, guitar: MeasuredGuitar) -> dict[str, Any]:
    profile = guitar.profile
    return {
        "recording": recording,
        "ok": True,
        "files": [str(out)],
        "measured": json.loads(guitar.file)["measured"],
        "not_found": [f"{string}/{fret}" for string, fret in profile.missing],
        "not_used": [
            {"onset_s": round(note.onset_s, 3), "pitch_midi": note.pitch_midi} for note in profile.stray
        ],
        "problems": [problem.message for problem in guitar.problems],
    }


def _print_guitar(output: Output, recording: str, out: Path, guitar: MeasuredGuitar) -> None:
    from transcriber.records.pitch import pitch_name

    profile = guitar.profile
    output.line(recording, style="bold")
    for number in range(len(profile.strings), 0, -1):
        name = f"String {number} ({pitch_name(guitar.base.open_midi(number))})"
        output.line(f"  {name}: {_in_words(profile.strings[number - 1])}")
    for string, fret in profile.missing:
        pitch = pitch_name(guitar.base.open_midi(string) + fret)
        output.line(f"  Not found: string {string}, {_fret_name(fret)} ({pitch})")
    for use in profile.used:
        if use.note.stiffness is None:
            string, fret = use.place
            output.line(
                f"  Too short, unsteady or unclear to tell stiffness: string {string}, {_fret_name(fret)}, "
                f"at {use.note.onset_s:.1f} s"
            )
    for note in profile.stray:
        output.line(
            f"  Not used: {pitch_name(note.pitch_midi)} at {note.onset_s:.1f} s, none of the notes expected"
        )
    if profile.half_missing:
        output.line("  Half of the notes or more are missing: check --instrument and --notes.")
    for problem in guitar.problems:
        output.line(f"  {problem.message}")
    output.line(f"  Written: {out}")


def _in_words(string: MeasuredString | None) -> str:
    if string is None:
        return "not measured; computed from its gauge"
    parts = []
    if string.tuning_cents is not None:
        parts.append(f"{_sharp_or_flat(string.tuning_cents)}")
    if string.intonation_cents is not None:
        parts.append(f"fret 12 {_sharp_or_flat(string.intonation_cents)} against the open octave")
    if string.log10_b is None:
        parts.append("stiffness not measured; computed from its gauge")
    else:
        parts.append(f"inharmonicity {10.0**string.log10_b:.2e} (within {_percent(string.log10_b_sd)} %)")
    if string.brightness is not None:
        parts.append(f"tone centred on partial {string.brightness:.1f}")
    return f"{', '.join(parts)}; {counted(string.notes, 'note')}"


def _sharp_or_flat(cents: float) -> str:
    if abs(cents) < 0.05:
        return "in tune"
    return f"{abs(cents):.1f} cents {'sharp' if cents > 0 else 'flat'}"


def _percent(log10_sd: float | None) -> int:
    return round(100.0 * (math.pow(10.0, log10_sd or 0.0) - 1.0))


def _fret_name(fret: int) -> str:
    return "open" if fret == 0 else f"fret {fret}"
