"""Where words go: results to stdout, progress and errors to stderr, each safe for any terminal."""

from __future__ import annotations

import contextlib
import os
import sys
from collections.abc import Iterator
from typing import Any


def one_line(text: str) -> str:
    """Write control characters and undecodable bytes as escapes, so that one message is one line."""
    return "".join(
        char if char.isprintable() else char.encode("unicode_escape").decode("ascii") for char in text
    )


def counted(number: int, noun: str) -> str:
    """Write a number of things: ``"1 note"``, ``"2 notes"``."""
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def prepare_streams() -> None:
    """Let no character of a file name stop the output, whatever the terminal's encoding."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")


class Output:
    """Standard output. Once its reader has gone it takes words quietly and drops them."""

    def __init__(self, quiet: bool = False) -> None:
        self._open = True
        self._quiet = quiet

    def line(self, text: str = "", style: str | None = None) -> None:
        """Print one line of results; styled only on a terminal that wants it."""
        if not self._quiet:
            self.raw(_styled(text, style))

    def raw(self, text: str) -> None:
        """Print text as it is."""
        if not self._open:
            return
        try:
            sys.stdout.write(text + "\n")
            sys.stdout.flush()
        except BrokenPipeError:
            self._open = False
            # Python flushes once more as it ends, and would complain.
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def say_error(message: str) -> None:
    """Print one line of error."""
    with contextlib.suppress(OSError, ValueError):
        print(f"transcriber: {one_line(message)}", file=sys.stderr, flush=True)


def say_warning(message: str) -> None:
    """Print one line about what was left out or put right."""
    say_error(f"note: {message}")


@contextlib.contextmanager
def progress_on(take: str, quiet: bool) -> Iterator[Any]:
    """Give a function that shows which stage a take is in: a moving line on a terminal, else lines."""
    if quiet:
        yield lambda _words: None
        return
    name = one_line(take)
    if not sys.stderr.isatty():
        yield lambda words: _say_progress(f"{name}: {words}")
        return
    from rich.console import Console
    from rich.text import Text

    # The stage stands first and the line is cut, not wrapped: a moving line must stay one line.
    console = Console(stderr=True, color_system=None if os.environ.get("NO_COLOR") else "auto")
    with console.status(Text(name, no_wrap=True, overflow="ellipsis")) as status:
        yield lambda words: status.update(Text(f"{words}: {name}", no_wrap=True, overflow="ellipsis"))


def _say_progress(text: str) -> None:
    with contextlib.suppress(OSError, ValueError):
        print(text, file=sys.stderr, flush=True)


def _styled(text: str, style: str | None) -> str:
    text = one_line(text)
    if style is None or not sys.stdout.isatty() or os.environ.get("NO_COLOR"):
        return text
    from rich.console import Console
    from rich.text import Text

    console = Console(width=max(len(text) + 1, 1), highlight=False)
    with console.capture() as captured:
        console.print(Text(text, style=style), end="")
    return captured.get()
