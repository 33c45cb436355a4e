"""Answers to what cannot be done: one line that says why."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from planish.web.book import NotWritten, plain
from planish.web.tries import TooMany

if TYPE_CHECKING:
    from fastapi import FastAPI

LONGEST = 2000


def told(words: str) -> dict[str, Any]:
    """Return a refusal that can be sent whatever was in the request that it repeats."""
    return {"refused": plain(words)[:LONGEST]}


def add_refusals(app: FastAPI) -> None:
    """Answer what cannot be used with one line that says why."""
    from fastapi.exceptions import RequestValidationError
    from starlette.exceptions import HTTPException
    from starlette.requests import Request
    from starlette.responses import JSONResponse

    from planish.errors import PlanishError

    async def refused(request: Request, error: Exception) -> JSONResponse:
        if isinstance(error, TooMany):
            return JSONResponse(told(str(error)), status_code=429, headers={"Retry-After": str(error.wait)})
        return JSONResponse(told(str(error)), status_code=503 if isinstance(error, NotWritten) else 400)

    async def stopped(request: Request, error: Exception) -> JSONResponse:
        assert isinstance(error, HTTPException)
        return JSONResponse(told(str(error.detail)), status_code=error.status_code, headers=error.headers)

    async def malformed(request: Request, error: Exception) -> JSONResponse:
        assert isinstance(error, RequestValidationError)
        first = error.errors()[0]
        where = ".".join(str(step) for step in first.get("loc", ()))
        return JSONResponse(told(f"{where}: {first.get('msg', 'cannot be read')}"), status_code=422)

    app.add_exception_handler(PlanishError, refused)
    app.add_exception_handler(HTTPException, stopped)
    app.add_exception_handler(RequestValidationError, malformed)
