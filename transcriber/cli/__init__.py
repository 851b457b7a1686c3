"""The command line: the only part of the program that prints."""

from __future__ import annotations

from collections.abc import Sequence


def run(arguments: Sequence[str] | None = None) -> int:
    """Run the program and return its exit code; `arguments` are those of the process unless given."""
    from transcriber.cli.main import main

    return main(arguments)


__all__ = ["run"]
