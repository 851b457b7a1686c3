"""Earlier answers in the same folder: the only documents that practice reads."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

from transcriber.practice.words import FORMAT_VERSION, SUFFIX, progress_entry


def earlier_attempts(folder: Path, reference_sha256: str, apart_from: Path) -> list[dict[str, Any]]:
    """Gather earlier attempts at the same line.

    Parameters
    ----------
    folder : Path
    reference_sha256 : str
        Digest of the recording that the draft was made from.
    apart_from : Path
        The document that is about to be written.

    Returns
    -------
    list of dict
        In the order of their names, numbers in them by value; what is no such document is passed over.
    """
    if not folder.is_dir():
        return []
    found = []
    for path in sorted(folder.glob(f"*{SUFFIX}"), key=lambda path: _natural(path.name)):
        if path.name == apart_from.name:
            continue
        try:
            document = json.loads(path.read_text(encoding="utf-8"))
            same = document["reference"]["sha256"] == reference_sha256
            if document["format_version"] == FORMAT_VERSION and same:
                found.append(progress_entry(path.name, document))
        except (OSError, ValueError, KeyError, TypeError):
            continue
    return found


def _natural(name: str) -> list[tuple[int, str]]:
    return [(int(part), "") if part.isdigit() else (-1, part) for part in re.split(r"(\d+)", name)]
