"""The two pages: the bench, and where a team signs in."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path

from fastapi import APIRouter, Request, Response
from fastapi.responses import FileResponse, RedirectResponse

from planish.web.door import WHO

STATIC = Path(str(files("planish.web") / "static"))
FRESH = {"Cache-Control": "no-cache"}
router = APIRouter(include_in_schema=False)


@router.get("/")
async def bench(request: Request) -> Response:
    """The bench; a team's server sends those it does not know to sign in."""
    if request.app.state.services.accounts is not None and request.scope.get(WHO) is None:
        return RedirectResponse("/sign-in", status_code=303)
    return FileResponse(STATIC / "bench.html", headers=FRESH)


@router.get("/sign-in")
async def sign_in() -> Response:
    """Where a team signs in."""
    return FileResponse(STATIC / "sign-in.html", headers=FRESH)
