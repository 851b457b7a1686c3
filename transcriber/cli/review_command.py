"""`transcriber review`: the page on which a draft is heard, checked and corrected."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import TYPE_CHECKING

from transcriber.attempts import CHECK_SUFFIX
from transcriber.cli.console import Output, counted, say_error
from transcriber.cli.failures import INTERRUPTED
from transcriber.cli.results import check_free, write_into
from transcriber.cli.values import whole
from transcriber.errors import UsageError

if TYPE_CHECKING:
    from transcriber.review import ReviewSettings

_PORT_BOUNDS = (1024, 65535)
_PAGE_SUFFIX = ".html"
_LABELS_SUFFIX = ".jsonl"


def run_review(arguments: argparse.Namespace) -> int:
    """Open the page, or write what was asked for instead of opening it."""
    from transcriber.review import ReviewSettings

    settings = ReviewSettings(
        draft=Path(arguments.draft),
        take=None if arguments.take is None else Path(arguments.take),
        port=None if arguments.port is None else whole("port", arguments.port, *_PORT_BOUNDS),
        attempt=None if arguments.attempt is None else Path(arguments.attempt),
    )
    if settings.draft.suffix.lower() != ".json":
        raise UsageError(
            f"'{settings.draft}' is not a draft document; give a NAME.draft.json made by 'transcriber draft'"
        )
    asked = [bool(arguments.standalone), bool(arguments.labels), arguments.summary]
    if sum(asked) > 1:
        raise UsageError("give one of --standalone, --labels and --summary")
    if arguments.json and not any(asked):
        raise UsageError("--json goes with --standalone, --labels or --summary; the page is for people")
    if settings.attempt is not None:
        _check_attempt(settings.attempt, bool(arguments.labels) or arguments.summary)
    if arguments.standalone:
        return _write_page(settings, Path(arguments.standalone), arguments)
    if arguments.labels:
        return _write_labels(settings, Path(arguments.labels), arguments)
    if arguments.summary:
        return _summarise(settings, arguments)
    return _serve(settings, arguments)


def _check_attempt(attempt: Path, instead: bool) -> None:
    if instead:
        raise UsageError("--attempt is for the page; leave it away with --labels and --summary")
    if not attempt.name.endswith(CHECK_SUFFIX):
        raise UsageError(
            f"--attempt '{attempt}' is no answer to an attempt: run transcriber check ATTEMPT DRAFT "
            f"and give the ATTEMPT{CHECK_SUFFIX} that it writes"
        )


def _serve(settings: ReviewSettings, arguments: argparse.Namespace) -> int:
    from transcriber.review import serve_review

    output = Output()

    def tell(address: str, has_take: bool) -> None:
        if not has_take:
            say_error(
                "the recording is not beside the draft, so only the draft can be heard; give --take FILE"
            )
        output.line(f"Open {address}")
        if not arguments.quiet:
            output.line("Every correction is kept at once. Ctrl-C ends the page.")
        if arguments.browser:
            import webbrowser

            webbrowser.open(address)

    try:
        serve_review(settings, tell)
    except KeyboardInterrupt:
        # The usual way to end the page; nothing was under way that could be lost.
        if not arguments.quiet:
            output.line("The page has ended; every correction is kept.")
        return INTERRUPTED
    return 0


def _write_page(settings: ReviewSettings, target: Path, arguments: argparse.Namespace) -> int:
    from transcriber.review.standalone import standalone_page

    if target.suffix.lower() != _PAGE_SUFFIX:
        raise UsageError(f"--standalone '{target}' does not end in {_PAGE_SUFFIX}")
    check_free([target], arguments.force)
    page = standalone_page(settings)
    write_into(target.parent, {target: page}, arguments.force)
    _report(
        arguments, {"files": [str(target)], "bytes": len(page)}, f"Written: {target} ({_size(len(page))})"
    )
    return 0


def _write_labels(settings: ReviewSettings, target: Path, arguments: argparse.Namespace) -> int:
    from transcriber.review.labels import labelled_lines

    if target.suffix.lower() != _LABELS_SUFFIX:
        raise UsageError(
            f"--labels '{target}' does not end in {_LABELS_SUFFIX}; one JSON object stands on a line"
        )
    check_free([target], arguments.force)
    lines = labelled_lines(settings.draft)
    write_into(target.parent, {target: "".join(lines).encode("utf-8")}, arguments.force)
    _report(
        arguments, {"files": [str(target)], "notes": len(lines)}, f"Written: {target} ({len(lines)} notes)"
    )
    return 0


def _summarise(settings: ReviewSettings, arguments: argparse.Namespace) -> int:
    from transcriber.review.labels import summary_of

    totals = summary_of(settings.draft)
    words = (
        f"{counted(totals.corrections, 'correction')} to {counted(totals.notes, 'note')}: "
        f"{totals.per_100_notes:.1f} per 100, in {totals.minutes:.1f} minutes of work. "
        f"{counted(totals.confirmed, 'note')} found right, "
        f"{totals.still_unsure} still unsure."
    )
    _report(arguments, totals.document(), words)
    return 0


def _report(arguments: argparse.Namespace, document: dict[str, object], words: str) -> None:
    if arguments.json:
        Output().raw(json.dumps(document, indent=2))
    else:
        Output().line(words)


def _size(count: int) -> str:
    return f"{count / 1_000_000:.1f} MB"
