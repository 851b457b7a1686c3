"""`transcriber lesson`: the material of a lesson in one folder."""

from __future__ import annotations

import argparse
from pathlib import Path

from transcriber.cli.console import progress_on, say_warning
from transcriber.cli.export_command import draft_name, draft_path
from transcriber.cli.loops_command import keep, loop_options, tell
from transcriber.cli.results import check_folder, check_free, remove_old
from transcriber.cli.values import export_settings
from transcriber.errors import DraftError, UsageError
from transcriber.lesson_list import no_longer_written, read_list
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
    name = draft_name(draft)
    earlier = _earlier(folder, name) if arguments.force else {}
    with progress_on(arguments.draft, arguments.quiet) as progress:
        made = lesson_files(draft, folder, name, options, settings, progress)
        keep(arguments, folder, made)
    removed = remove_old(no_longer_written(folder, name, earlier, made.files))
    for place in {path.parent for path in removed} - {folder}:
        if not any(place.iterdir()):
            place.rmdir()
    tell(arguments, made, f"{folder}; open {folder / INDEX}", removed)
    return 0


def _earlier(folder: Path, name: str) -> dict[str, str]:
    """What an earlier lesson wrote here; nothing, with a word of warning, where that cannot be told."""
    try:
        return read_list(folder, name)
    except DraftError as error:
        say_warning(f"{error}: what an earlier lesson wrote and this one does not stays")
        return {}
