"""What the routes share: who asks, what they may do, and the log.

What is asked for every request is `async` though it waits for nothing: plain functions would each take a turn in
the thread pool, and wait there behind whoever is in it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

from fastapi import Depends, HTTPException, Request
from starlette.concurrency import run_in_threadpool

from planish.web import schemas as s
from planish.web.accounts import ROLES
from planish.web.door import WHO

if TYPE_CHECKING:
    from planish.web.services import Services

REFUSALS: dict[int | str, dict[str, Any]] = {
    400: {"model": s.Refusal, "description": "cannot be used as given; says why"},
    401: {"model": s.Refusal, "description": "not signed in"},
    403: {"model": s.Refusal, "description": "not allowed"},
    413: {"model": s.Refusal, "description": "too large"},
    421: {"model": s.Refusal, "description": "wrong host name"},
    429: {"model": s.Refusal, "description": "too often; Retry-After says how long to wait"},
}


async def services(request: Request) -> Services:
    """Return what the server holds."""
    found: Services = request.app.state.services
    return found


Held = Annotated[Any, Depends(services)]


def person_of(account: Any, request: Request) -> s.Person:
    """Return an account as the page sees it."""
    found = s.Person(id=account.id, name=account.name, role=account.role, team=True)
    return from_where(found, request)


def from_where(person: s.Person, request: Request) -> s.Person:
    """Keep with a person where this request comes from, for the log."""
    person._address = request.client.host if request.client else ""
    return person


async def who(request: Request, held: Held) -> s.Person:
    """Return who asks.

    Raises
    ------
    HTTPException
        401 where a team's server does not know them.
    """
    if held.accounts is None:
        return from_where(s.Person(id="you", name="you", role="approve", team=False), request)
    entered = request.scope.get(WHO)
    if entered is None:
        raise HTTPException(401, "sign in first")
    return person_of(entered.account, request)


Viewer = Annotated[s.Person, Depends(who)]


async def worker(person: Viewer) -> s.Person:
    """Return who asks, if they may bring data and run jobs."""
    return _at_least(person, "work")


async def approver(person: Viewer) -> s.Person:
    """Return who asks, if they may approve."""
    return _at_least(person, "approve")


def _at_least(person: s.Person, role: str) -> s.Person:
    if ROLES.index(person.role) < ROLES.index(role):  # type: ignore[arg-type]
        raise HTTPException(403, f"this needs the role {role}; yours is {person.role}")
    return person


Worker = Annotated[s.Person, Depends(worker)]
Approver = Annotated[s.Person, Depends(approver)]


async def noted(held: Any, person: s.Person, what: str, **more: Any) -> None:
    """Write down in the log what a person did."""
    await run_in_threadpool(held.log.note, what, person.name, person.id, person._address, **more)
