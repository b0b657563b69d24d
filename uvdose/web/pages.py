"""The pages and their data: files of the package by name, the live stream, light, targets and queue."""

from __future__ import annotations

import hashlib
from collections.abc import Awaitable, Callable
from functools import cache
from pathlib import Path

import msgspec
from starlette.requests import Request
from starlette.responses import Response, StreamingResponse
from starlette.routing import Route

from ..model import Refusal
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
PAGES = {"/": "page.html", "/wall": "wall.html"}

Handler = Callable[[Request], Awaitable[Response]]


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


def page_routes(told: Told, guarded: Callable[[Handler], Handler]) -> list[Route]:
    """Pages and their files hold nothing of the bench and are for everyone; data is for whom `guarded` lets in."""
    live = Live(told)

    async def stream(request: Request) -> Response:
        live.check()
        role = getattr(request.state, "role", None) or "act"
        headers = {"cache-control": "no-store", "x-accel-buffering": "no"}
        return StreamingResponse(live.stream(role), media_type="text/event-stream", headers=headers)

    async def light(request: Request) -> Response:
        text = request.path_params["id"]
        if not (text.isascii() and text.isdigit() and len(text) <= 10):
            raise Refusal("exposure: give its number, such as 12", 2)
        return _json(await told.showing.light(int(text)))

    async def targets(_: Request) -> Response:
        return _json(told.showing.targets())

    async def queue(_: Request) -> Response:
        return _json(told.showing.queue())

    async def page(request: Request) -> Response:
        return file_answer(request, PAGES[request.url.path])

    async def static(request: Request) -> Response:
        return file_answer(request, request.path_params["name"])

    prefix = "/api/v1"
    return [
        *(Route(path, page, methods=["GET"]) for path in PAGES),
        Route("/static/{name}", static, methods=["GET"]),
        Route(f"{prefix}/live", guarded(stream), methods=["GET"]),
        Route(f"{prefix}/exposures/{{id}}/light", guarded(light), methods=["GET"]),
        Route(f"{prefix}/targets", guarded(targets), methods=["GET"]),
        Route(f"{prefix}/queue", guarded(queue), methods=["GET"]),
    ]


def _json(value: object) -> Response:
    return Response(msgspec.json.encode(value), media_type="application/json")
