"""How a route puts its question to the workers: in the asker's name, and given up when the asker is gone."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from typing import Annotated, Any

from fastapi import Depends, HTTPException, Request

from planish.web.asking import Held, Viewer


async def asking(request: Request, held: Held, person: Viewer) -> Callable[..., Awaitable[Any]]:
    """Return how the one who asks puts a question to the workers: ``ask(pool, name, *arguments, ...)``.

    Who goes away while slow work waits or runs has asked for nothing; of the questions of one page with the
    same ``newest``, only the newest is answered.
    """
    page = request.headers.get("x-page", "")[:40]

    async def ask(pool: str, name: str, *arguments: Any, newest: str | None = None, **more: Any) -> Any:
        word = None if newest is None else f"{page} {newest}"
        answer = held.workers.ask(pool, name, *arguments, owner=person.id, newest=word, **more)
        return await (answer if pool == "fast" else _unless_gone(request, answer))

    return ask


Ask = Annotated[Callable[..., Awaitable[Any]], Depends(asking)]


async def _unless_gone(request: Request, answer: Awaitable[Any]) -> Any:
    """Return an answer, or give it up when the one who asked closes the connection."""

    async def gone() -> None:
        while (await request.receive())["type"] != "http.disconnect":
            pass

    tasks = (asyncio.ensure_future(answer), asyncio.ensure_future(gone()))
    try:
        await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
        if not tasks[0].done():
            raise HTTPException(499, "the one who asked is gone")
        return tasks[0].result()
    finally:
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)
