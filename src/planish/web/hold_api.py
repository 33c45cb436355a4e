"""The routes of the hold view: what a table offers, its chart, a trace replayed."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter
from fastapi.responses import JSONResponse
from starlette.concurrency import run_in_threadpool

from planish.web import schemas as s
from planish.web.ask import Ask
from planish.web.asking import REFUSALS, Held, Viewer
from planish.web.data_api import own_table

router = APIRouter(prefix="/api/hold", responses=REFUSALS)
_HOLDING = "planish.web.holding"


@router.post("/columns", tags=["hold"])
async def columns(asked: s.TableAsked, ask: Ask, held: Held, person: Viewer) -> JSONResponse:
    """Return the columns of one of your tables, and what each can be used for."""
    path, name = await run_in_threadpool(own_table, held, person, asked.file)
    return JSONResponse(await ask("files", "columns", path, name, module=_HOLDING))


@router.post("/chart", tags=["hold"])
async def chart(asked: s.ChartAsked, ask: Ask, held: Held, person: Viewer) -> JSONResponse:
    """Return a control chart of one of your tables: limits, points, and alarms with what changed."""
    path, name = await run_in_threadpool(own_table, held, person, asked.file)
    given = asked.model_dump(exclude={"file"})
    return JSONResponse(await ask("files", "chart", path, name, given, module=_HOLDING))


@router.post("/trace", tags=["hold"])
async def trace(asked: s.TraceAsked, ask: Ask, held: Held, person: Viewer) -> JSONResponse:
    """Replay one of your traces, or one that is invented from the setup, as a machine would have seen it."""
    given: dict[str, Any] = asked.model_dump(exclude={"file", "document"})
    file = None
    if asked.file is not None:
        file = await run_in_threadpool(own_table, held, person, asked.file)
    return JSONResponse(await ask("files", "trace", asked.document, file, given, module=_HOLDING))
