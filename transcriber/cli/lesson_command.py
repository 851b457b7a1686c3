"""`transcriber lesson`: the material of a lesson in one folder."""

from __future__ import annotations

import argparse
import json
from pathlib import Path

from transcriber.cli.console import Output, progress_on, say_warning
from transcriber.cli.export_command import draft_name, draft_path
from transcriber.cli.loops_command import LOUDNESS, loop_options
from transcriber.cli.results import check_folder, check_free, write_into
from transcriber.cli.values import export_settings
from transcriber.errors import UsageError
from transcriber.lessons import INDEX, lesson_files


def run_lesson(arguments: argparse.Namespace) -> int:
    """Write the folder of one lesson."""
    if arguments.out is None:
        raise UsageError("a lesson is many files; name a folder for them with --out DIR")
    options = loop_options(arguments)
    settings = export_settings(arguments)
    draft = draft_path(arguments.draft)
    folder = Path(arguments.out)
    check_folder(folder)
    check_free((folder / INDEX,), arguments.force)
    with progress_on(arguments.draft, arguments.quiet) as progress:
        made = lesson_files(draft, folder, draft_name(draft), options, settings, progress)
    for problem in made.problems:
        say_warning(problem.message)
    check_free(tuple(made.files), arguments.force)
    write_into(folder, made.files, arguments.force)
    if arguments.json:
        Output().raw(
            json.dumps({"draft": arguments.draft, "files": [str(path) for path in made.files]}, indent=2)
        )
        return 0
    output = Output()
    output.line(f"Written: {len(made.files)} files in {folder}; open {folder / INDEX}")
    output.line(LOUDNESS)
    return 0
