"""A lock that keeps two writers of one file apart, dropped by the system when its holder ends."""

from __future__ import annotations

import contextlib
import sys
import time
from collections.abc import Iterator
from pathlib import Path

from transcriber.errors import DraftError

_PAUSE_S = 0.02
# Windows locks bytes, not files: one far beyond the end is free for the purpose and blocks no reader.
_LOCKED_BYTE = 1 << 30


@contextlib.contextmanager
def hold_lock(handle: int, path: Path, wait_s: float = 2.0) -> Iterator[None]:
    """Hold the lock of an open file.

    Parameters
    ----------
    handle : int
        File descriptor, open for writing.
    path : Path
        What to call the file in an error.
    wait_s : float
        How long to wait for another holder, seconds.

    Raises
    ------
    DraftError
        If another writer holds the lock for longer than `wait_s`.
    """
    until = time.monotonic() + wait_s
    while not _try_lock(handle):
        if time.monotonic() >= until:
            raise DraftError(
                f"'{path}' is held by another writer for over {wait_s:g} s; try again when it is done"
            )
        time.sleep(_PAUSE_S)
    try:
        yield
    finally:
        _unlock(handle)


if sys.platform == "win32":
    import msvcrt
    import os

    def _try_lock(handle: int) -> bool:
        os.lseek(handle, _LOCKED_BYTE, os.SEEK_SET)
        try:
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        return True

    def _unlock(handle: int) -> None:
        os.lseek(handle, _LOCKED_BYTE, os.SEEK_SET)
        msvcrt.locking(handle, msvcrt.LK_UNLCK, 1)

else:
    import fcntl

    def _try_lock(handle: int) -> bool:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        return True

    def _unlock(handle: int) -> None:
        fcntl.flock(handle, fcntl.LOCK_UN)
