"""What holds for every test."""

from __future__ import annotations

import signal


def pytest_configure() -> None:
    """Listen to Ctrl-C again where the shell that started the tests in its background has had it ignored.

    Programs that tests start inherit the ignoring, and tests of Ctrl-C would wait in vain.
    """
    if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
        signal.signal(signal.SIGINT, signal.default_int_handler)
