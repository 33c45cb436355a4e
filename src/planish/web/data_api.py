"""The routes for people's own files: brought, looked at, told which column is what, fitted to."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, HTTPException, Query, Request, Response
from fastapi.responses import JSONResponse, PlainTextResponse
from starlette.concurrency import run_in_threadpool
from starlette.requests import ClientDisconnect

from planish.errors import DataError, PlanishError
from planish.web import schemas as s
from planish.web.ask import Ask
from planish.web.asking import REFUSALS, Held, Viewer, Worker, noted

router = APIRouter(prefix="/api", responses=REFUSALS)
_OWN = "planish.web.own_data"


@router.get("/uploads", tags=["own data"])
async def uploads(held: Held, person: Viewer) -> list[s.UploadTold]:
    """List your files, the newest first."""
    return [s.UploadTold(**item) for item in await run_in_threadpool(held.uploads.told, person.id)]


@router.post(
    "/uploads",
    tags=["own data"],
    openapi_extra={
        "requestBody": {
            "required": True,
            "content": {s.MEDIA: {"schema": {"type": "string", "format": "binary"}}},
        }
    },
)
async def upload(
    request: Request,
    ask: Ask,
    held: Held,
    person: Worker,
    name: Annotated[str, Query(max_length=160, description="the file's own name")],
) -> JSONResponse:
    """Store a file given as the request's body, and say what it is."""
    incoming = held.uploads.begin(person.id, name)
    try:
        async for piece in request.stream():
            if incoming.add(piece):
                await run_in_threadpool(incoming.write)
        kept, notes = await run_in_threadpool(incoming.finish)
    except ClientDisconnect:
        raise HTTPException(413, "the file is too large, or did not come whole") from None
    finally:
        incoming.close()
    path = str(held.uploads.path(person.id, kept.id))
    try:
        maps = await run_in_threadpool(held.maps.of, person.id) if kept.kind == "table" else []
        known = [{"id": one.id, "told": one.told, "header": one.header} for one in maps if one.header]
        found = await ask("files", "look", path, kept.name, kept.kind, known, module=_OWN)
        await run_in_threadpool(held.uploads.note, person.id, kept.id, found)
    except BaseException as error:  # a file that nobody could read, or waits for, is not kept
        held.uploads.forget(person.id, kept.id)
        if isinstance(error, PlanishError) and kept.name not in str(error):
            raise DataError(f"{kept.name}: reading it {error}") from None
        raise
    if found["by"]:
        by = next(one.name for one in maps if one.id == found["by"])
        how = "cannot be read by" if found["about"]["is"] == "unread" else "was read by"
        notes.append(f"{kept.name}: has the column names of your column map {by!r} and {how} it")
    own = {n: getattr(kept, n) for n in ("id", "name", "kind", "size", "ending", "made")}
    return JSONResponse({**s.UploadTold(**own, **found).model_dump(), "notes": notes})


@router.delete("/uploads/{upload}", tags=["own data"])
async def forget_upload(upload: str, held: Held, person: Worker) -> dict[str, bool]:
    """Take a file away."""
    names = {kept.id: kept.name for kept in await run_in_threadpool(held.uploads.of, person.id)}
    await run_in_threadpool(held.uploads.forget, person.id, upload)
    await noted(held, person, "file deleted", file=upload, name=names.get(upload, ""))
    return {"done": True}


@router.post("/uploads/{upload}/look", tags=["own data"])
async def look(upload: str, asked: s.LookAsked, ask: Ask, held: Held, person: Viewer) -> JSONResponse:
    """Say how a table stands and how it is read with what is told of it; nothing is kept."""
    path, name = await run_in_threadpool(own_table, held, person, upload)
    told = asked.told.plain()
    return JSONResponse(await ask("files", "looked", path, name, told, asked.wafer, module=_OWN))


@router.post("/uploads/{upload}/read", tags=["own data"])
async def read(upload: str, asked: s.ReadAsked, ask: Ask, held: Held, person: Worker) -> JSONResponse:
    """Read a table as told from now on; remembered, files with the same column names are read so too."""
    path, name = await run_in_threadpool(own_table, held, person, upload)
    told = asked.told.plain()
    if asked.remember and not told:
        raise DataError(
            f"{name}: nothing to remember: must name a column, a unit or another thing of a column map"
        )
    found = await ask("files", "read_so", path, name, told, asked.wafer, module=_OWN)
    notes, by = [], ""
    if asked.remember:
        kept, notes = await run_in_threadpool(held.maps.keep, person.id, asked.name, told, found["header"])
        by = kept.id
    about = {"about": found["about"], "told": told, "wafer": asked.wafer, "by": by}
    await run_in_threadpool(held.uploads.note, person.id, upload, about)
    also = await _also(ask, held, person, about, found["header"]) if by else {}
    return JSONResponse({**about, "notes": notes, "also": also})


async def _also(
    ask: Any, held: Any, person: s.Person, about: dict[str, Any], header: list[str]
) -> dict[str, Any]:
    """Read a person's files that nobody could read, and that have the same column names, by the map just kept."""
    files = await run_in_threadpool(held.uploads.told, person.id)
    unread = [
        (one["id"], str(held.uploads.path(person.id, one["id"])), one["name"])
        for one in files
        if one.get("about", {}).get("is") == "unread"
    ]
    if not unread:
        return {}
    found = await ask("files", "read_alike", about["told"], header, unread, module=_OWN)
    for one, told in found.items():
        await run_in_threadpool(held.uploads.note, person.id, one, {**about, "about": told, "wafer": None})
    return dict(found)


def own_table(held: Any, person: s.Person, upload: str) -> tuple[str, str]:
    """Return path and name of a person's table."""
    path = str(held.uploads.path(person.id, upload))
    kept = next(one for one in held.uploads.of(person.id) if one.id == upload)
    if kept.kind != "table":
        raise DataError(f"{kept.name}: is a {kept.kind}: must be a table, whose columns can be told")
    return path, kept.name


@router.get("/columns", tags=["own data"])
async def column_maps(held: Held, person: Viewer) -> list[s.MapTold]:
    """List the column maps that you keep, the newest first."""
    found = await run_in_threadpool(held.maps.of, person.id)
    return [
        s.MapTold(id=one.id, name=one.name, made=one.made, told=one.told, header=one.header) for one in found
    ]


@router.post("/columns", tags=["own data"])
async def bring_map(asked: s.MapBrought, ask: Ask, held: Held, person: Worker) -> JSONResponse:
    """Keep a column map brought as its TOML file, which the commands write and read too."""
    told = await ask("fast", "map_of_toml", asked.text, asked.name, module=_OWN)
    kept, notes = await run_in_threadpool(held.maps.keep, person.id, asked.name, told, [])
    return JSONResponse(
        {"id": kept.id, "name": kept.name, "made": kept.made, "told": told, "header": [], "notes": notes}
    )


@router.post("/columns/toml", tags=["own data"], response_class=PlainTextResponse)
async def told_file(asked: s.Told, ask: Ask, person: Viewer) -> Response:
    """Return what is told of a file as the TOML file that the commands read; nothing is kept."""
    return _toml(await ask("fast", "map_as_toml", asked.plain(), module=_OWN))


@router.get("/columns/{kept}/toml", tags=["own data"], response_class=PlainTextResponse)
async def map_file(kept: str, ask: Ask, held: Held, person: Viewer) -> Response:
    """Return a column map as the TOML file that the commands read."""
    found = await run_in_threadpool(held.maps.get, person.id, kept)
    return _toml(await ask("fast", "map_as_toml", found.told, module=_OWN))


def _toml(text: str) -> Response:
    disposition = {"Content-Disposition": 'attachment; filename="columns.toml"'}
    return Response(text, media_type="application/toml", headers=disposition)


@router.delete("/columns/{kept}", tags=["own data"])
async def forget_map(kept: str, held: Held, person: Worker) -> dict[str, bool]:
    """Take a column map away; files that were read by it stay as they were read."""
    await run_in_threadpool(held.maps.forget, person.id, kept)
    return {"done": True}


@router.post("/measured", tags=["own data"])
async def measured(asked: s.MeasuredAsked, ask: Ask, held: Held, person: Viewer) -> JSONResponse:
    """Set measured sites beside the prediction."""
    known = {str(held.uploads.path(person.id, u.id)): u.name for u in held.uploads.of(person.id)}
    before = str(held.uploads.path(person.id, asked.before))
    after = str(held.uploads.path(person.id, asked.after)) if asked.after else None
    told = {before: held.uploads.noted(person.id, asked.before)}
    if asked.after and after:
        told[after] = held.uploads.noted(person.id, asked.after)
    return JSONResponse(
        await ask("files", "measured", asked.document, known, before, after, asked.time_s, told, module=_OWN)
    )


@router.post("/runs", tags=["own data"])
async def runs(asked: s.RunsAsked, ask: Ask, held: Held, person: Viewer) -> JSONResponse:
    """Say what a table of runs holds, which of its site files you have not brought, and which numbers may be free."""
    path, name = await run_in_threadpool(own_table, held, person, asked.file)
    files = await run_in_threadpool(held.uploads.by_name, person.id)
    scratch = str(held.uploads.scratch(person.id))
    words = [asked.column, asked.leave_out]
    return JSONResponse(
        await ask(
            "files",
            "runs_looked",
            asked.document,
            path,
            name,
            files,
            scratch,
            words,
            module="planish.web.fitted",
        )
    )


@router.post("/traces", tags=["own data"])
async def traces(asked: s.TracesAsked, ask: Ask, held: Held, person: Viewer) -> JSONResponse:
    """Cut traces into wafers; with rates, find the law they follow."""
    path = str(held.uploads.path(person.id, asked.traces))
    rates = str(held.uploads.path(person.id, asked.rates)) if asked.rates else None
    return JSONResponse(await ask("files", "traces", path, "traces", rates, module=_OWN))
