"""The local API: the same one that the commands use. JSON in and out, under /api/v1, for whoever holds the token."""

from __future__ import annotations

import hmac
from collections.abc import AsyncIterator, Awaitable, Callable
from typing import Protocol, TypeVar

import msgspec
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import JSONResponse, Response, StreamingResponse
from starlette.routing import Route

from ..messages import (
    EventDoc,
    MoveRequest,
    NoteRequest,
    ShadeRequest,
    StartRequest,
    StatusDoc,
    Taken,
    TargetRequest,
    When,
)
from ..model import Refusal
from .live import Lists
from .pages import page_routes

MAX_BODY = 64 * 1024

T = TypeVar("T")


class Service(Protocol):
    """What the API asks of the daemon. Each may raise `Refusal`."""

    home_id: str

    @property
    def showing(self) -> Lists:
        """What pages choose from."""

    def status(self) -> StatusDoc:
        """Now."""

    async def start(self, request: StartRequest) -> Taken:
        """Begin an exposure."""

    async def act(self, exposure: int, act: str, when: When) -> Taken:
        """hold, resume, finish, again or undo."""

    async def move(self, exposure: int, request: MoveRequest) -> Taken:
        """When an act really happened."""

    async def shade(self, exposure: int, request: ShadeRequest) -> Taken:
        """A stretch in which the sensor did not see the print's light."""

    async def quiet(self, exposure: int | None) -> Taken:
        """Silence the present calls."""

    async def set_target(self, request: TargetRequest) -> dict[str, object]:
        """A target, as a new version."""

    async def note(self, request: NoteRequest) -> dict[str, object]:
        """Something the person says that is no act."""

    def follow(self, after: int) -> AsyncIterator[EventDoc]:
        """Events with an id above `after`, and those to come."""

    def coming(self) -> AsyncIterator[EventDoc]:
        """Events from now on, until the daemon ends."""


def make_app(service: Service, token: str) -> Starlette:
    """The ASGI application of one daemon."""

    def guarded(handler: Callable[[Request], Awaitable[Response]]) -> Callable[[Request], Awaitable[Response]]:
        async def run(request: Request) -> Response:
            given = request.headers.get("authorization", "").removeprefix("Bearer ")
            if not hmac.compare_digest(given.encode("utf-8", "replace"), token.encode()):
                return _refused("this needs the token of the daemon's home", 401)
            try:
                return await handler(request)
            except Refusal as err:
                return _refused(err.line, 400 if err.code == 2 else 409, err.code)

        return run

    async def hello(_: Request) -> Response:
        return JSONResponse({"home": service.home_id})

    async def status(_: Request) -> Response:
        return _json(service.status())

    async def start(request: Request) -> Response:
        return _json(await service.start(await _body(request, StartRequest)))

    async def act(request: Request) -> Response:
        when = await _body(request, When)
        return _json(await service.act(_number(request), request.path_params["act"], when))

    async def move(request: Request) -> Response:
        return _json(await service.move(_number(request), await _body(request, MoveRequest)))

    async def shade(request: Request) -> Response:
        return _json(await service.shade(_number(request), await _body(request, ShadeRequest)))

    async def quiet(request: Request) -> Response:
        return _json(await service.quiet(_number(request) if "id" in request.path_params else None))

    async def target(request: Request) -> Response:
        return _json(await service.set_target(await _body(request, TargetRequest)))

    async def note(request: Request) -> Response:
        return _json(await service.note(await _body(request, NoteRequest)))

    async def events(request: Request) -> Response:
        after = request.query_params.get("after", "0")
        if not (after.isascii() and after.isdigit() and len(after) < 18):
            raise Refusal("after: give the id of an event, a whole number", 2)

        async def lines() -> AsyncIterator[bytes]:
            async for event in service.follow(int(after)):
                yield msgspec.json.encode(event) + b"\n"

        return StreamingResponse(lines(), media_type="application/x-ndjson")

    async def missing(_: Request, exc: Exception) -> Response:
        return _refused("no such address in this API", getattr(exc, "status_code", 404))

    async def broken(_: Request, __: Exception) -> Response:
        return _refused("the daemon failed at this request; its own log says why", 500)

    prefix = "/api/v1"
    routes = [
        Route(f"{prefix}/hello", guarded(hello), methods=["GET"]),
        Route(f"{prefix}/status", guarded(status), methods=["GET"]),
        Route(f"{prefix}/exposures", guarded(start), methods=["POST"]),
        Route(f"{prefix}/exposures/{{id}}/quiet", guarded(quiet), methods=["POST"]),
        Route(f"{prefix}/exposures/{{id}}/move", guarded(move), methods=["POST"]),
        Route(f"{prefix}/exposures/{{id}}/shade", guarded(shade), methods=["POST"]),
        Route(f"{prefix}/exposures/{{id}}/{{act}}", guarded(act), methods=["POST"]),
        Route(f"{prefix}/quiet", guarded(quiet), methods=["POST"]),
        Route(f"{prefix}/targets", guarded(target), methods=["POST"]),
        Route(f"{prefix}/notes", guarded(note), methods=["POST"]),
        Route(f"{prefix}/events", guarded(events), methods=["GET"]),
    ]
    _page_routes = page_routes(service, guarded)
    return Starlette(routes=[*routes, *_page_routes], exception_handlers={404: missing, 405: missing, 500: broken})


def _number(request: Request) -> int:
    text = request.path_params["id"]
    if not (text.isascii() and text.isdigit() and len(text) <= 10):
        raise Refusal("exposure: give its number, such as 12", 2)
    return int(text)


async def _body(request: Request, kind: type[T]) -> T:
    data = bytearray()
    async for part in request.stream():
        data += part
        if len(data) > MAX_BODY:
            raise Refusal(f"the request is larger than {MAX_BODY} bytes", 2)
    try:
        return msgspec.json.decode(bytes(data) or b"{}", type=kind)
    except (msgspec.MsgspecError, UnicodeDecodeError) as err:
        raise Refusal(f"the request is not what this address takes: {err}", 2) from None


def _json(value: object) -> Response:
    return Response(msgspec.json.encode(value), media_type="application/json")


def _refused(line: str, status: int, code: int = 4) -> Response:
    return JSONResponse({"refused": line, "code": code}, status_code=status)
