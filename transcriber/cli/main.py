"""Entry point: arguments in, exit code out, every exception told in one place."""

from __future__ import annotations

import argparse
import importlib
import logging
import sys
from collections.abc import Callable, Sequence

from transcriber.cli.console import Output, prepare_streams
from transcriber.cli.failures import tell
from transcriber.cli.parser import PROGRAM, parse
from transcriber.cli.values import cap_threads

# Loaded when it is called for: a command needs its own libraries only.
COMMANDS = {
    name: (f"transcriber.cli.{name}_command", f"run_{name}")
    for name in ("check", "draft", "export", "instrument", "lesson", "loops", "render", "retime", "review")
}


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code."""
    words = list(sys.argv[1:] if arguments is None else arguments)
    prepare_streams()
    try:
        return _run(parse(words))
    except SystemExit as leaving:
        # argparse leaves so once it has printed help.
        return leaving.code if isinstance(leaving.code, int) else 0
    except (Exception, KeyboardInterrupt) as error:
        return tell(error, verbose=bool({"-v", "--verbose"} & set(words)))


def _run(arguments: argparse.Namespace) -> int:
    if arguments.version:
        import transcriber

        Output().line(f"{PROGRAM} {transcriber.__version__}")
        return 0
    cap_threads(arguments.jobs)
    _show_log(arguments.verbose)
    module, function = COMMANDS[arguments.command]
    run: Callable[[argparse.Namespace], int] = getattr(importlib.import_module(module), function)
    return run(arguments)


def _show_log(verbose: bool) -> None:
    if verbose:
        logging.basicConfig(stream=sys.stderr, level=logging.WARNING, format="%(name)s: %(message)s")
        logging.getLogger("transcriber").setLevel(logging.DEBUG)
