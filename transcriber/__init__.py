"""Drafts tab, rhythm and MIDI from a recording of single-note guitar.

    >>> from transcriber import draft_take  # doctest: +SKIP
    >>> draft = draft_take("take.wav")  # doctest: +SKIP

Names are loaded when they are first used, so that importing the package costs nothing.
"""

from __future__ import annotations

import importlib
import logging
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from transcriber.draft.document import Draft
    from transcriber.draft.files import read_draft
    from transcriber.drafting import draft_take
    from transcriber.errors import (
        AudioError,
        DraftError,
        ModelError,
        NoNotesError,
        TranscriberError,
        UsageError,
    )
    from transcriber.records.written import Meter
    from transcriber.settings import DraftSettings

    __version__: str

__all__ = [
    "AudioError",
    "Draft",
    "DraftError",
    "DraftSettings",
    "Meter",
    "ModelError",
    "NoNotesError",
    "TranscriberError",
    "UsageError",
    "__version__",
    "draft_take",
    "read_draft",
]

_HOMES = {
    "AudioError": "transcriber.errors",
    "Draft": "transcriber.draft.document",
    "DraftError": "transcriber.errors",
    "DraftSettings": "transcriber.settings",
    "Meter": "transcriber.records.written",
    "ModelError": "transcriber.errors",
    "NoNotesError": "transcriber.errors",
    "TranscriberError": "transcriber.errors",
    "UsageError": "transcriber.errors",
    "draft_take": "transcriber.drafting",
    "read_draft": "transcriber.draft.files",
}

logging.getLogger(__name__).addHandler(logging.NullHandler())


def __getattr__(name: str) -> Any:
    if name == "__version__":
        value: Any = _installed_version()
    elif name in _HOMES:
        value = getattr(importlib.import_module(_HOMES[name]), name)
    else:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})


def _installed_version() -> str:
    from importlib.metadata import PackageNotFoundError, version

    try:
        return version(__name__)
    except PackageNotFoundError:
        return "0+unknown"
