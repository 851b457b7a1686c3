"""`transcriber check`: a student's attempt held against a draft."""

from __future__ import annotations

import argparse
import json
from pathlib import Path

from transcriber.attempts import CHECK_SUFFIX, AttemptSettings, checked_attempt
from transcriber.cli.console import Output, progress_on, say_warning
from transcriber.cli.export_command import draft_path
from transcriber.cli.results import check_folder, check_free, write_into
from transcriber.cli.values import optional_number, whole
from transcriber.errors import UsageError
from transcriber.files import DRAFT_SUFFIX
from transcriber.settings import COUNT_IN_CLICKS


def run_check(arguments: argparse.Namespace) -> int:
    """Check one attempt, write the answer and tell it."""
    attempt = Path(arguments.attempt)
    if attempt.name.endswith((DRAFT_SUFFIX, CHECK_SUFFIX)):
        raise UsageError(f"'{attempt}' is no recording; the attempt stands first: check ATTEMPT DRAFT")
    draft = draft_path(arguments.draft)
    settings = AttemptSettings(
        ear=arguments.ear,
        start_s=optional_number("--start", arguments.start, "seconds"),
        end_s=optional_number("--end", arguments.end, "seconds"),
        count_in=None
        if arguments.count_in is None
        else whole("--count-in", arguments.count_in, *COUNT_IN_CLICKS),
        click=arguments.click,
    )
    folder = attempt.parent if arguments.out is None else Path(arguments.out)
    target = folder / f"{attempt.stem}{CHECK_SUFFIX}"
    check_free((target,), arguments.force)
    check_folder(folder)
    with progress_on(arguments.attempt, arguments.quiet) as progress:
        checked = checked_attempt(attempt, draft, target, settings, progress)
    for problem in checked.problems:
        say_warning(problem.message)
    write_into(folder, {target: checked.file}, arguments.force)
    if arguments.json:
        Output().raw(json.dumps({"file": str(target), **checked.document}, indent=2))
        return 0
    output = Output()
    for line in checked.text.split("\n"):
        output.line(line)
    output.line()
    output.line(f"Written: {target}")
    return 0
