"""`transcriber draft`: one recording after the other, each written whole or not at all."""

from __future__ import annotations

import argparse
import json
import os
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from transcriber.cli.console import Output, progress_on, say_error, say_warning
from transcriber.cli.failures import exit_code_of, tell
from transcriber.cli.interrupts import interrupts_deferred
from transcriber.cli.results import (
    check_folder,
    check_free,
    remove_left_behind,
    removed_words,
    write_into,
)
from transcriber.cli.summary import error_entry, print_summary, result_entry
from transcriber.cli.values import draft_settings, export_settings, format_names
from transcriber.errors import TranscriberError, UsageError
from transcriber.settings import DraftSettings, ExportSettings

if TYPE_CHECKING:
    from transcriber.draft_files import DraftFiles


@dataclass(frozen=True)
class _Target:
    """A take, and folder and name of what is written for it."""

    take: str
    folder: Path
    name: str


def run_draft(arguments: argparse.Namespace) -> int:
    """Draft each take; after one that fails go on, and return the first failure's exit code."""
    results: list[dict[str, Any]] = []
    try:
        return _draft_all(arguments, results)
    finally:
        if arguments.json:
            Output().raw(json.dumps(results, indent=2))


def _draft_all(arguments: argparse.Namespace, results: list[dict[str, Any]]) -> int:
    takes: list[str] = arguments.takes
    try:
        settings = draft_settings(arguments)
        export = export_settings(arguments)
        formats = format_names(arguments.to)
        targets = _targets(takes, arguments.out)
        _check_settings(settings)
    except TranscriberError as error:
        results += [error_entry(take, error, error.exit_code) for take in takes]
        raise
    output = Output(quiet=arguments.json)
    failures: list[int] = []
    for target in targets:
        try:
            made = _draft_one(target, settings, export, formats, arguments)
            print_summary(output, target.take, made)
            results.append(result_entry(target.take, made))
        except (Exception, KeyboardInterrupt) as error:
            code = exit_code_of(error)
            results.append(error_entry(target.take, error, code))
            if isinstance(error, KeyboardInterrupt) or len(takes) == 1:
                raise
            tell(error, arguments.verbose)
            failures.append(code)
    if failures:
        say_error(f"{len(failures)} of {len(takes)} takes failed; the exit code is that of the first")
    return failures[0] if failures else 0


def _draft_one(
    target: _Target,
    settings: DraftSettings,
    export: ExportSettings,
    formats: tuple[str, ...],
    arguments: argparse.Namespace,
) -> DraftFiles:
    from transcriber.draft_files import draft_files, result_paths
    from transcriber.drafting import draft_take
    from transcriber.stages import load_stages

    check_free(result_paths(target.folder, target.name, formats), arguments.force)
    check_folder(target.folder)
    with progress_on(target.take, arguments.quiet) as progress:
        progress("getting ready")
        with interrupts_deferred():
            load_stages()
        draft = draft_take(target.take, settings, progress)
        made = draft_files(draft, target.folder, target.name, export, formats)
        write_into(target.folder, made.files, arguments.force)
    removed = remove_left_behind(target.folder, target.name, formats, made.files) if arguments.force else []
    if removed and not arguments.quiet:
        say_warning(removed_words(removed))
    return made


def _targets(takes: list[str], out: str | None) -> list[_Target]:
    """Say where each take's results go; no two takes may share a place."""
    targets: list[_Target] = []
    seen: dict[str, str] = {}
    for take in takes:
        path = Path(take)
        folder = Path(out) if out is not None else path.parent
        key = os.path.normcase(os.path.realpath(folder / path.stem))
        if key in seen:
            raise UsageError(
                f"'{seen[key]}' and '{take}' would both be written as '{folder / path.stem}.draft.json'; "
                "rename one, or draft them into two folders"
            )
        seen[key] = take
        targets.append(_Target(take, folder, path.stem))
    return targets


def _check_settings(settings: DraftSettings) -> None:
    """Refuse what does not exist, such as a tuning or a chord, before any work starts."""
    from transcriber.drafting import check_settings

    check_settings(settings)
