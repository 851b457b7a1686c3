"""`transcriber lesson`: the material of a lesson in one folder."""

from __future__ import annotations

import argparse
from pathlib import Path

from transcriber.cli.console import progress_on
from transcriber.cli.export_command import draft_name, draft_path
from transcriber.cli.loops_command import keep, loop_options, tell
from transcriber.cli.results import check_folder, check_free
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
    keep(arguments, folder, made)
    tell(arguments, made, f"{folder}; open {folder / INDEX}")
    return 0
