"""Routes of the page: files of the page itself, the draft, its sounds, and what is changed."""

from __future__ import annotations

import asyncio
import json
import re
from collections.abc import Awaitable, Callable, Hashable, Mapping
from functools import cache
from importlib import resources
from typing import Any

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, Response
from starlette.routing import Route

from transcriber.errors import AudioError, TranscriberError, UsageError
from transcriber.review.desk import Desk, StaleError
from transcriber.review.renderings import Check, Renderings, StoppedError
from transcriber.review.security import Application, Guard

_TYPES = {
    ".html": "text/html; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".woff2": "font/woff2",
    ".svg": "image/svg+xml",
}
_RANGE = re.compile(r"bytes=(\d*)-(\d*)")

# How often it is looked whether a sound that is being made is still waited for.
_LOOK_UP_S = 0.1

Work = Callable[[Mapping[str, Any]], dict[str, Any]]
Sound = Callable[[Mapping[str, str], Check], bytes]


def make_application(desk: Desk, port: int, token: str, renderings: Renderings | None = None) -> Application:
    """Put the page together for one draft.

    Parameters
    ----------
    desk : Desk
    port : int
        That the server listens on.
    token : str
        That requests which write must carry.
    renderings : Renderings, optional
        Where sounds are made, for whoever wants to end them.
    """
    renderings = renderings or Renderings()
    routes = [
        Route("/", _file("index.html")),
        *(Route(f"/{name}", _file(name)) for name in page_files() if name != "index.html"),
        Route("/api/revision", _told(lambda _query: desk.revision())),
        Route("/api/sheet", _told(lambda _query: desk.sheet())),
        Route(
            "/api/question", _told(lambda query: desk.question(query.get("about", ""), query.get("aspect")))
        ),
        *(
            Route(f"/api/{name}", _changed(work, desk), methods=["POST"])
            for name, work in _works(desk).items()
        ),
        *(Route(f"/sound/{name}", _made(make, renderings)) for name, make in _sounds(desk).items()),
        Route(
            "/api/laid_over",
            _made(lambda _query, _check: desk.laid_over(), renderings, "application/json"),
        ),
    ]
    return Guard(Starlette(routes=routes), port, token)


@cache
def page_files() -> Mapping[str, bytes]:
    """All files of the page by their path below it; nothing else is ever served as a file."""
    found: dict[str, bytes] = {}
    folder = resources.files("transcriber.review").joinpath("page")
    for entry in folder.iterdir():
        if entry.is_dir():
            for inner in entry.iterdir():
                if inner.name.endswith(tuple(_TYPES)):
                    found[f"{entry.name}/{inner.name}"] = inner.read_bytes()
        elif entry.name.endswith(tuple(_TYPES)):
            found[entry.name] = entry.read_bytes()
    return found


def _works(desk: Desk) -> dict[str, Work]:
    return {
        "keep": desk.keep,
        "answer": desk.answer,
        "change": desk.change,
        "undo": desk.undo,
        "redo": desk.redo,
    }


def _sounds(desk: Desk) -> dict[str, Sound]:
    """What can be heard, by its address; made while `check` lets it."""
    return {
        "whole": lambda query, check: _whole(desk, query.get("kind", ""), check),
        "attempt": lambda _query, _check: desk.attempt_sound(),
        "moment": lambda query, _check: desk.moment(query.get("about", "")),
        "reading": lambda query, _check: desk.reading(
            query.get("about", ""), query.get("aspect"), query.get("reading", "")
        ),
    }


def _file(name: str) -> Callable[[Request], Awaitable[Response]]:
    async def answer(_request: Request) -> Response:
        media_type = _TYPES[name[name.rindex(".") :]]
        return Response(page_files()[name], media_type=media_type)

    return answer


def _told(give: Callable[[Mapping[str, str]], dict[str, Any]]) -> Callable[[Request], Awaitable[Response]]:
    async def answer(request: Request) -> Response:
        try:
            return _json(await run_in_threadpool(give, request.query_params))
        except TranscriberError as error:
            return PlainTextResponse(str(error), _status(error))

    return answer


def _changed(work: Work, desk: Desk) -> Callable[[Request], Awaitable[Response]]:
    async def answer(request: Request) -> Response:
        try:
            body = json.loads(await request.body())
            if not isinstance(body, dict):
                raise UsageError("a request is an object")
            return _json(await run_in_threadpool(work, body))
        except (ValueError, RecursionError):
            return PlainTextResponse("the request is not JSON", 400)
        except StaleError as error:
            newest = await run_in_threadpool(desk.sheet)
            return _json({"error": str(error), "sheet": newest}, 409)
        except TranscriberError as error:
            return _json({"error": str(error)}, _status(error))

    return answer


def _made(
    make: Sound, renderings: Renderings, media_type: str = "audio/wav"
) -> Callable[[Request], Awaitable[Response]]:
    """Answer with what takes long to make."""

    async def answer(request: Request) -> Response:
        key = (request.url.path, request.url.query)
        try:
            sound = await _rendered(request, key, renderings, lambda check: make(request.query_params, check))
        except StoppedError as error:
            return PlainTextResponse(str(error), 503)
        except TranscriberError as error:
            return PlainTextResponse(str(error), _status(error))
        return _ranged(sound, request.headers.get("range"), media_type)

    return answer


async def _rendered(
    request: Request, key: Hashable, renderings: Renderings, make: Callable[[Check], bytes]
) -> bytes:
    """Wait for a sound as long as the browser does and the server goes on."""
    rendering = renderings.join(key, make)
    try:
        result = asyncio.wrap_future(rendering.result)
        # Whoever waits no longer does not want to hear how it ended.
        result.add_done_callback(lambda future: future.cancelled() or future.exception())
        while not result.done():
            await asyncio.wait({result}, timeout=_LOOK_UP_S)
            if not result.done() and (rendering.stopped or await request.is_disconnected()):
                raise StoppedError("the sound is no longer wanted")
        return result.result()
    finally:
        renderings.leave(key, rendering)


def _whole(desk: Desk, kind: str, check: Check) -> bytes:
    draft, revision = desk.draft()
    return desk.sounds.whole(kind, draft, revision, check)


def _ranged(data: bytes, wanted: str | None, media_type: str) -> Response:
    """Answer with all bytes, or with the range asked for: browsers seek in sound so."""
    headers = {"accept-ranges": "bytes"}
    match = _RANGE.fullmatch(wanted or "")
    if match is None or match[1] == match[2] == "":
        return Response(data, media_type=media_type, headers=headers)
    if match[1]:
        first, last = int(match[1]), int(match[2]) if match[2] else len(data) - 1
    else:
        first, last = max(0, len(data) - int(match[2])), len(data) - 1
    last = min(last, len(data) - 1)
    if first > last:
        return Response(status_code=416, headers={**headers, "content-range": f"bytes */{len(data)}"})
    headers["content-range"] = f"bytes {first}-{last}/{len(data)}"
    return Response(data[first : last + 1], 206, headers, media_type)


def _json(content: Any, status: int = 200) -> Response:
    return JSONResponse(content, status)


def _status(error: TranscriberError) -> int:
    return 422 if isinstance(error, UsageError | AudioError) or type(error).__name__ == "DraftError" else 500
