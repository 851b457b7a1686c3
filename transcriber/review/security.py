"""What keeps the page between a person and their own machine.

The server listens on loopback only. A request must name that address as its host (so that a foreign name
made to point at this machine gets nothing), must not come from another site, and one that writes must carry
the token that is only in the address printed at the start. The page may load nothing but what lies beside it.
"""

from __future__ import annotations

import secrets
from collections.abc import Awaitable, Callable, Mapping, MutableMapping
from typing import Any

HOST = "127.0.0.1"
TOKEN_HEADER = "x-transcriber-token"
MOST_BODY_BYTES = 2_000_000
POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "font-src 'self'",
        "img-src 'self'",
        "media-src 'self'",
        "connect-src 'self'",
        "base-uri 'none'",
        "form-action 'none'",
        "frame-ancestors 'none'",
    )
)
HEADERS = (
    ("content-security-policy", POLICY),
    ("x-content-type-options", "nosniff"),
    ("x-frame-options", "DENY"),
    ("referrer-policy", "no-referrer"),
    ("cross-origin-opener-policy", "same-origin"),
    ("cross-origin-resource-policy", "same-origin"),
    ("cache-control", "no-store"),
)

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
Application = Callable[[Scope, Receive, Send], Awaitable[None]]


def new_token() -> str:
    """Make a token that cannot be guessed."""
    return secrets.token_urlsafe(24)


class Guard:
    """Lets through what may pass to an application, and adds the headers that bind the browser.

    Parameters
    ----------
    application : ASGI application
    port : int
        That the server listens on: part of the host that requests must name.
    token : str
        That requests which write must carry.
    """

    def __init__(self, application: Application, port: int, token: str) -> None:
        self._application = application
        self._hosts = {f"{name}:{port}" for name in (HOST, "localhost")}
        self._origins = {f"http://{host}" for host in self._hosts}
        self._token = token

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self._application(scope, receive, send)
            return
        refusal = self._refusal(scope)
        if refusal is not None:
            await _refuse(send, *refusal)
            return

        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                message["headers"] = [*message.get("headers", []), *_encoded_headers()]
            await send(message)

        await self._application(scope, receive, with_headers)

    def _refusal(self, scope: Scope) -> tuple[int, str] | None:
        headers: dict[str, str] = {}
        for name, value in scope["headers"]:
            key = name.decode("latin-1").lower()
            if key in headers and key in ("host", "origin", TOKEN_HEADER):
                return 400, f"the header {key} was sent twice"
            headers[key] = value.decode("latin-1")
        if headers.get("host") not in self._hosts:
            return 403, "this address serves one machine only; open the address that was printed"
        if "origin" in headers and headers["origin"] not in self._origins:
            return 403, "requests from other sites are refused"
        if headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none"):
            return 403, "requests from other sites are refused"
        return None if scope["method"] in ("GET", "HEAD") else self._refusal_to_write(scope, headers)

    def _refusal_to_write(self, scope: Scope, headers: Mapping[str, str]) -> tuple[int, str] | None:
        if scope["method"] != "POST":
            return 405, f"{scope['method']} is not served here"
        given = headers.get(TOKEN_HEADER, "")
        if not secrets.compare_digest(given.encode(), self._token.encode()):
            return 403, "this page belongs to a server that has ended; open the address printed last"
        if headers.get("content-type", "").partition(";")[0].strip() != "application/json":
            return 415, "only JSON is taken"
        length = headers.get("content-length", "")
        if not length.isdigit() or int(length) > MOST_BODY_BYTES:
            return 413, f"a request may have at most {MOST_BODY_BYTES} bytes, and must tell how many"
        return None


def _encoded_headers() -> list[tuple[bytes, bytes]]:
    return [(name.encode("latin-1"), value.encode("latin-1")) for name, value in HEADERS]


async def _refuse(send: Send, status: int, reason: str) -> None:
    body = reason.encode("utf-8")
    headers = [(b"content-type", b"text/plain; charset=utf-8"), (b"content-length", str(len(body)).encode())]
    await send({"type": "http.response.start", "status": status, "headers": headers + _encoded_headers()})
    await send({"type": "http.response.body", "body": body})
