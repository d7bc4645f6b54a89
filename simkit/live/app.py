"""The live page's few addresses; everything below the token, everything from this machine."""

import contextlib
import json
import math
import re
from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from html import escape
from pathlib import Path
from typing import Any

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import (
    FileResponse,
    HTMLResponse,
    JSONResponse,
    Response,
    StreamingResponse,
)
from starlette.routing import Route

import simkit.report
from simkit.errors import InputError
from simkit.judge.cautions import CAUTIONS
from simkit.live.answers import Question, answered, bench_values
from simkit.live.jobs import Jobs
from simkit.live.pages import Pages
from simkit.live.screen import on_screen, write_screen
from simkit.parameters.load import load_file
from simkit.parameters.scenario import Scenario
from simkit.studies.inputs.loading import load_machine

FILES = Path(__file__).parent / "page"
STYLE = Path(simkit.report.__file__).parent / "templates" / "style.css"
KINDS = {".html": "text/html", ".js": "text/javascript", ".css": "text/css",
         ".json": "application/json", ".svg": "image/svg+xml"}  # fmt: skip
LARGEST = 64_000
"""Most bytes of a question."""
_KEY = re.compile(r"[A-Za-z0-9_.-]{1,120}")
_PAGE = re.compile(r"[a-z0-9]{8,40}")
_FOLDER = re.compile(r"[a-z0-9][a-z0-9-]{0,80}")
SHOWN = re.compile(r"index\.html|result\.json|provenance\.json|figures/[a-z]+\.svg")
"""Files of a report's folder that are handed out."""


@dataclass
class Bench:
    """What the addresses share."""

    machine: Path
    reports: Path
    pages: Pages
    jobs: Jobs


def application(bench: Bench) -> Starlette:
    """The application; the door stands before it."""
    routes = [
        Route("/", _front),
        Route("/bench.js", _file("bench.js")),
        Route("/chart.js", _file("chart.js")),
        Route("/bench.css", _file("bench.css")),
        Route("/report.css", lambda _: FileResponse(STYLE, media_type="text/css")),
        Route("/machine", _with(bench, _machine)),
        Route("/answer", _with(bench, _answer), methods=["POST"]),
        Route("/rehearse", _with(bench, _rehearse), methods=["POST"]),
        Route("/stop", _with(bench, _stop), methods=["POST"]),
        Route("/events", _with(bench, _events)),
        Route("/reports/{rest:path}", _with(bench, _report)),
    ]
    return Starlette(routes=routes)


Handler = Callable[[Bench, Request], Awaitable[Response]]


def _with(bench: Bench, handler: Handler) -> Callable[[Request], Awaitable[Response]]:
    async def handling(request: Request) -> Response:
        try:
            return await handler(bench, request)
        except InputError as error:
            said = [{"key": p.field, "text": str(p)} for p in error.problems]
            return JSONResponse({"problems": said}, 422)

    return handling


def _file(name: str) -> Callable[[Request], Awaitable[Response]]:
    async def handing(_: Request) -> Response:
        return FileResponse(FILES / name, media_type=KINDS[Path(name).suffix])

    return handing


async def _front(_: Request) -> Response:
    return HTMLResponse(front_page())


def front_page() -> str:
    """The page as a browser gets it: the one block of cautions stands in its place."""
    lines = "".join(f"<li>{escape(line)}</li>" for line in CAUTIONS)
    block = (
        '<section aria-labelledby="cautions" class="cautions"><h2 id="cautions">Cautions</h2>'
        f"<ul>{lines}</ul></section>"
    )
    return (FILES / "bench.html").read_text(encoding="utf-8").replace("<!-- cautions -->", block)


async def _machine(bench: Bench, _: Request) -> Response:
    return JSONResponse(await run_in_threadpool(described, bench.machine))


def described(path: Path) -> dict[str, Any]:
    """The machine as the page introduces it. Errors: InputError for a file that is wrong."""
    loaded = load_machine(path)
    machine = loaded.model
    return {
        "name": machine.name,
        "title": machine.title,
        "file": str(path),
        "range": [machine.drive.frequency_min, machine.drive.frequency_max],
        "loads": [
            *({"name": n, "title": p.title} for n, p in machine.workpieces.items()),
            {"name": "empty", "title": "Coil with nothing in it"},
        ],
        "values": bench_values(loaded),
        "scenarios": [
            *on_screen(),
            *(
                {"file": file.name, "title": found.title, "description": found.description}
                for file, found in scenarios(path)
            ),
        ],
        "warnings": list(loaded.warnings),
    }


def scenarios(path: Path) -> list[tuple[Path, Scenario]]:
    """Sound scenario files beside a machine file that name it."""
    found = []
    for file in sorted(path.parent.glob("*.toml")):
        if file.resolve() == path.resolve():
            continue
        with contextlib.suppress(InputError):
            scenario = load_file(file, Scenario).model
            if (file.parent / scenario.machine).resolve() == path.resolve():
                found.append((file, scenario))
    return found


async def _body(request: Request) -> dict[str, Any]:
    """The question as a table; refused when it is too long or no such thing."""
    if request.headers.get("content-type", "").split(";")[0] != "application/json":
        raise HTTPException(415, "send JSON")
    size, parts = 0, []
    async for part in request.stream():
        size += len(part)
        if size > LARGEST:
            raise HTTPException(413, "that is too long for a question")
        parts.append(part)
    try:
        found = json.loads(b"".join(parts))
    except (ValueError, RecursionError):
        raise HTTPException(400, "that is not JSON") from None
    if not isinstance(found, dict):
        raise HTTPException(400, "a question is a table")
    return found


def _overrides(body: dict[str, Any]) -> dict[str, str]:
    given = body.get("set", {})
    sound = isinstance(given, dict) and all(
        isinstance(k, str) and isinstance(v, str) and _KEY.fullmatch(k) and len(v) <= 200
        for k, v in given.items()
    )
    if not sound:
        raise HTTPException(400, '"set" is a table of keys and texts')
    return dict(given)


def _page(text: Any) -> str:
    if not isinstance(text, str) or not _PAGE.fullmatch(text):
        raise HTTPException(400, "a page names itself")
    return text


def _frequency(body: dict[str, Any]) -> float | None:
    frequency = body.get("frequency")
    if isinstance(frequency, bool) or not isinstance(frequency, int | float | None):
        raise HTTPException(400, "a frequency is a number in Hz")
    if frequency is not None and not (math.isfinite(frequency) and frequency > 0):
        raise HTTPException(400, "a frequency is above zero")
    return None if frequency is None else float(frequency)


async def _answer(bench: Bench, request: Request) -> Response:
    body = await _body(request)
    load = body.get("load")
    question = Question(
        _overrides(body), load if isinstance(load, str) else None, _frequency(body)
    )  # fmt: skip
    return JSONResponse(await run_in_threadpool(answered, bench.machine, question))


async def _rehearse(bench: Bench, request: Request) -> Response:
    body = await _body(request)
    overrides, page = _overrides(body), _page(body.get("page"))
    files = {file.name: file for file, _ in scenarios(bench.machine)}
    wanted = body.get("scenario")
    shown = {one["file"] for one in on_screen()}
    if not isinstance(wanted, str) or wanted not in {*files, *shown}:
        raise HTTPException(404, "there is no such scenario beside the machine")
    if wanted in files:
        load_machine(bench.machine, overrides)  # wrong values are said now, not by the child
        path = files[wanted]
    else:
        frequency, load = _frequency(body), body.get("load")
        if frequency is None or not isinstance(load, str):
            raise HTTPException(400, "what is on the screen has a load and a frequency")
        path = write_screen(bench.machine, overrides, wanted, load, frequency,
                            bench.reports / "screen")  # fmt: skip
    return JSONResponse(bench.jobs.start(page, path, overrides).shown())


async def _stop(bench: Bench, request: Request) -> Response:
    body = await _body(request)
    job = bench.jobs.all.get(body.get("job"))  # type: ignore[arg-type]  # any value may be asked for
    if job is None or job.page != _page(body.get("page")):
        raise HTTPException(404, "there is no such rehearsal")
    await bench.jobs.stop(job)
    return JSONResponse(job.shown())


async def _events(bench: Bench, request: Request) -> Response:
    page = _page(request.query_params.get("page"))
    first = [job.shown() for job in bench.jobs.all.values() if job.page == page]
    return StreamingResponse(bench.pages.stream(page, first), media_type="text/event-stream")


async def _report(bench: Bench, request: Request) -> Response:
    rest = request.path_params["rest"] or "index.html"
    folder, _, name = rest.partition("/")
    known = rest == "index.html" or (_FOLDER.fullmatch(folder) and SHOWN.fullmatch(name))
    file = bench.reports / rest
    if not known or not file.is_file():
        raise HTTPException(404, "there is no such report")
    return FileResponse(file, media_type=KINDS[file.suffix])
