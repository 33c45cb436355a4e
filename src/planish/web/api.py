"""The routes: the package's verbs over HTTP. Nothing is computed here."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from fastapi import APIRouter, Response
from fastapi.responses import HTMLResponse, JSONResponse, PlainTextResponse
from starlette.concurrency import run_in_threadpool

from planish.errors import DataError
from planish.web import schemas as s
from planish.web.ask import Ask
from planish.web.asking import REFUSALS, Held, Viewer, Worker, noted
from planish.web.choosing import tries_of
from planish.web.costs import check_lot

if TYPE_CHECKING:
    from planish.web.services import Services

BINARY: dict[int | str, dict[str, Any]] = {
    200: {
        "content": {s.MEDIA: {"schema": {"type": "string", "format": "binary"}}},
        "description": "packed answer",
    }
}
router = APIRouter(prefix="/api", responses=REFUSALS)
_DEPTH = "planish.web.depth"
_LESSONS = "planish.web.lessons"


def _packed(body: bytes) -> Response:
    return Response(body, media_type=s.MEDIA)


def _file(text: str, name: str, media: str) -> Response:
    disposition = {"Content-Disposition": f'attachment; filename="{name}"'}
    return Response(text, media_type=media, headers=disposition)


@router.get("/setups", tags=["describe"])
async def first(ask: Ask, person: Viewer) -> s.Setup:
    """Return the invented scenario that the page opens with."""
    return s.Setup(**await ask("fast", "fresh"))


@router.get("/setups/{motion}", tags=["describe"])
async def fresh(motion: str, ask: Ask, person: Viewer) -> s.Setup:
    """Return the invented scenario for a motion, by its name."""
    return s.Setup(**await ask("fast", "fresh", motion))


@router.post("/setup", tags=["describe"])
async def setup(asked: s.Changed, ask: Ask, person: Viewer) -> JSONResponse:
    """Return every setting of a setup with unit, range, default, source and spread."""
    return JSONResponse(await ask("fast", "forms", asked.document, asked.changes))


@router.post("/choose", tags=["describe"])
async def choose(asked: s.PartChosen, ask: Ask, person: Viewer) -> s.Setup:
    """Put another catalogue part in place."""
    return s.Setup(**await ask("fast", "choose", asked.document, asked.section, asked.part))


@router.post("/move", tags=["describe"])
async def move(asked: s.Moved, ask: Ask, person: Viewer) -> s.Setup:
    """Put the setup on a polisher of another motion."""
    return s.Setup(**await ask("fast", "move", asked.document, asked.motion))


@router.post("/read", tags=["describe"])
async def read(asked: s.Text, ask: Ask, person: Viewer) -> s.Setup:
    """Read a setup file."""
    return s.Setup(**await ask("fast", "read_toml", asked.text))


@router.post("/toml", tags=["describe"], response_class=PlainTextResponse)
async def toml(asked: s.Asked, ask: Ask, person: Viewer) -> Response:
    """Return a setup as TOML."""
    return _file(await ask("fast", "to_toml", asked.document), "setup.toml", "application/toml")


@router.post("/wafer", tags=["predict"], response_class=Response, responses=BINARY)
async def wafer(asked: s.WaferAsked, ask: Ask, person: Viewer) -> Response:
    """Polish one wafer; packed binary (see `planish.web.packing`)."""
    return _packed(await ask("fast", "wafer", asked.document, asked.changes, asked.step))


@router.post("/wafer.csv", tags=["predict"], response_class=PlainTextResponse)
async def wafer_csv(asked: s.Asked, ask: Ask, person: Viewer) -> Response:
    """Return the wafer's profiles as CSV."""
    return _file(await ask("fast", "profile_csv", asked.document), "wafer.csv", "text/csv")


@router.post("/advice", tags=["explain"])
async def advice(asked: s.Asked, ask: Ask, person: Viewer) -> list[s.Finding]:
    """Return the findings, with the changes that would help."""
    return [s.Finding(**item) for item in await ask("fast", "advice", asked.document)]


@router.post("/nudges", tags=["explain"])
async def nudges(asked: s.NudgesAsked, ask: Ask, person: Viewer) -> JSONResponse:
    """Say what each of several changes, made alone, does to the headlines of the wafer."""
    return JSONResponse(await ask("slow", "nudges", asked.document, asked.moves, newest="nudges"))


@router.post("/compare", tags=["explain"])
async def compare(asked: s.Compared, ask: Ask, person: Viewer) -> JSONResponse:
    """Say what differs between two setups, and why: exact shares of each group of choices."""
    return JSONResponse(await ask("fast", "compare", asked.a, asked.b, asked.outcomes))


@router.post("/lot", tags=["predict"], response_class=Response, responses=BINARY)
async def lot(asked: s.LotAsked, ask: Ask, person: Viewer) -> Response:
    """Polish a quick lot; packed binary."""
    check_lot(asked.document, asked.wafers)
    return _packed(
        await ask(
            "slow", "lot", asked.document, asked.wafers, asked.conditioning, module=_DEPTH, newest="lot"
        )
    )


@router.post("/lot.csv", tags=["predict"], response_class=PlainTextResponse)
async def lot_csv(asked: s.LotAsked, ask: Ask, person: Viewer) -> Response:
    """Return a quick lot as CSV."""
    check_lot(asked.document, asked.wafers)
    text = await ask("slow", "lot_csv", asked.document, asked.wafers, module=_DEPTH)
    return _file(text, "lot.csv", "text/csv")


@router.post("/die", tags=["predict"], response_class=Response, responses=BINARY)
async def die(asked: s.DieAsked, ask: Ask, person: Viewer) -> Response:
    """Polish a quick die of a test layout at centre, mid radius and edge; packed binary."""
    return _packed(
        await ask("slow", "die", asked.document, asked.layout, asked.process, module=_DEPTH, newest="die")
    )


@router.get("/lessons", tags=["teach"])
async def lessons(ask: Ask, person: Viewer) -> list[s.Lesson]:
    """List the guided comparisons."""
    return [s.Lesson(**item) for item in await ask("fast", "listing", module=_LESSONS)]


@router.post("/lessons/{lesson}", tags=["teach"])
async def lesson_answer(lesson: str, asked: s.Asked, ask: Ask, person: Viewer) -> JSONResponse:
    """Compute the answer of one guided comparison."""
    return JSONResponse(await ask("slow", "answer", asked.document, lesson, module=_LESSONS))


@router.post("/recipe-sheet", tags=["explain"], response_class=HTMLResponse)
async def recipe_sheet(asked: s.Asked, ask: Ask, person: Viewer) -> Response:
    """Return the recipe as a page to print."""
    return _file(await ask("slow", "recipe_sheet", asked.document), "recipe.html", "text/html")


@router.post("/report", tags=["explain"], response_class=HTMLResponse)
async def report(asked: s.Asked, ask: Ask, person: Viewer) -> Response:
    """Return the whole report of the wafer as a page."""
    return _file(await ask("slow", "report", asked.document), "report.html", "text/html")


@router.get("/jobs", tags=["jobs"])
async def jobs(held: Held, person: Viewer) -> list[s.JobTold]:
    """List your jobs, the newest first."""
    return [s.JobTold(**job.told()) for job in held.jobs.of(person.id)]


@router.post("/jobs", tags=["jobs"])
async def start_job(asked: s.JobAsked, ask: Ask, held: Held, person: Worker) -> s.JobTold:
    """Start a long job."""
    told = await ask("fast", "digest", asked.document)
    options = asked.model_dump()
    if asked.kind == "fit" and asked.file is None:
        raise DataError("file: none given: must be a table of runs that you have brought")
    if asked.file is not None:
        options["file"] = str(held.uploads.path(person.id, asked.file))
        options["file_name"] = next(u.name for u in held.uploads.of(person.id) if u.id == asked.file)
    if asked.kind == "trade-off":
        options |= await tries_of(asked, ask)
    if asked.kind == "tune":
        if asked.solve is None:
            raise DataError("solve: not given: must be there for settings to be solved for")
        options["files"] = await run_in_threadpool(_files, held, person, asked.solve.incoming)
    if asked.kind == "fit":
        options["files"] = await run_in_threadpool(held.uploads.by_name, person.id)
    job = await run_in_threadpool(held.jobs.start, asked.kind, asked.title, person.id, options)
    await noted(held, person, "run", kind=asked.kind, title=asked.title, setup=told["digest"], job=job.id)
    return s.JobTold(**job.told())


@router.get("/jobs/{job}", tags=["jobs"])
async def job_told(job: str, held: Held, person: Viewer) -> s.JobTold:
    """Say how far a job is."""
    return s.JobTold(**held.jobs.get(job, person.id).told())


@router.delete("/jobs/{job}", tags=["jobs"])
async def stop_job(job: str, held: Held, person: Worker) -> dict[str, bool]:
    """Stop a job, or clear one that has ended."""
    found = held.jobs.get(job, person.id)
    what = "job stopped" if found.state in ("waiting", "running") else "job deleted"
    await run_in_threadpool(held.jobs.stop, found)
    await noted(held, person, what, job=found.id, kind=found.kind, title=found.title)
    return {"done": True}


@router.get("/jobs/{job}/answer", tags=["jobs"], response_class=Response, responses=BINARY)
async def job_answer(job: str, held: Held, person: Viewer) -> Response:
    """Return what a job found, packed."""
    path = _result(held, job, person) / "answer.bin"
    return _packed(await run_in_threadpool(path.read_bytes))


@router.get("/jobs/{job}/table.csv", tags=["jobs"], response_class=PlainTextResponse)
async def job_table(job: str, held: Held, person: Viewer) -> Response:
    """Return the table of a lot, or of the points of a trade-off."""
    path = _result(held, job, person) / "table.csv"
    if not path.is_file():
        raise DataError("this job has no table")
    name = f"{held.jobs.get(job, person.id).kind}.csv"
    return _file(await run_in_threadpool(path.read_text), name, "text/csv")


@router.get("/jobs/{job}/fitted.toml", tags=["jobs"], response_class=PlainTextResponse)
async def job_fitted(job: str, held: Held, person: Viewer) -> Response:
    """Return the fitted setup, each fitted value with its band and where it comes from."""
    path = _result(held, job, person) / "fitted.toml"
    if not path.is_file():
        raise DataError("this job has fitted no setup")
    return _file(await run_in_threadpool(path.read_text), "fitted.toml", "application/toml")


@router.get("/jobs/{job}/maps/{name}", tags=["jobs"])
async def job_map(job: str, name: str, held: Held, person: Viewer) -> JSONResponse:
    """Return the shapes of a map's levels and its limits."""
    from planish.web.tiles import read_about

    return JSONResponse(await run_in_threadpool(read_about, _result(held, job, person), _map_name(name)))


@router.get(
    "/jobs/{job}/maps/{name}/{level}/{row}/{column}",
    tags=["jobs"],
    response_class=Response,
    responses=BINARY,
)
async def job_tile(
    job: str, name: str, level: int, row: int, column: int, held: Held, person: Viewer
) -> Response:
    """Return one tile of a map as float32, row by row."""
    from planish.web.tiles import read_tile

    folder = _result(held, job, person)
    part, rows, columns = await run_in_threadpool(read_tile, folder, _map_name(name), level, row, column)
    size = {"X-Rows": str(rows), "X-Columns": str(columns), "Cache-Control": "private, max-age=3600"}
    return Response(part.tobytes(), media_type=s.MEDIA, headers=size)


def _map_name(name: str) -> str:
    if name not in ("surface", "density"):
        raise DataError(f"map = {name[:40]!r}: must be surface or density")
    return name


def _result(held: Services, job_id: str, person: s.Person) -> Any:
    job = held.jobs.get(job_id, person.id)
    place = held.jobs.place(job)
    if job.state != "done" or not (place / "answer.bin").is_file():
        raise DataError(f"job {job.id}: is {job.state}: there is no result to show")
    return place


@router.get("/tune", tags=["tune"])
async def tune_figures(ask: Ask, person: Viewer) -> list[dict[str, str]]:
    """List the figures of what is left that wafers can be asked to meet."""
    return list(await ask("slow", "figures", module="planish.web.tuned"))


@router.post("/tune", tags=["tune"])
async def tune(asked: s.TuneAsked, ask: Ask, held: Held, person: Viewer) -> JSONResponse:
    """Solve for the pressures and times that leave the most even wafer of a thickness."""
    files = _files(held, person, asked.incoming)
    pool = "files" if files else "slow"
    limits = asked.model_dump(exclude={"document", "incoming"})
    return JSONResponse(await ask(pool, "solved", asked.document, files, limits, module="planish.web.tuned"))


def _files(held: Services, person: s.Person, ids: list[str]) -> list[list[Any]]:
    """Return path and name of each of a person's files, and how it is read."""
    names = {kept.id: kept.name for kept in held.uploads.of(person.id)} if ids else {}
    return [
        [str(held.uploads.path(person.id, each)), names[each], held.uploads.noted(person.id, each)]
        for each in ids
    ]
