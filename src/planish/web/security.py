"""What every request passes: the host and origin it may come from, how large it may be, and the headers it gets back."""

from __future__ import annotations

import logging
import re
from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

LARGEST_QUESTION = 1024 * 1024
SMALL = {"/api/sign-in": 16384, "/api/sign-out": 1024, "/api/password": 16384}  # asked by anybody, or often
LONGEST_PATH = 2048
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
_HOST = re.compile(r"(\[[0-9A-Fa-f:.]+\]|[A-Za-z0-9._-]+)(?::[0-9]{1,5})?")
LOOPBACK = ("localhost", "127.0.0.1", "::1")


class Guard:
    """Refuse what a stranger's page or program could misuse, and set the security headers on every answer.

    Refused are other hosts (so that no foreign name can be pointed at a loopback server), other origins on
    requests that change something, and bodies that are too large. What fails inside without an answer of
    its own is answered here, in one line, and logged.

    ``hosts`` are the names that the server goes by; empty for any.
    """

    def __init__(self, app: ASGIApp, hosts: Iterable[str] = LOOPBACK, largest_upload: int = 2**26) -> None:
        self.app = app
        self.hosts = frozenset(name.strip("[]").lower() for name in hosts)
        self.largest_upload = largest_upload

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, or answer it with a refusal."""
        if scope["type"] not in ("http", "websocket"):
            await self.app(scope, receive, send)
            return
        refusal = self._refusal(scope)
        if refusal is not None:
            await refuse(send, scope, *refusal)
            return
        passage = Passage(scope, receive, send, self._most(scope["path"]))
        try:
            await self.app(scope, passage.receive, passage.send)
        except Exception:
            if passage.too_large:
                await passage.say_too_large()
                return
            logging.getLogger(__name__).exception("%s %s", scope.get("method"), ascii(scope["path"])[:200])
            if not passage.began:
                await refuse(send, scope, 500, "this failed on the server; its log says why")

    def _most(self, path: str) -> int:
        return self.largest_upload if path == "/api/uploads" else SMALL.get(path, LARGEST_QUESTION)

    def _refusal(self, scope: Scope) -> tuple[int, str] | None:
        headers = {key: value.decode("latin-1") for key, value in scope["headers"]}
        host = headers.get(b"host", "")
        if sum(key == b"host" for key, _ in scope["headers"]) > 1:
            return 400, "host: must be given once"
        if len(scope["path"]) > LONGEST_PATH:
            return 414, f"path: must be at most {LONGEST_PATH} characters"
        if not scope.get("query_string", b"").isascii():
            return 400, "query: must be percent-encoded"
        named = _HOST.fullmatch(host)
        if self.hosts and (named is None or named[1].strip("[]").lower() not in self.hosts):
            return 421, "this server does not go by that name"
        changes = scope["type"] == "websocket" or scope["method"] not in SAFE
        origin = headers.get(b"origin")
        if changes and origin is not None and origin.partition("://")[2] != host:
            return 403, "requests from other pages are refused"
        if changes and headers.get(b"sec-fetch-site", "same-origin") not in ("same-origin", "none"):
            return 403, "requests from other pages are refused"
        length, most = headers.get(b"content-length", "0"), self._most(scope["path"])
        if not (length.isascii() and length.isdigit()):
            return 400, "content-length: must be a whole number"
        if len(length) > 15 or int(length) > most:
            return 413, _too_large(most)
        return None


def _too_large(most: int) -> str:
    return f"the request is too large: at most {most / 2**20:.3g} MiB"


class Passage:
    """One request on its way in and its answer on its way out."""

    def __init__(self, scope: Scope, receive: Receive, send: Send, most: int) -> None:
        self._scope, self._receive, self._send, self._most = scope, receive, send, most
        self._seen = 0
        self.began = False
        self.too_large = False

    async def receive(self) -> Message:
        """Count the body as it comes in, for requests that do not say their length."""
        message = await self._receive()
        if message["type"] == "http.request":
            self._seen += len(message.get("body", b""))
            if self._seen > self._most:
                self.too_large = True
                return {"type": "http.disconnect"}
        return message

    async def send(self, message: Message) -> None:
        """Put the security headers on; whatever is said of a body that was too large, is said as that."""
        if self.too_large:
            await self.say_too_large()
            return
        if message["type"] == "http.response.start":
            self.began = True
            own: list[Any] = list(message.get("headers", []))
            known = {key.lower() for key, _ in own}
            message = {**message, "headers": own + [pair for pair in HEADERS if pair[0] not in known]}
        await self._send(message)

    async def say_too_large(self) -> None:
        """Answer that the body is too large, once."""
        if not self.began:
            self.began = True
            await refuse(self._send, self._scope, 413, _too_large(self._most))


async def refuse(send: Send, scope: Scope, status: int, words: str, *more: tuple[bytes, bytes]) -> None:
    """Answer with a refusal, at the least cost there is."""
    import json

    if scope["type"] == "websocket":
        await send({"type": "websocket.close", "code": 4403})
        return
    body = json.dumps({"refused": words}).encode()
    headers = [
        (b"content-type", b"application/json"),
        (b"content-length", str(len(body)).encode()),
        *more,
        *HEADERS,
    ]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": b"" if scope["method"] == "HEAD" else body})
