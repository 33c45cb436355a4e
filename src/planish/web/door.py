"""The door of a team's server: who asks is found out once, before any of the request's body is read."""

from __future__ import annotations

import logging
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from planish.errors import DataError
from planish.web.tries import grouped

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Receive, Scope, Send

    from planish.web.accounts import Account, Accounts
    from planish.web.sessions import Session, Sessions
    from planish.web.tries import Tries

OPEN = ("/api/sign-in", "/api/sign-out", "/api/openapi.json")
WHO = "planish.who"  # the key in the scope


@dataclass(frozen=True, slots=True)
class Entered:
    """Somebody who is signed in, and the session."""

    account: Account
    session: Session


class Door:
    """Find out who asks; the API is shut to those who are not signed in, and a crowd at the door is not heard."""

    def __init__(
        self, app: ASGIApp, accounts: Accounts, sessions: Sessions, tries: Tries, https: bool
    ) -> None:
        self.app = app
        self.accounts, self.sessions, self.tries = accounts, sessions, tries
        self.names = cookie_names(https)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on with who it is from, or answer that they should sign in."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        path = scope["path"]
        if path == "/api/sign-in" and (wait := self._crowd(scope)):
            from planish.web.security import refuse

            after = (b"retry-after", str(round(wait)).encode())
            await refuse(
                send, scope, 429, f"sign in: too many at once: wait {wait:.0f} s, then try again", after
            )
            return
        entered = self._entered(scope)
        scope[WHO] = entered
        if entered is None and path.startswith("/api/") and path not in OPEN:
            from starlette.responses import JSONResponse

            await JSONResponse({"refused": "sign in first"}, status_code=401)(scope, receive, send)
            return
        if entered is not None and entered.session.stale:
            from starlette.concurrency import run_in_threadpool

            await run_in_threadpool(self.sessions.touch, entered.session)
        await self.app(scope, receive, send)

    def _crowd(self, scope: Scope) -> float:
        """Return how long [s] this address has to wait; browsers that are known do not."""
        client = scope.get("client")
        wait = self.tries.knock(grouped(str(client[0])) if client else "unknown")
        if wait and self.sessions.known(cookies(scope).get(self.names[1], "")):
            return 0.0
        return wait

    def _entered(self, scope: Scope) -> Entered | None:
        token = cookies(scope).get(self.names[0], "")
        session = self.sessions.find(token) if token else None
        account = self.accounts.by_id(session.person) if session is not None else None
        if session is None or account is None or account.stamp != session.stamp:
            return None
        return Entered(account, session)


def cookie_names(https: bool) -> tuple[str, str]:
    """Return what the cookies of session and device are called.

    Over TLS a browser takes ``__Host-`` cookies from this very host only (RFC 6265bis, from memory).
    """
    prefix = "__Host-" if https else ""
    return f"{prefix}planish", f"{prefix}planish-device"


def cookies(scope: Any) -> dict[str, str]:
    """Return the cookies of a request, whatever they are."""
    from starlette.requests import cookie_parser

    found: dict[str, str] = {}
    for key, value in scope["headers"]:
        if key == b"cookie":
            found |= cookie_parser(value.decode("latin-1"))
    return found


def address_of(scope: Any, proxies: tuple[str, ...]) -> str:
    """Return the address that tries are counted under.

    uvicorn has put the client's own address in where a proxy of ``proxies`` passed it on. Where it has not,
    everybody behind a proxy would share one address, and one of them could keep all others from signing in.

    Raises
    ------
    DataError
        For a request through a proxy that was not named, or that does not pass the address on.
    """
    client = scope.get("client")
    host = str(client[0]) if client else "unknown"
    passed = b",".join(value for key, value in scope["headers"] if key == b"x-forwarded-for").decode(
        "latin-1"
    )
    if passed and host not in passed:
        logging.getLogger(__name__).warning("a proxy at %s is not named with --proxy", host)
        raise DataError(
            f"sign in: this came through a proxy at {host} that the server was not told of, so it cannot tell "
            f"one person's tries from another's: start it with --proxy {host}"
        )
    if not passed and host in proxies:
        raise DataError(
            f"sign in: the proxy at {host} does not say whom it speaks for: make it pass X-Forwarded-For on"
        )
    return grouped(host)
