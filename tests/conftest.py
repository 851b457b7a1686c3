"""What holds for every test."""

from __future__ import annotations

import signal
from pathlib import Path

import hypothesis
import pytest

from tests.review.browsers import ARGUMENTS, CHROMIUM

# The same examples in every run, and none too slow for a busy machine. To look for new ones:
# `pytest --hypothesis-profile=searching`.
hypothesis.settings.register_profile("repeatable", derandomize=True, deadline=None)
hypothesis.settings.register_profile("searching", derandomize=False, deadline=None)
hypothesis.settings.load_profile("repeatable")


def pytest_configure() -> None:
    """Listen to Ctrl-C again where the shell that started the tests in its background has had it ignored.

    Programs that tests start inherit the ignoring, and tests of Ctrl-C would wait in vain.
    """
    if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
        signal.signal(signal.SIGINT, signal.default_int_handler)


@pytest.fixture(scope="session")
def browser():
    """One browser for all tests of a process, which a second start of playwright would trip over."""
    sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    if not Path(CHROMIUM).exists():
        pytest.skip(f"no browser at {CHROMIUM}; install Debian's package chromium")
    with sync_api.sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=CHROMIUM, args=list(ARGUMENTS))
        yield chromium
        chromium.close()
