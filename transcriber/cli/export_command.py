"""`transcriber export`: a draft, with a person's corrections, in the formats that others read."""

from __future__ import annotations

import argparse
import json
import os
import sys
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from transcriber.cli.console import Output, progress_on, say_warning
from transcriber.cli.results import (
    check_folder,
    check_free,
    remove_left_behind,
    removed_words,
    write_into,
)
from transcriber.cli.values import export_settings, format_names
from transcriber.draft_files import export_formats, exported_files, format_paths
from transcriber.errors import TranscriberError, UsageError
from transcriber.files import DRAFT_SUFFIX

_STANDARD_OUTPUT = "-"


@dataclass(frozen=True)
class _Target:
    """Folder and name of what is written, or one file with a name of its own."""

    folder: Path
    name: str
    file: Path | None = None


def run_export(arguments: argparse.Namespace) -> int:
    """Write one draft in the formats asked for."""
    settings = export_settings(arguments)
    formats = format_names(arguments.to or [])
    draft = draft_path(arguments.draft)
    to_output = arguments.out == _STANDARD_OUTPUT
    if to_output:
        _check_output(formats, arguments.json)
        target = _Target(Path(), draft_name(draft))
    else:
        target = _target(draft, arguments.out, formats)
        paths = (target.file,) if target.file else format_paths(target.folder, target.name, formats)
        check_free(paths, arguments.force)
        check_folder(target.folder)
    with progress_on(arguments.draft, arguments.quiet or to_output) as progress:
        progress("writing " + ", ".join(formats))
        made = exported_files(draft, target.folder, target.name, formats, settings)
    for problem in made.problems:
        say_warning(problem.message)
    if to_output:
        _to_output(next(iter(made.files.values())))
        return 0
    files = made.files if target.file is None else {target.file: next(iter(made.files.values()))}
    write_into(target.folder, files, arguments.force)
    removed = remove_left_behind(target.folder, target.name, formats, files) if arguments.force else []
    _tell(arguments, files, removed, [problem.message for problem in made.problems])
    return 0


def draft_path(word: str) -> Path:
    """Path of the draft; a recording given in its stead is told apart from a damaged draft."""
    path = Path(word)
    if path.is_dir():
        raise UsageError(f"'{word}' is a folder; name a draft in it, NAME{DRAFT_SUFFIX}")
    beside = path.with_name(path.stem + DRAFT_SUFFIX)
    if path.suffix.lower() != ".json" and path.is_file() and beside != path:
        first = f"draft it first: transcriber draft '{path}'"
        known = f"its draft is '{beside}'" if beside.is_file() else first
        raise UsageError(f"'{path}' is not a draft document; {known}")
    return path


def draft_name(draft: Path) -> str:
    """What the names of files made from a draft begin with."""
    return draft.name.removesuffix(DRAFT_SUFFIX) if draft.name.endswith(DRAFT_SUFFIX) else draft.stem


def _target(draft: Path, out: str | None, formats: tuple[str, ...]) -> _Target:
    """Say where the files go: beside the draft, in a folder, or in one file."""
    if out is None:
        return _Target(draft.parent, draft_name(draft))
    place = Path(out)
    if place.is_dir() or out.endswith((os.sep, "/")) or not place.suffix:
        return _Target(place, draft_name(draft))
    rows = export_formats(formats)
    if len(rows) != 1 or not rows[0].single:
        raise UsageError(f"--out '{out}' looks like one file, but more are written; end it in / for a folder")
    ending = "." + rows[0].suffix.rpartition(".")[2]
    if place.suffix.lower() != ending:
        raise UsageError(
            f"--out '{out}' does not end in {ending}, as {rows[0].name} does; end it in / for a folder"
        )
    return _Target(place.parent, draft_name(draft), place)


def _check_output(formats: tuple[str, ...], as_json: bool) -> None:
    rows = export_formats(formats)
    if as_json:
        raise UsageError("--json and --out - both want standard output; leave one away")
    if len(rows) != 1 or not rows[0].single:
        raise UsageError("--out - takes one format that is a single file; name one with --to")
    if not rows[0].text and sys.stdout.isatty():
        raise UsageError(f"{rows[0].name} is no text for a terminal; send --out - into a file or a program")


def _to_output(data: bytes) -> None:
    """Write bytes as they are; a reader that has gone is no failure of ours."""
    sys.stdout.flush()
    try:
        sys.stdout.buffer.write(data)
        sys.stdout.buffer.flush()
    except BrokenPipeError:
        # Python flushes once more as it ends, and would complain.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    except OSError as error:
        raise TranscriberError(f"standard output cannot be written: {error.strerror or error}") from error


def _tell(
    arguments: argparse.Namespace, files: Iterable[Path], removed: list[Path], left_out: list[str]
) -> None:
    written = [str(path) for path in files]
    if arguments.json:
        entry = {
            "draft": arguments.draft,
            "ok": True,
            "files": written,
            "removed": [str(path) for path in removed],
            "corrections_left_out": left_out,
        }
        Output().raw(json.dumps([entry], indent=2))
        return
    output = Output()
    output.line("Written: " + ", ".join(written))
    if removed:
        output.line(removed_words(removed))
