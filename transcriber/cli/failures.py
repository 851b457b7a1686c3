"""The one translator from exceptions to messages and exit codes."""

from __future__ import annotations

import traceback

from transcriber.cli.console import say_error
from transcriber.errors import TranscriberError

INTERRUPTED = 130
FAILED = 1


def exit_code_of(error: BaseException) -> int:
    """Exit code of an exception: its own if it is one of the program's, 130 if interrupted, else 1."""
    if isinstance(error, TranscriberError):
        return error.exit_code
    return INTERRUPTED if isinstance(error, KeyboardInterrupt) else FAILED


def tell(error: BaseException, verbose: bool) -> int:
    """Print an exception in one line, below its traceback if that is wanted; return its exit code."""
    if verbose:
        traceback.print_exception(error)
    if isinstance(error, KeyboardInterrupt):
        say_error("interrupted; what was not finished was not written")
    elif isinstance(error, TranscriberError):
        say_error(str(error))
    elif isinstance(error, OSError):
        where = f"'{error.filename}': " if error.filename else ""
        say_error(f"the system refused: {where}{error.strerror or error}")
    elif isinstance(error, MemoryError):
        say_error("out of memory; draft a shorter part with --start and --end")
    else:
        hint = "" if verbose else "; add -v to see where"
        say_error(f"unexpected {type(error).__name__}: {error}{hint}")
    return exit_code_of(error)
