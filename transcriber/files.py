"""Writing files whole or not at all.

New bytes are staged in the target's folder under a hidden name, flushed to the disk and renamed over the
target, so that a reader sees the old file or the new one. Whatever interrupts the work, Ctrl-C included, what
was there before is there again and no staged file is left.
"""

from __future__ import annotations

import contextlib
import os
import secrets
import shutil
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from transcriber.errors import TranscriberError

DRAFT_SUFFIX = ".draft.json"
"""What stands after NAME in the name of a draft document: here, as it is wanted where no draft is read."""
Content = bytes | Callable[[], bytes]
"""What is to stand in a file, or what makes it when it is to be written: one file after the other."""


@dataclass
class _Job:
    """One file on its way: where it goes, where it is staged, and where the old one is kept meanwhile."""

    shown: Path
    target: Path
    staged: Path
    kept: Path | None = None
    identity: tuple[int, int] | None = None

    def placed(self) -> bool:
        """Whether the target is the staged file: asked of the disk, as an interrupt may fall anywhere."""
        try:
            return self.identity is not None and _identity(self.target) == self.identity
        except OSError:
            return False


def _identity(path: Path) -> tuple[int, int]:
    status = path.stat()
    return status.st_dev, status.st_ino


def write_whole(path: Path, data: bytes, force: bool = False) -> None:
    """Write one file whole or not at all.

    Parameters
    ----------
    path : Path
        Target; its folder must exist. A symbolic link is followed.
    data : bytes
    force : bool
        Whether a file that is there may be replaced.

    Raises
    ------
    TranscriberError
        If the file is there and `force` is false, or it cannot be written. One line, naming the path.
    """
    write_all_whole({path: data}, force)


def write_all_whole(files: Mapping[Path, Content], force: bool = False) -> None:
    """Write a set of files, all of them or none.

    All targets are checked first, then all are staged, then all are put in place. If one cannot be put in
    place, those before it are taken back and files they had replaced return. What is made only when it is
    written is held in memory one file at a time; if making one fails, nothing is left of the others.

    Raises
    ------
    TranscriberError
        As `write_whole`; also if two of the paths are the same file.
    """
    jobs = [_job(path) for path in files]
    _check_targets(jobs, force)
    try:
        for job, content in zip(jobs, files.values(), strict=True):
            data = content if isinstance(content, bytes) else content()
            with _one_line(job.shown):
                _stage(job, data)
        for job in jobs:
            with _one_line(job.shown):
                _place(job, force, keep=job is not jobs[-1])
    except BaseException:
        if not all(job.placed() for job in jobs):
            for job in reversed(jobs):
                _take_back(job)
        raise
    finally:
        for job in jobs:
            _discard(job.staged)
            if job.kept is not None:
                _discard(job.kept)
    for folder in sorted({job.target.parent for job in jobs}):
        _sync_folder(folder)


def _job(path: Path) -> _Job:
    path = Path(path)
    target = Path(os.path.realpath(path))
    # A short name of its own: the target's name may already be as long as the file system allows.
    return _Job(path, target, target.parent / f".transcriber-{secrets.token_hex(8)}.tmp")


def _check_targets(jobs: list[_Job], force: bool) -> None:
    seen: dict[Path, Path] = {}
    for job in jobs:
        if job.target in seen:
            raise TranscriberError(f"'{seen[job.target]}' and '{job.shown}' are one file; name two")
        seen[job.target] = job.shown
        if not job.target.parent.is_dir():
            raise TranscriberError(f"'{job.shown}' cannot be written: its folder is not there; make it first")
        if job.target.is_dir():
            raise TranscriberError(f"'{job.shown}' cannot be written: it is a folder; name a file")
        if not force and job.target.exists():
            raise _already_there(job.shown)


def _already_there(path: Path) -> TranscriberError:
    return TranscriberError(f"'{path}' is already there; use --force to replace it")


@contextlib.contextmanager
def _one_line(path: Path) -> Iterator[None]:
    """Turn the system's refusal into one line."""
    try:
        yield
    except OSError as error:
        reason = error.strerror or str(error)
        raise TranscriberError(f"'{path}' cannot be written: {reason}; nothing was changed") from error


def _stage(job: _Job, data: bytes) -> None:
    # Not tempfile: its files are private (0600), while results should have the mode that the umask gives.
    handle = os.open(job.staged, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o666)
    with os.fdopen(handle, "wb") as stream:
        stream.write(data)
        stream.flush()
        os.fsync(stream.fileno())
    job.identity = _identity(job.staged)


def _place(job: _Job, force: bool, keep: bool) -> None:
    """Put a staged file in place. `keep` holds on to what it replaces until the whole set is in place."""
    if not force:
        _place_new(job)
        return
    if job.target.exists():
        shutil.copymode(job.target, job.staged)
        if keep:
            kept = job.staged.with_suffix(".old")
            job.kept = kept
            _second_name(job.target, kept)
    os.replace(job.staged, job.target)


def _place_new(job: _Job) -> None:
    """Put a file where none may be: unlike a rename, a hard link does not replace a file made meanwhile."""
    try:
        os.link(job.staged, job.target)
    except FileExistsError:
        raise _already_there(job.shown) from None
    except OSError:
        # The file system has no hard links.
        if job.target.exists():
            raise _already_there(job.shown) from None
        os.rename(job.staged, job.target)


def _second_name(target: Path, kept: Path) -> None:
    try:
        os.link(target, kept)
    except OSError:
        shutil.copy2(target, kept)


def _take_back(job: _Job) -> None:
    if not job.placed():
        return
    if job.kept is not None:
        with contextlib.suppress(OSError):
            os.replace(job.kept, job.target)
    else:
        _discard(job.target)


def _discard(path: Path) -> None:
    with contextlib.suppress(OSError):
        path.unlink()


def _sync_folder(folder: Path) -> None:
    """Make the rename itself last through a power cut, where the system allows it."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
