"""The pages and their data: files of the package by name, the live stream, light, targets, queue and
outlook."""

from __future__ import annotations

import hashlib
from functools import cache
from pathlib import Path

from starlette.requests import Request
from starlette.responses import Response, StreamingResponse
from starlette.routing import Route

from .access import Handler
from .answers import as_json, number_of
from .live import Live, Told

FOLDER = Path(__file__).parent / "static"
TYPES = {
    ".html": "text/html; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".json": "application/json",
    ".svg": "image/svg+xml",
    ".webmanifest": "application/manifest+json",
}
PAGES = {"/": "page.html", "/wall": "wall.html", "/benches": "benches.html", "/pair": "pair.html"}


@cache
def _files() -> dict[str, tuple[bytes, str, str]]:
    """Every file that may be had: bytes, type, tag. What is not in here does not exist, whatever is asked for."""
    found = {}
    for path in FOLDER.iterdir():
        if path.suffix in TYPES and path.is_file():
            data = path.read_bytes()
            found[path.name] = (data, TYPES[path.suffix], f'"{hashlib.sha256(data).hexdigest()[:16]}"')
    return found


def file_answer(request: Request, name: str) -> Response:
    """A file of the page. A browser asks each time whether it is still the newest, so that no old page stays."""
    known = _files().get(name)
    if known is None:
        return Response("no such file", 404, media_type="text/plain")
    data, kind, tag = known
    headers = {"etag": tag, "cache-control": "no-cache", "x-content-type-options": "nosniff"}
    if request.headers.get("if-none-match") == tag:
        return Response(status_code=304, headers=headers)
    return Response(data, headers=headers | {"content-type": kind})


def page_data(told: Told) -> dict[str, Handler]:
    """The handlers of the pages' data, by the names in the table of addresses."""
    live = Live(told)

    async def stream(request: Request) -> Response:
        live.check()
        headers = {"cache-control": "no-store", "x-accel-buffering": "no"}
        return StreamingResponse(live.stream(request.state.role), media_type="text/event-stream", headers=headers)

    async def light(request: Request) -> Response:
        return as_json(await told.showing.light(number_of(request)))

    async def targets(_: Request) -> Response:
        return as_json(told.showing.targets())

    async def queue(_: Request) -> Response:
        return as_json(told.showing.queue())

    async def outlook(request: Request) -> Response:
        given = request.query_params
        asked = given.getlist("target"), given.get("date"), given.get("sensor")
        return as_json(await told.outlooks.outlook(*asked, told.showing.revision))

    async def benches(_: Request) -> Response:
        return as_json(told.benches())

    async def aim(request: Request) -> Response:
        given = request.query_params
        return as_json(told.aim(given.get("target", ""), given.get("sensor")))

    return {
        "aim": aim, "benches": benches, "live": stream, "light": light, "targets": targets, "queue": queue,
        "outlook": outlook,
    }


def file_routes() -> list[Route]:
    """Pages and their files hold nothing of the bench, and are for everyone."""

    async def page(request: Request) -> Response:
        return file_answer(request, PAGES[request.url.path])

    async def static(request: Request) -> Response:
        return file_answer(request, request.path_params["name"])

    return [*(Route(path, page, methods=["GET"]) for path in PAGES), Route("/static/{name}", static, methods=["GET"])]
