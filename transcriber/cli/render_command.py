"""`transcriber render`: a written line becomes sound, with its truth beside it."""

from __future__ import annotations

import argparse
import json
from pathlib import Path

from transcriber.cli.console import Output, progress_on
from transcriber.cli.results import check_folder, check_free, write_into
from transcriber.cli.values import SEED_BOUNDS, optional_number, whole
from transcriber.errors import UsageError
from transcriber.settings import TEMPO_BOUNDS_BPM, check_bounds

_SUFFIX = ".flac"


def run_render(arguments: argparse.Namespace) -> int:
    """Render one line file."""
    from transcriber.rendering import rendered_files, rendered_paths

    sound = Path(arguments.out)
    if sound.suffix.lower() != _SUFFIX:
        raise UsageError(f"--out '{sound}' does not end in {_SUFFIX}; sound is written as FLAC")
    seed = whole("seed", arguments.seed, *SEED_BOUNDS)
    tempo = optional_number("tempo", arguments.tempo, "20 to 400 BPM")
    if tempo is not None:
        check_bounds("tempo", tempo, *TEMPO_BOUNDS_BPM, unit=" BPM")
    check_free(rendered_paths(sound), arguments.force)
    check_folder(sound.parent)
    with progress_on(arguments.line, arguments.quiet) as progress:
        progress("playing the line")
        files = rendered_files(arguments.line, sound, seed, arguments.style, arguments.tone, tempo)
        write_into(sound.parent, files, arguments.force)
    if arguments.json:
        Output().raw(
            json.dumps([{"line": arguments.line, "ok": True, "files": [str(p) for p in files]}], indent=2)
        )
    else:
        Output().line("Written: " + ", ".join(str(path) for path in files))
    return 0
