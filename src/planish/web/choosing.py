"""The routes of the trade-offs: what may be asked for, how long it will take, what a wafer costs."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter
from fastapi.responses import JSONResponse

from planish.errors import DataError
from planish.web import schemas as s
from planish.web.ask import Ask
from planish.web.asking import REFUSALS, Held, Viewer
from planish.web.costs import most_tries

router = APIRouter(prefix="/api", responses=REFUSALS)
_TRADE_OFFS = "planish.web.tradeoffs"


@router.post("/trade-offs", tags=["trade-offs"])
async def offered(asked: s.Asked, ask: Ask, person: Viewer) -> JSONResponse:
    """Return aims, knobs with ranges and parts that a choice on a setup can be asked for."""
    return JSONResponse(await ask("fast", "offered", asked.document, module=_TRADE_OFFS))


@router.post("/trade-offs/now", tags=["trade-offs"])
async def present(asked: s.Asked, ask: Ask, person: Viewer) -> JSONResponse:
    """Return the figure of each aim as the setup stands, or why there is none."""
    return JSONResponse(await ask("slow", "present", asked.document, module=_TRADE_OFFS, newest="present"))


@router.post("/trade-offs/foreseen", tags=["trade-offs"])
async def foreseen(asked: s.ChoiceAsked, ask: Ask, held: Held, person: Viewer) -> JSONResponse:
    """Say how long a choice would take on this host, and how many setups it may try."""
    told = await _foreseen(asked.document, asked.choice, ask, newest="foreseen")
    limits = held.jobs.limits
    told |= {"most": most_tries(told["each_s"], limits), "limit_s": limits.seconds}
    return JSONResponse(told)


@router.post("/cost", tags=["trade-offs"])
async def cost(asked: s.Asked, ask: Ask, person: Viewer) -> JSONResponse:
    """Return what a wafer costs at the prices of the setup, an item a row."""
    return JSONResponse(await ask("slow", "cost", asked.document, module=_TRADE_OFFS, newest="cost"))


async def tries_of(asked: s.JobAsked, ask: Ask) -> dict[str, Any]:
    """Return how many setups a job would try and how long one takes, once all that is asked for can be used."""
    if asked.choice is None:
        raise DataError("choice: not given: must be there for a trade-off")
    told = await _foreseen(asked.document, asked.choice, ask)
    return {"tries": told["runs"], "each_s": told["each_s"]}


async def _foreseen(document: dict[str, Any], choice: s.Choice, ask: Ask, **more: Any) -> dict[str, Any]:
    return dict(await ask("slow", "foreseen", document, choice.model_dump(), module=_TRADE_OFFS, **more))
