"""The server: routes, pages and what they share, put together. Loopback and one person unless told otherwise."""

from __future__ import annotations

import contextlib
import os
import secrets
from collections.abc import AsyncIterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from planish.web.workers import Workers

if TYPE_CHECKING:
    from fastapi import FastAPI

    from planish.web.accounts import Accounts, Approvals
    from planish.web.jobs import Jobs
    from planish.web.uploads import Uploads

TITLE = "planish bench"
SESSION = 8 * 3600  # [s]


@dataclass
class Services:
    """What the routes use. ``accounts`` is None on a server for one person."""

    workers: Workers
    jobs: Jobs
    uploads: Uploads
    approvals: Approvals
    accounts: Accounts | None


def data_folder() -> Path:
    """Return where jobs, files and accounts are kept: $PLANISH_BENCH, or planish/bench in the user's data folder."""
    chosen = os.environ.get("PLANISH_BENCH")
    if chosen:
        return Path(chosen)
    general = os.environ.get("XDG_DATA_HOME")
    return (Path(general) if general else Path.home() / ".local" / "share") / "planish" / "bench"


def build(
    workers: Workers, folder: Path, *, team: bool = False, hosts: Sequence[str] = (), https: bool = False
) -> FastAPI:
    """Return the application.

    Parameters
    ----------
    workers:
        Started already, so that they load while this does.
    folder:
        Where jobs, files, accounts and approvals are kept.
    team:
        Ask people to sign in.
    hosts:
        Further names that the server goes by, beside those of the loopback.
    https:
        Send the session cookie over HTTPS only (behind a proxy that does TLS).
    """
    from fastapi import FastAPI
    from starlette.staticfiles import StaticFiles

    from planish import __version__
    from planish.web import pages
    from planish.web.accounts import Accounts, Approvals
    from planish.web.api import router
    from planish.web.jobs import Jobs
    from planish.web.security import LOOPBACK, Guard
    from planish.web.uploads import LARGEST, Uploads

    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    held = Services(
        workers,
        Jobs(folder / "jobs", team=team),
        Uploads(folder / "files"),
        Approvals(folder / "approvals.jsonl"),
        Accounts(folder / "people.json") if team else None,
    )

    @contextlib.asynccontextmanager
    async def living(app: FastAPI) -> AsyncIterator[None]:
        yield
        held.jobs.close()
        held.workers.stop()

    app = FastAPI(
        title=TITLE,
        version=__version__,
        openapi_url="/api/openapi.json",
        docs_url=None,
        redoc_url=None,
        lifespan=living,
    )
    app.state.services = held
    app.include_router(router)
    app.include_router(pages.router)
    app.mount("/static", StaticFiles(directory=pages.STATIC), name="static")
    _add_refusals(app)

    if team:
        from starlette.middleware.sessions import SessionMiddleware

        app.add_middleware(
            SessionMiddleware,
            secret_key=_secret(folder),
            session_cookie="planish",
            max_age=SESSION,
            same_site="strict",
            https_only=https,
        )
    app.add_middleware(Guard, hosts=(*LOOPBACK, *hosts), largest_upload=LARGEST)
    return app


def _add_refusals(app: FastAPI) -> None:
    """Answer what cannot be used with one line that says why."""
    from fastapi.exceptions import RequestValidationError
    from starlette.exceptions import HTTPException
    from starlette.requests import Request
    from starlette.responses import JSONResponse

    from planish.errors import PlanishError

    async def refused(request: Request, error: Exception) -> JSONResponse:
        return JSONResponse({"refused": str(error)}, status_code=400)

    async def stopped(request: Request, error: Exception) -> JSONResponse:
        assert isinstance(error, HTTPException)
        words = {"refused": str(error.detail)}
        return JSONResponse(words, status_code=error.status_code, headers=error.headers)

    async def malformed(request: Request, error: Exception) -> JSONResponse:
        assert isinstance(error, RequestValidationError)
        first = error.errors()[0]
        where = ".".join(str(step) for step in first.get("loc", ()))
        return JSONResponse({"refused": f"{where}: {first.get('msg', 'cannot be read')}"}, status_code=422)

    app.add_exception_handler(PlanishError, refused)
    app.add_exception_handler(HTTPException, stopped)
    app.add_exception_handler(RequestValidationError, malformed)


def _secret(folder: Path) -> str:
    """Return the key that signs sessions, made once and kept beside the accounts."""
    path = folder / "session.key"
    try:
        return path.read_text()
    except FileNotFoundError:
        from planish.engine.files import write_whole

        with contextlib.suppress(FileExistsError):  # another server beside this one was quicker
            write_whole(path, secrets.token_hex(32), mode=0o600, new=True)
        return path.read_text()
