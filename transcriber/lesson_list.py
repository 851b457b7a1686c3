"""The list of what a lesson wrote, kept in its folder: by it a later one knows which files are its own.

A file is known by its name and the digest of its bytes. One that somebody changed since is no longer the
lesson's, nor is one that lies elsewhere or is named after another draft.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from pathlib import Path

from transcriber.errors import DraftError
from transcriber.files import Content

SUFFIX = ".lesson.json"
FORMAT_VERSION = 1


def listed(files: Mapping[str, Content], name: str) -> dict[str, Content]:
    """Add the list to files that are written in their order; it is made last, when all others are known.

    Parameters
    ----------
    files : mapping of str to bytes or callable
        By name within the folder.
    name : str
        What the names of the lesson's files begin with.
    """
    digests: dict[str, str] = {}

    def noted(file: str, content: Content) -> Content:
        def made() -> bytes:
            data = content if isinstance(content, bytes) else content()
            digests[file] = hashlib.sha256(data).hexdigest()
            return data

        return made

    def last() -> bytes:
        rows = ",\n".join(f"    {json.dumps(file)}: {json.dumps(digests[file])}" for file in sorted(digests))
        return f'{{\n  "format_version": {FORMAT_VERSION},\n  "files": {{\n{rows}\n  }}\n}}\n'.encode()

    return {**{file: noted(file, content) for file, content in files.items()}, f"{name}{SUFFIX}": last}


def read_list(folder: Path, name: str) -> dict[str, str]:
    """Read the list that an earlier lesson left: file to digest; empty where there is none.

    Raises
    ------
    DraftError
        If it cannot be read, or is no such list.
    """
    path = folder / f"{name}{SUFFIX}"
    if not path.is_file():
        return {}
    try:
        files = json.loads(path.read_text(encoding="utf-8"))["files"]
        if not all(isinstance(part, str) for pair in files.items() for part in pair):
            raise TypeError("files")
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError) as error:
        raise DraftError(f"'{path}' is not the list of a lesson's files") from error
    return dict(files)


def no_longer_written(
    folder: Path, name: str, earlier: Mapping[str, str], written: Iterable[Path]
) -> tuple[Path, ...]:
    """Files of an earlier lesson that a new one did not write again, and that are still as they were.

    Parameters
    ----------
    folder : Path
    name : str
        Only files named after it are looked at, in the folder itself or one folder below.
    earlier : mapping of str to str
        As `read_list` gives it.
    written : iterable of Path
        What the new lesson wrote.
    """
    kept = set(written)
    found = []
    for file, digest in sorted(earlier.items()):
        path = folder / file
        inside = path.parent == folder or path.parent.parent == folder
        if path in kept or not inside or ".." in path.parts or not path.name.startswith(f"{name}."):
            continue
        if path.is_symlink() or not path.is_file():
            continue
        if hashlib.sha256(path.read_bytes()).hexdigest() == digest:
            found.append(path)
    return tuple(found)
