"""What all who call the stages from a recording on share: loading them, and saying what they are at."""

from __future__ import annotations

import importlib
import logging
import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from transcriber.records.heard import Heard
    from transcriber.records.take import Take

logger = logging.getLogger(__name__)

Progress = Callable[[str], None]
_LOADED_FOR_A_DRAFT = (
    "soundfile",
    "soxr",
    "scipy.fft",
    "scipy.ndimage",
    "scipy.special",
    "jsonschema",
    "mido",
    "transcriber.audio",
    "transcriber.listening",
    "transcriber.notation",
    "transcriber.fretboard",
    "transcriber.analysis",
    "transcriber.draft",
    "transcriber.export.midi",
    "transcriber.export.tab",
)


def load_stages() -> None:
    """Import all that drafting needs, which otherwise happens when it is first used."""
    for name in _LOADED_FOR_A_DRAFT:
        importlib.import_module(name)


class Stages:
    """Tells when each stage begins, and logs how long it took.

    Parameters
    ----------
    progress : callable or None
        Called with a few words as each stage begins.
    """

    def __init__(self, progress: Progress | None) -> None:
        self._progress = progress
        self._current: tuple[str, float] | None = None

    def __call__(self, words: str) -> None:
        """Tell that a stage begins; the one before it is over."""
        self.end()
        self._current = (words, time.perf_counter())
        if self._progress is not None:
            self._progress(words)

    def end(self) -> None:
        """Log the last stage's time."""
        if self._current is not None:
            words, began = self._current
            logger.info("%s took %.2f s", words, time.perf_counter() - began)
            self._current = None


def no_notes_words(path: str | Path, take: Take, heard: Heard) -> str:
    """One line for a take in which nothing was heard: what was seen of it, and what to do."""
    if heard.problems:
        return f"no single-note line was found in '{path}': {heard.problems[0].message}"
    seen = f" ({take.problems[0].message.rstrip('.')})" if take.problems else ""
    return (
        f"no notes were found in '{path}' from {take.start_s:.1f} to {take.end_s:.1f} s{seen}; "
        "give a part or a recording in which single guitar notes can be heard"
    )
