"""`transcriber draft`: one recording after the other, each written whole or not at all."""

from __future__ import annotations

import argparse
import json
import os
from pathlib import Path
from typing import Any

from transcriber.cli.console import Output, progress_on, say_error
from transcriber.cli.failures import exit_code_of, tell
from transcriber.cli.summary import error_entry, print_summary, result_entry
from transcriber.cli.values import WIDTH_BOUNDS, draft_settings, whole
from transcriber.errors import TranscriberError, UsageError
from transcriber.settings import DraftSettings


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
        width = whole("width", arguments.width, *WIDTH_BOUNDS)
        targets = _targets(takes, arguments.out)
        _check_settings(settings)
    except TranscriberError as error:
        results += [error_entry(take, error, error.exit_code) for take in takes]
        raise
    output = Output(quiet=arguments.json)
    failures: list[int] = []
    for take, (folder, name) in zip(takes, targets, strict=True):
        try:
            results.append(_draft_one(take, folder, name, settings, width, arguments, output))
        except (Exception, KeyboardInterrupt) as error:
            code = exit_code_of(error)
            results.append(error_entry(take, error, code))
            if isinstance(error, KeyboardInterrupt) or len(takes) == 1:
                raise
            tell(error, arguments.verbose)
            failures.append(code)
    if failures:
        say_error(f"{len(failures)} of {len(takes)} takes failed; the exit code is that of the first")
    return failures[0] if failures else 0


def _draft_one(
    take: str,
    folder: Path,
    name: str,
    settings: DraftSettings,
    width: int,
    arguments: argparse.Namespace,
    output: Output,
) -> dict[str, Any]:
    from transcriber.pipeline import draft_files, draft_take, result_paths

    _check_free(result_paths(folder, name), arguments.force)
    _check_folder(folder)
    with progress_on(take, arguments.quiet) as progress:
        draft = draft_take(take, settings, progress)
        files = draft_files(draft, folder, name, width)
        _write(files, folder, arguments.force)
    print_summary(output, take, draft, list(files))
    return result_entry(take, draft, list(files))


def _write(files: dict[Path, bytes], folder: Path, force: bool) -> None:
    """Write all files; a folder made for them goes again if they cannot be written."""
    from transcriber.files import write_all_whole

    made = [place for place in (folder, *folder.parents) if not place.exists()]
    try:
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise TranscriberError(
                f"folder '{folder}' cannot be made: {error.strerror}; name another with --out"
            ) from error
        write_all_whole(files, force)
    except BaseException:
        for place in made:
            # Only what is empty goes: someone else may have put something there meanwhile.
            if place.is_dir() and not any(place.iterdir()):
                place.rmdir()
        raise


def _targets(takes: list[str], out: str | None) -> list[tuple[Path, str]]:
    """Folder and name of what each take is written as; no two takes may share them."""
    targets: list[tuple[Path, str]] = []
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
        targets.append((folder, path.stem))
    return targets


def _check_settings(settings: DraftSettings) -> None:
    """Refuse an instrument, tuning, capo or position that does not exist before any work starts."""
    from transcriber.pipeline import choose_instrument

    choose_instrument(settings)


def _check_free(paths: tuple[Path, ...], force: bool) -> None:
    for path in paths:
        if not force and os.path.lexists(path):
            raise TranscriberError(f"'{path}' is there already; use --force to replace it")


def _check_folder(folder: Path) -> None:
    """Refuse a folder that cannot be written to before listening starts, which takes long."""
    place = Path(os.path.abspath(folder))
    while not os.path.lexists(place) and place != place.parent:
        place = place.parent
    if not place.is_dir():
        raise TranscriberError(f"'{place}' is not a folder; name another place with --out")
    if not os.access(place, os.W_OK | os.X_OK):
        raise TranscriberError(f"folder '{place}' cannot be written to; name another with --out")
