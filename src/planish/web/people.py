"""The routes about people: signing in and out, the own password, approvals, the log."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, HTTPException, Query, Request, Response
from fastapi.responses import JSONResponse
from starlette.concurrency import run_in_threadpool

from planish.web import schemas as s
from planish.web.ask import Ask
from planish.web.asking import REFUSALS, Approver, Held, Viewer, from_where, noted, person_of
from planish.web.door import address_of, cookie_names, cookies
from planish.web.sessions import KNOWN, LONGEST
from planish.web.tries import TooMany

router = APIRouter(prefix="/api", responses=REFUSALS, tags=["people"])


@router.get("/me")
async def me(person: Viewer) -> s.Person:
    """Say who is signed in."""
    return person


@router.post("/sign-in")
async def sign_in(asked: s.SignIn, request: Request, response: Response, held: Held) -> s.Person:
    """Sign in; the session's token is in a cookie."""
    if held.accounts is None:
        return from_where(s.Person(id="you", name="you", role="approve", team=False), request)
    address = address_of(request.scope, held.proxies)
    account = held.accounts.find(asked.name)
    shown = cookies(request.scope).get(cookie_names(held.https)[1], "")
    device = held.sessions.known(shown, account.id) if account is not None and shown else ""
    line = held.known_line if device else held.line
    ticket = await _take(held, asked.name, address, device)
    try:
        account = await line.run(held.accounts.check, asked.name, asked.password)
    except TooMany:
        held.tries.give_back(ticket)
        raise
    if account is None:
        await run_in_threadpool(held.log.note, "sign-in failed", asked.name, "", address)
        raise HTTPException(401, "name or password is wrong")
    held.tries.right(ticket)
    person = person_of(account, request)
    await noted(held, person, "signed in", known_browser=bool(device))
    await run_in_threadpool(_end, held, request)
    await run_in_threadpool(_begin, held, response, account, device)
    return person


async def _take(held: Any, name: str, address: str, device: str) -> Any:
    try:
        return held.tries.take(name, address, device)
    except TooMany as refused:
        if refused.first:  # once for as long as it lasts: the log is not to be filled by who guesses
            await run_in_threadpool(held.log.note, "sign-ins refused", name, "", address, for_s=refused.wait)
        raise


def _begin(held: Any, response: Response, account: Any, device: str) -> None:
    """Begin a session, and know this browser from now on."""
    session_name, device_name = cookie_names(held.https)
    wanted: list[tuple[str, str, float]] = [
        (session_name, held.sessions.open(account.id, account.stamp), LONGEST)
    ]
    if device:
        held.sessions.seen(device)
    else:
        wanted.append((device_name, held.sessions.trust(account.id), KNOWN))
    for name, token, age in wanted:
        response.set_cookie(
            name, token, max_age=int(age), path="/", secure=held.https, httponly=True, samesite="strict"
        )


def _end(held: Any, request: Request) -> None:
    token = cookies(request.scope).get(cookie_names(held.https)[0], "")
    if token:
        held.sessions.end(token)


@router.post("/sign-out")
async def sign_out(request: Request, response: Response, held: Held) -> dict[str, bool]:
    """End the session, here and on the server."""
    if held.accounts is not None:
        from planish.web.door import WHO

        entered = request.scope.get(WHO)
        await run_in_threadpool(_end, held, request)
        if entered is not None:
            await noted(held, person_of(entered.account, request), "signed out")
        response.delete_cookie(
            cookie_names(held.https)[0], path="/", secure=held.https, httponly=True, samesite="strict"
        )
    return {"done": True}


@router.post("/password")
async def change_password(
    asked: s.PasswordChange, request: Request, response: Response, held: Held, person: Viewer
) -> dict[str, bool]:
    """Change your own password; every other session of yours ends."""
    if held.accounts is None:
        raise HTTPException(400, "password: nobody signs in on this server")
    ticket = await _take(held, person.name, "", f"own password of {person.id}")
    try:
        account = held.accounts.by_id(person.id)
        made = (
            await held.known_line.run(held.accounts.change, account, asked.old, asked.new)
            if account
            else None
        )
    except BaseException:
        held.tries.give_back(ticket)
        raise
    if made is None:
        await noted(held, person, "password change failed")
        raise HTTPException(403, "the old password is wrong")
    held.tries.right(ticket)
    await run_in_threadpool(held.sessions.end_all, person.id)
    await noted(held, person, "password changed")
    await run_in_threadpool(_begin, held, response, made, "")
    return {"done": True}


@router.get("/approvals")
async def approvals(held: Held, person: Viewer) -> JSONResponse:
    """Return the book of approvals, whether it is whole, and why not."""
    found = await run_in_threadpool(held.approvals.read)
    return JSONResponse(
        {"entries": found.entries, "whole": found.whole, "reasons": found.reasons, "notes": found.notes}
    )


@router.post("/approvals")
async def approve(asked: s.Approval, ask: Ask, held: Held, person: Approver) -> JSONResponse:
    """Approve a setup: who, when, which digest."""
    told = await ask("fast", "digest", asked.document)
    entry = await run_in_threadpool(
        held.approvals.approve, person.name, person.id, told["digest"], told["title"], asked.note
    )
    await noted(held, person, "approved", setup=told["digest"], title=told["title"])
    return JSONResponse(entry)


@router.get("/log")
async def log(
    held: Held, person: Approver, last: Annotated[int, Query(ge=1, le=1000, description="how many")] = 200
) -> JSONResponse:
    """Return the last entries of the log, whether it is whole, and why not."""
    entries, book = await run_in_threadpool(held.log.read, last)
    told = {"entries": entries, "of": len(book.entries), "whole": book.whole}
    return JSONResponse({**told, "reasons": book.reasons, "notes": book.notes})
