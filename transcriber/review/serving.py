"""Starting the page: the take that belongs to a draft, a free port on loopback, and the server."""

from __future__ import annotations

import socket
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from types import FrameType

from transcriber.errors import TranscriberError

DEFAULT_PORT = 8417


@dataclass(frozen=True)
class ReviewSettings:
    """How to open the page.

    Attributes
    ----------
    draft : Path
    take : Path or None
        The recording; None to look beside the draft.
    port : int or None
        None for the usual one, or any free one if that is taken.
    attempt : Path or None
        ``ATTEMPT.check.json``, to show a student's attempt over the line.
    """

    draft: Path
    take: Path | None = None
    port: int | None = None
    attempt: Path | None = None


def serve_review(settings: ReviewSettings, tell: Callable[[str, bool], None]) -> None:
    """Serve the page until it is interrupted.

    Parameters
    ----------
    settings : ReviewSettings
    tell : callable
        Called with the page's address and whether there is a recording to hear, once it can be opened.

    Raises
    ------
    DraftError
        If the draft or its journal cannot be read.
    AudioError
        If the recording cannot be read or is another one.
    TranscriberError
        If the port is taken.
    """
    import uvicorn

    from transcriber.review.app import make_application
    from transcriber.review.desk import Desk
    from transcriber.review.renderings import Renderings
    from transcriber.review.security import HOST, new_token

    desk = Desk(settings.draft, find_take(settings), settings.attempt)
    desk.sheet()
    listener = _listener(HOST, settings.port)
    port = listener.getsockname()[1]
    token = new_token()
    renderings = Renderings()
    application = make_application(desk, port, token, renderings)
    config = uvicorn.Config(
        application,
        log_level="error",
        access_log=False,
        server_header=False,
        date_header=False,
        timeout_graceful_shutdown=1,
        lifespan="off",
    )
    # The token stands behind the '#', where browsers keep it: it is in no request and no referrer.
    tell(f"http://{HOST}:{port}/#{token}", desk.sounds.has_take)

    class Server(uvicorn.Server):
        def handle_exit(self, sig: int, frame: FrameType | None) -> None:
            renderings.close()
            super().handle_exit(sig, frame)

    Server(config).run(sockets=[listener])


def find_take(settings: ReviewSettings) -> Path | None:
    """Find the recording of a draft: the one named, or the file of its name beside it."""
    from transcriber.draft.files import source_file

    if settings.take is not None:
        return settings.take
    name = source_file(settings.draft)
    if name is None:
        return None  # reading the draft whole says what is wrong with it
    beside = settings.draft.parent / Path(name).name
    return beside if beside.is_file() else None


def _listener(host: str, port: int | None) -> socket.socket:
    wanted = [port] if port is not None else [DEFAULT_PORT, 0]
    for number in wanted:
        listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listener.bind((host, number))
            listener.listen(64)
            return listener
        except OSError:
            listener.close()
    raise TranscriberError(f"port {port} is taken; name another with --port, or leave it out")
