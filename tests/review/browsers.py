"""A real browser and a real server for the tests of the page."""

from __future__ import annotations

import asyncio
import os
import re
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Sequence
from pathlib import Path
from typing import ClassVar
from urllib.parse import urlsplit

CHROMIUM = "/usr/bin/chromium"
ARGUMENTS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--mute-audio",
    "--autoplay-policy=no-user-gesture-required",
)
ROOT = Path(__file__).resolve().parents[2]


class Served:
    """The page for one draft, served from a thread of the test's own process."""

    RUNNING: ClassVar[dict[int, Served]] = {}
    """Servers by their ports."""

    def __init__(self, path: Path, take: Path | None, attempt: Path | None = None) -> None:
        import socket

        import uvicorn

        from transcriber.review.app import make_application
        from transcriber.review.desk import Desk

        self.path = path
        listener = socket.create_server(("127.0.0.1", 0))
        port = listener.getsockname()[1]
        self._application = make_application(Desk(path, take, attempt), port, "token")
        self.gates: list[Held] = []
        config = uvicorn.Config(self._through_gates, interface="asgi3", log_level="error", lifespan="off")
        self._server = uvicorn.Server(config)
        self._server.install_signal_handlers = lambda: None
        self._thread = threading.Thread(target=self._server.run, kwargs={"sockets": [listener]}, daemon=True)
        self._thread.start()
        self.address = f"http://127.0.0.1:{port}/#token"
        self.RUNNING[port] = self

    async def _through_gates(self, scope, receive, send) -> None:
        asked = scope.get("path", "") + "?" + scope.get("query_string", b"").decode()
        for gate in [gate for gate in self.gates if asked.startswith(gate.address)]:
            gate.waiting = True
            while not gate.is_open:
                await asyncio.sleep(0.01)
        await self._application(scope, receive, send)

    def stop(self) -> None:
        """End the server."""
        self._server.should_exit = True
        self._server.force_exit = True
        self._thread.join(timeout=5)


class Program:
    """The command itself, in a process that can be killed."""

    def __init__(self, path: Path, port: int | None = None, options: Sequence[str] = ()) -> None:
        words = [sys.executable, "-m", "transcriber", "review", str(path), *options]
        if port is not None:
            words += ["--port", str(port)]
        environment = {**os.environ, "PYTHONPATH": str(ROOT), "PYTHONUNBUFFERED": "1"}
        self._process = subprocess.Popen(
            words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=environment
        )
        line = self._process.stdout.readline()
        match = re.search(r"http://127\.0\.0\.1:(\d+)/#\S+", line)
        assert match, line + self._process.stderr.read()
        self.address, self.port = match[0], int(match[1])

    def kill(self) -> None:
        """End the process at once, as a crash would."""
        self._process.send_signal(signal.SIGKILL)
        self._process.wait(timeout=60)
        self._process.stdout.close()
        self._process.stderr.close()

    def interrupt(self) -> int:
        """Press Ctrl-C; return the exit code."""
        self._process.send_signal(signal.SIGINT)
        code = self._process.wait(timeout=60)
        self._process.stdout.close()
        self._process.stderr.close()
        return code


def open_page(browser, address: str, width: int = 1280, scheme: str = "light"):
    """Open the page in a window of its own; errors of its scripts are kept in `page.faults`.

    Where the environment says `PAGE_SLOWED=4`, the page runs as on a machine four times as slow.
    """
    context = browser.new_context(viewport={"width": width, "height": 860}, color_scheme=scheme)
    page = context.new_page()
    slowed = float(os.environ.get("PAGE_SLOWED", "1"))
    if slowed > 1:
        context.new_cdp_session(page).send("Emulation.setCPUThrottlingRate", {"rate": slowed})
    page.set_default_timeout(30000)
    page.faults = []
    page.on("pageerror", lambda error: page.faults.append(str(error)))
    page.on("console", lambda message: page.faults.append(message.text) if message.type == "error" else None)
    page.goto(address)
    page.wait_for_selector("body[data-ready]", timeout=30000)
    return page


def until(condition, seconds: float = 30.0):
    """Wait until a condition gives something true; return it."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        found = condition()
        if found:
            return found
        time.sleep(0.03)
    raise AssertionError(f"it did not come to be in time; it gives {found!r}")


def becomes(read, wanted, seconds: float = 30.0) -> None:
    """Wait until what is read is what is wanted.

    A page draws, lays out and loads when the browser finds the time: what is read right after a key, a click
    or a change of width may still be what was there before.
    """
    end = time.monotonic() + seconds
    while (found := read()) != wanted and time.monotonic() < end:
        time.sleep(0.03)
    assert found == wanted


STANDING = """() => ({
    under_way: page.store.pending, revision: page.store.sheet.revision, chosen: page.chosen,
    keyboard_on: document.activeElement.outerHTML.slice(0, 80), focused: document.hasFocus(),
    said: document.getElementById("notices").innerText, visible: document.visibilityState,
})"""
"""What a page that does nothing is waiting for."""


class Held:
    """What a page asks the server for at an address is held back until it is let go, as by a slow server.

    The address is told by how it begins. The server itself holds back: a browser told to do so lets a
    request through now and then.
    """

    def __init__(self, page, address: str) -> None:
        self._page, self.address = page, address
        self._gates = Served.RUNNING[urlsplit(page.url).port].gates
        self.waiting = self.is_open = False

    def __enter__(self) -> Held:
        self._gates.append(self)
        return self

    def __exit__(self, *_) -> None:
        self.is_open = True
        self._gates.remove(self)

    def wait(self) -> None:
        """Wait until a request is held back."""
        end = time.monotonic() + 30.0
        while not self.waiting:
            assert time.monotonic() < end, f"nothing was asked for in time: {self._page.evaluate(STANDING)}"
            time.sleep(0.02)

    def let_go(self) -> None:
        """Send on what was held back, and hold back no more."""
        self.wait()
        self.is_open = True


def settled(page, path: Path, revision: int | None = None) -> None:
    """Wait until the page shows what is on the disk (of a revision at least), and is done with it."""
    from transcriber.draft import read_journal
    from transcriber.draft.journal import journal_path

    def shown() -> bool:
        kept = read_journal(journal_path(path)).revision
        seen, busy = page.evaluate(
            "[page.store.sheet.revision, Number(document.body.dataset.busy || 0) > 0 || !!page.look.taking]"
        )
        return seen == kept and not busy and (revision is None or kept >= revision)

    until(shown)


def notes_shown(page) -> list[str]:
    """Ids of the notes that the sheet shows."""
    spots = "[...document.querySelectorAll('#sheet .spot')].map(spot => spot.dataset.note)"
    return sorted(set(page.evaluate(spots)))
