"""What every request passes: the host and origin it may come from, how large it may be, and the headers it gets back."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any
from urllib.parse import urlsplit

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

LARGEST_QUESTION = 1024 * 1024
SAFE = ("GET", "HEAD", "OPTIONS")
HEADERS: tuple[tuple[bytes, bytes], ...] = (
    (
        b"content-security-policy",
        b"default-src 'self'; img-src 'self' blob: data:; style-src 'self'; script-src 'self'; object-src 'none'; "
        b"base-uri 'none'; form-action 'self'; frame-ancestors 'none'",
    ),
    (b"x-content-type-options", b"nosniff"),
    (b"x-frame-options", b"DENY"),
    (b"referrer-policy", b"no-referrer"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"permissions-policy", b"camera=(), microphone=(), geolocation=(), usb=(), payment=()"),
)
LOOPBACK = ("localhost", "127.0.0.1", "::1")


class Guard:
    """Refuse other hosts (so that no foreign name can be pointed at a loopback server), other origins on
    requests that change something, and bodies that are too large; set the security headers on every answer.

    ``hosts`` are the names that the server goes by; empty for any.
    """

    def __init__(self, app: ASGIApp, hosts: Iterable[str] = LOOPBACK, largest_upload: int = 2**26) -> None:
        self.app = app
        self.hosts = frozenset(hosts)
        self.largest_upload = largest_upload

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, or answer it with a refusal."""
        if scope["type"] not in ("http", "websocket"):
            await self.app(scope, receive, send)
            return
        headers = {key: value.decode("latin-1") for key, value in scope["headers"]}
        refusal = self._refusal(scope, headers)
        if refusal is not None:
            await _refuse(send, scope, *refusal)
            return
        most = self.largest_upload if scope.get("path") == "/api/uploads" else LARGEST_QUESTION
        await self.app(scope, _limited(receive, most), _with_headers(send))

    def _refusal(self, scope: Scope, headers: dict[bytes, str]) -> tuple[int, str] | None:
        host = headers.get(b"host", "")
        name = urlsplit("//" + host).hostname or ""
        if self.hosts and name not in self.hosts:
            return 421, "this server does not go by that name"
        changes = scope["type"] == "websocket" or scope["method"] not in SAFE
        origin = headers.get(b"origin")
        if changes and origin is not None and urlsplit(origin).netloc != host:
            return 403, "requests from other pages are refused"
        if changes and headers.get(b"sec-fetch-site", "same-origin") not in ("same-origin", "none"):
            return 403, "requests from other pages are refused"
        most = self.largest_upload if scope.get("path") == "/api/uploads" else LARGEST_QUESTION
        length = headers.get(b"content-length", "0")
        if not length.isdigit() or int(length) > most:
            return 413, f"the request is too large: at most {most // 2**20} MiB"
        return None


def _limited(receive: Receive, most: int) -> Receive:
    """Count the body as it comes in, for requests that do not say their length."""
    seen = 0

    async def limited() -> Message:
        nonlocal seen
        message = await receive()
        if message["type"] == "http.request":
            seen += len(message.get("body", b""))
            if seen > most:
                return {"type": "http.disconnect"}
        return message

    return limited


def _with_headers(send: Send) -> Send:
    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            own: list[Any] = list(message.get("headers", []))
            known = {key.lower() for key, _ in own}
            message = {**message, "headers": own + [pair for pair in HEADERS if pair[0] not in known]}
        await send(message)

    return sending


async def _refuse(send: Send, scope: Scope, status: int, words: str) -> None:
    import json

    if scope["type"] == "websocket":
        await send({"type": "websocket.close", "code": 4403})
        return
    body = json.dumps({"refused": words}).encode()
    headers = [(b"content-type", b"application/json"), (b"content-length", str(len(body)).encode()), *HEADERS]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})
