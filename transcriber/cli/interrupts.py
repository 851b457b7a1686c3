"""Ctrl-C at a moment that can bear it."""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType


@contextmanager
def interrupts_deferred() -> Iterator[None]:
    """Hold Ctrl-C back until the block ends, then raise `KeyboardInterrupt`.

    Extension modules that are being imported abort the whole process, or lose the interrupt, when Python
    raises inside their initialisation.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    seen: list[int] = []

    def note(number: int, _frame: FrameType | None) -> None:
        seen.append(number)

    before = signal.signal(signal.SIGINT, note)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)
    if seen:
        raise KeyboardInterrupt
