"""Where results go: checked before the work starts, written whole or not at all when it is done."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

from transcriber.cli.console import say_warning
from transcriber.errors import TranscriberError
from transcriber.files import Content, write_all_whole


def check_free(paths: Sequence[Path], force: bool) -> None:
    """Refuse to replace a file unless that is wanted.

    Raises
    ------
    TranscriberError
    """
    for path in paths:
        if not force and os.path.lexists(path):
            raise TranscriberError(f"'{path}' is there already; use --force to replace it")


def check_folder(folder: Path) -> None:
    """Refuse a folder that cannot be written to, or be made.

    Raises
    ------
    TranscriberError
    """
    place = Path(os.path.abspath(folder))
    while not os.path.lexists(place) and place != place.parent:
        place = place.parent
    if not place.is_dir():
        raise TranscriberError(f"'{place}' is not a folder; name another place with --out")
    if not os.access(place, os.W_OK | os.X_OK):
        raise TranscriberError(f"folder '{place}' cannot be written to; name another with --out")


def remove_left_behind(folder: Path, name: str, formats: Sequence[str], files: Iterable[Path]) -> list[Path]:
    """Remove the pages and pictures of an earlier export that was just replaced by one of fewer; say so."""
    from transcriber.draft_files import left_behind

    return remove_old(left_behind(folder, name, formats, files))


def remove_old(paths: Iterable[Path]) -> list[Path]:
    """Remove files of an earlier run; one that cannot be removed is told of and stays."""
    removed = []
    for path in paths:
        try:
            path.unlink()
        except OSError as error:
            say_warning(f"'{path}' is of an earlier run and cannot be removed: {error.strerror or error}")
        else:
            removed.append(path)
    return removed


def removed_words(removed: Sequence[Path]) -> str:
    """One line that tells what was removed."""
    return "Removed, as the earlier export had more of them: " + ", ".join(str(path) for path in removed)


def write_into(folder: Path, files: Mapping[Path, Content], force: bool) -> None:
    """Write all files or none, in a folder or folders within it; those made for them go again if none is.

    Raises
    ------
    TranscriberError
    """
    inside = sorted({path.parent for path in files} - {folder})
    made = [place for place in (*inside, folder, *folder.parents) if not place.exists()]
    try:
        for each in (folder, *inside):
            try:
                each.mkdir(parents=True, exist_ok=True)
            except OSError as error:
                raise TranscriberError(
                    f"folder '{each}' cannot be made: {error.strerror}; name another with --out"
                ) from error
        write_all_whole(files, force)
    except BaseException:
        for place in made:
            # Only what is empty goes: someone else may have put something there meanwhile.
            if place.is_dir() and not any(place.iterdir()):
                place.rmdir()
        raise
