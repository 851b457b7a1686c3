"""Sounds that take long to make: each in a thread of its own that can be stopped and keeps nobody waiting.

The threads are daemons, so that the command ends at once when it is interrupted, and a sound that nobody
waits for any longer is given up between two notes.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Hashable
from concurrent.futures import Future

from transcriber.errors import TranscriberError

Check = Callable[[], None]
"""Called between pieces of the work; raises `StoppedError` once it is to end."""


class StoppedError(TranscriberError):
    """The sound is no longer wanted."""


class Rendering:
    """One sound being made, for one or several who wait for it.

    Attributes
    ----------
    result : Future of bytes
    """

    def __init__(self, make: Callable[[Check], bytes]) -> None:
        self.result: Future[bytes] = Future()
        self.waiting = 0
        self._make = make
        self._stopped = threading.Event()
        threading.Thread(target=self._run, daemon=True, name="sound").start()

    @property
    def stopped(self) -> bool:
        """Whether it was told to stop."""
        return self._stopped.is_set()

    def stop(self) -> None:
        """Give it up at the next note."""
        self._stopped.set()

    def _run(self) -> None:
        try:
            self.result.set_result(self._make(self._check))
        except BaseException as error:
            # Whoever waits has to hear of it, whatever it is.
            self.result.set_exception(error)

    def _check(self) -> None:
        if self._stopped.is_set():
            raise StoppedError("the sound is no longer wanted")


class Renderings:
    """The sounds that are being made for one server."""

    def __init__(self) -> None:
        self._running: dict[Hashable, Rendering] = {}
        self._lock = threading.Lock()
        self._closed = False

    def join(self, key: Hashable, make: Callable[[Check], bytes]) -> Rendering:
        """Begin to make a sound, or wait with others for the one of the same key; `leave` ends the wait.

        Raises
        ------
        StoppedError
            If the server is ending.
        """
        with self._lock:
            if self._closed:
                raise StoppedError("the page is ending")
            found = self._running.get(key)
            if found is None or found.stopped or found.result.done():
                found = self._running[key] = Rendering(make)
            found.waiting += 1
            return found

    def leave(self, key: Hashable, rendering: Rendering) -> None:
        """Wait no longer; when nobody does, the sound is given up."""
        with self._lock:
            rendering.waiting -= 1
            if rendering.waiting == 0:
                rendering.stop()
                if self._running.get(key) is rendering:
                    del self._running[key]

    def close(self) -> None:
        """Give up every sound, and make no more."""
        # No lock: this is called where a signal is handled, which may be while the lock is held.
        self._closed = True
        for rendering in list(self._running.values()):
            rendering.stop()
