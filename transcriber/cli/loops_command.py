"""`transcriber loops`: the phrases of a draft as sound to play along with."""

from __future__ import annotations

import argparse
import json
from collections.abc import Sequence
from pathlib import Path

from transcriber.cli.console import Output, progress_on, say_warning
from transcriber.cli.export_command import draft_name, draft_path
from transcriber.cli.results import check_folder, check_free, write_into
from transcriber.errors import UsageError
from transcriber.loops import LoopOptions, Made, loop_files

LOUDNESS = "Turn the volume down before you play them, then up to a modest level."


def loop_options(arguments: argparse.Namespace) -> LoopOptions:
    """What was told about loops.

    Raises
    ------
    UsageError
    """
    words = [word.strip().removesuffix("%").strip() for word in arguments.speeds.split(",")]
    if not all(word.isdigit() for word in words):
        raise UsageError(
            f"--speeds '{arguments.speeds}' is no list of whole percents; give such as 50,70,85,100"
        )
    phrase = getattr(arguments, "phrase", None)
    if phrase is not None and not phrase.isdigit():
        raise UsageError(f"--phrase '{phrase}' is not a number; give one such as 2")
    return LoopOptions(
        take=None if arguments.take is None else Path(arguments.take),
        speeds=tuple(int(word) for word in words),
        click=not arguments.no_click,
        chords=arguments.backing,
        phrase=None if phrase is None else int(phrase),
    )


def run_loops(arguments: argparse.Namespace) -> int:
    """Write the loops and the plan."""
    options = loop_options(arguments)
    draft = draft_path(arguments.draft)
    folder = draft.parent if arguments.out is None else Path(arguments.out)
    check_folder(folder)
    with progress_on(arguments.draft, arguments.quiet) as progress:
        made = loop_files(draft, folder, draft_name(draft), options, progress)
        keep(arguments, folder, made)
    tell(arguments, made, f"{folder}, {next(iter(made.files)).name} the first")
    return 0


def keep(arguments: argparse.Namespace, folder: Path, made: Made) -> None:
    """Warn of what was noticed, and write the files where none stands in the way."""
    for problem in made.problems:
        say_warning(problem.message)
    check_free(tuple(made.files), arguments.force)
    write_into(folder, made.files, arguments.force)


def tell(arguments: argparse.Namespace, made: Made, where: str, removed: Sequence[Path] = ()) -> None:
    """Say how many files were written and where, with the caution on loudness; as JSON if asked."""
    if arguments.json:
        told = {"draft": arguments.draft, "files": [str(path) for path in made.files]}
        if removed:
            told["removed"] = [str(path) for path in removed]
        Output().raw(json.dumps(told, indent=2))
        return
    output = Output()
    output.line(f"Written: {len(made.files)} files in {where}")
    if removed:
        output.line(f"Removed: {len(removed)} files of the earlier lesson that this one does not have")
    output.line(LOUDNESS)
