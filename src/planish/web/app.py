"""The server: routes, pages and what they share, put together. Loopback and one person unless told otherwise."""

from __future__ import annotations

import asyncio
import logging
from collections.abc import AsyncIterator, Sequence
from contextlib import asynccontextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from planish.engine.private import user_folder
from planish.errors import PlanishError
from planish.web.services import Services
from planish.web.workers import Workers

if TYPE_CHECKING:
    from fastapi import FastAPI

TITLE = "planish bench"


def data_folder() -> Path:
    """Return where jobs, files and accounts are kept: $PLANISH_BENCH, or planish/bench in the user's data folder."""
    return user_folder("bench", "PLANISH_BENCH")


def build(
    workers: Workers,
    folder: Path,
    *,
    team: bool = False,
    hosts: Sequence[str] = (),
    https: bool = False,
    proxies: Sequence[str] = (),
) -> FastAPI:
    """Return the application.

    Parameters
    ----------
    workers
        Started already, so that they load while this does.
    folder
        Where jobs, files, accounts and approvals are kept.
    team
        Ask people to sign in.
    hosts
        Further names that the server goes by, beside those of the loopback.
    https
        Send the session cookie over HTTPS only (behind a proxy that does TLS).
    proxies
        Addresses of proxies whose X-Forwarded-For the server around this believes.
    """
    from fastapi import FastAPI
    from starlette.staticfiles import StaticFiles

    from planish import __version__
    from planish.web import pages
    from planish.web.api import router
    from planish.web.choosing import router as choosing_router
    from planish.web.data_api import router as data_router
    from planish.web.hold_api import router as hold_router
    from planish.web.people import router as people_router
    from planish.web.refusals import add_refusals
    from planish.web.security import LOOPBACK, Guard
    from planish.web.uploads import LARGEST

    held = _services(workers, folder, team)
    held.https, held.proxies = https, tuple(proxies)

    @asynccontextmanager
    async def living(app: FastAPI) -> AsyncIterator[None]:
        watching = asyncio.create_task(_watch(held)) if held.accounts is not None else None
        yield
        if watching is not None:
            watching.cancel()
        held.jobs.close()
        held.workers.stop()
        for line in (held.line, held.known_line):
            line.stop()
        if held.sessions is not None:
            held.sessions.close()

    app = FastAPI(
        title=TITLE,
        version=__version__,
        openapi_url="/api/openapi.json",
        docs_url=None,
        redoc_url=None,
        redirect_slashes=False,
        lifespan=living,
    )
    app.state.services = held
    app.include_router(people_router)
    app.include_router(router)
    app.include_router(choosing_router)
    app.include_router(data_router)
    app.include_router(hold_router)
    app.include_router(pages.router)
    app.mount("/static", StaticFiles(directory=pages.STATIC), name="static")
    add_refusals(app)
    if held.accounts is not None and held.sessions is not None:
        from planish.web.door import Door

        app.add_middleware(
            Door, accounts=held.accounts, sessions=held.sessions, tries=held.tries, https=https
        )
    app.add_middleware(Guard, hosts=(*LOOPBACK, *hosts), largest_upload=LARGEST)
    return app


def _services(workers: Workers, folder: Path, team: bool) -> Services:
    """Put the data folder in order, then open what lies in it."""
    from planish.web.accounts import Accounts
    from planish.web.column_maps import ColumnMaps
    from planish.web.jobs import Jobs
    from planish.web.leaving import MAPS, settle
    from planish.web.log import Approvals, Log
    from planish.web.private import repair
    from planish.web.sessions import Sessions
    from planish.web.tries import Line, Tries
    from planish.web.uploads import Uploads

    notes = repair(folder)
    log = Log(folder)
    approvals = Approvals(folder / "approvals.jsonl")
    if not log.book.path.exists() and approvals.adopt():
        notes.append("approvals.jsonl: was begun before its entries were counted; counted from now on")
    accounts, sessions = None, None
    if team:
        accounts = Accounts(folder / "people.json")
        notes += settle(folder, accounts)
        sessions = Sessions(folder / "sessions.sqlite")
        notes += [sessions.note] if sessions.note else []
        (folder / "session.key").unlink(missing_ok=True)  # it signed the cookies of earlier versions
    for words in notes:
        logging.getLogger(__name__).warning("%s", words)
        log.note("note", text=words)
    return Services(
        workers,
        Jobs(folder / "jobs", team=team),
        Uploads(folder / "files"),
        ColumnMaps(folder / MAPS),
        approvals,
        log,
        Tries(),
        Line("unknown"),
        Line("known"),
        accounts,
        sessions,
        notes=notes,
    )


async def _watch(held: Services) -> None:
    """Notice every second who was taken out by the command."""
    from planish.web.leaving import Watch

    assert held.accounts is not None
    watch = Watch(held.accounts, held.jobs, held.uploads)
    while True:
        await asyncio.sleep(1)
        try:
            await asyncio.to_thread(watch.look)
        except (OSError, PlanishError):
            logging.getLogger(__name__).exception("looking for people who have left")
