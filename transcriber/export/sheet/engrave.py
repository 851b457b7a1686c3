"""Runs LilyPond on a text that this package wrote; the one exporter that uses files, in a folder of its own.

The program comes with the PyPI package `lilypond` (GPL-3.0-or-later): it is never part of this package and is
started as a program beside it. The time of day is taken out of what it writes, so that the same text gives
the same bytes.
"""

from __future__ import annotations

import logging
import os
import re
import subprocess
import tempfile
from collections.abc import Sequence
from pathlib import Path

from transcriber.errors import TranscriberError, UsageError

logger = logging.getLogger(__name__)

LONGEST_S = 180
"""Seconds after which an engraving is given up."""

FORMAT_OPTIONS: dict[str, tuple[str, ...]] = {
    "pdf": ("-dbackend=cairo", "--pdf"),
    "svg": ("-dbackend=cairo", "--svg"),
    "png": ("-dbackend=cairo", "--png"),
}

_PDF_TIME = re.compile(rb"(?<=/CreationDate \(D:)\d{14}")
_NO_GLYPH = re.compile("no glyph for character '(.)'")
PLAIN_TIME = b"20000101000000"
"""Stands in every PDF for the time of day, at the same length."""


def program() -> Path:
    """Path of the LilyPond program.

    Raises
    ------
    UsageError
        If the package `lilypond` is not installed; the message tells how to install it.
    """
    try:
        import lilypond
    except ImportError as error:
        raise UsageError(
            "engraving needs the package lilypond: install it with  pip install 'transcriber[sheet]'"
        ) from error
    return Path(lilypond.executable())


def engrave(source: str, form: str, dots_per_inch: int = 150) -> dict[str, bytes]:
    """Engrave a text.

    Parameters
    ----------
    source : str
        LilyPond's text.
    form : {"pdf", "svg", "png"}
    dots_per_inch : int
        Of a PNG picture.

    Returns
    -------
    dict of str to bytes
        Content of each file by what follows the name ``sheet`` in its own, in order of the pages.

    Raises
    ------
    UsageError
        If LilyPond is not installed.
    TranscriberError
        If it fails, or takes too long.
    """
    lily = program()
    with tempfile.TemporaryDirectory(prefix="transcriber-") as folder:
        command = [
            str(lily),
            "-dno-point-and-click",
            "--loglevel=WARNING",
            *FORMAT_OPTIONS[form],
            f"-dresolution={dots_per_inch}",
            "--output=sheet",
            "-",
        ]
        _run(command, source, folder)
        made = sorted(Path(folder).glob(f"sheet*.{form}"), key=lambda path: _page_order(path.stem))
        pages = {path.name.removeprefix("sheet").replace("-page", "-"): _content(path) for path in made}
    if not pages:
        raise TranscriberError("LilyPond wrote nothing; export the draft as text instead")
    return pages


def _run(command: Sequence[str], source: str, folder: str) -> None:
    try:
        done = subprocess.run(
            command,
            input=source.encode("utf-8"),
            cwd=folder,
            env={**os.environ, "LC_ALL": "C.UTF-8"},
            capture_output=True,
            timeout=LONGEST_S,
            check=False,
        )
    except subprocess.TimeoutExpired as error:
        raise TranscriberError(
            f"LilyPond took more than {LONGEST_S} s; draft a shorter part with --start and --end"
        ) from error
    except OSError as error:
        raise TranscriberError(
            f"LilyPond cannot be started ({error.strerror or error}): "
            "install it anew with  pip install --force-reinstall lilypond"
        ) from error
    words = done.stderr.decode("utf-8", "replace").strip().splitlines()
    for line in words:
        logger.info("LilyPond: %s", line)
    missing = "".join(sorted(set(_NO_GLYPH.findall("\n".join(words)))))
    if missing:
        logger.warning("no font on this machine has %s: the sheet leaves them out", missing)
    if done.returncode != 0:
        said = next((line for line in words if "error" in line), words[-1] if words else "no reason given")
        raise TranscriberError(f"LilyPond could not engrave the draft: {said.strip()}")


def _page_order(stem: str) -> tuple[int, str]:
    figures = re.findall(r"\d+", stem)
    return (int(figures[-1]) if figures else 0, stem)


def _content(path: Path) -> bytes:
    data = path.read_bytes()
    if path.suffix != ".pdf":
        return data
    return _PDF_TIME.sub(PLAIN_TIME, data)
