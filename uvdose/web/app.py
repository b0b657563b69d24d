"""The API that commands and phones use. JSON in and out, under /api/v1, for the home's own token and paired phones."""

from __future__ import annotations

from collections.abc import AsyncIterator
from typing import Protocol

import msgspec
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import Response, StreamingResponse
from starlette.routing import Route

from .. import __version__
from ..asked import CallTestRequest, MoveRequest, NoteRequest, ShadeRequest, StartRequest, TargetRequest, When
from ..messages import CallTestDoc, EventDoc, HelloDoc, NoteTaken, SettingsTaken, Taken, TargetTaken
from ..model import Refusal
from .access import guarded
from .answers import as_json, body, number_of, refused
from .day_pages import day_data, day_routes
from .live import Told
from .openapi import document
from .pages import file_routes, page_data
from .pairing import Pairing
from .routes import ADDRESSES, MAX_EVENT_DIGITS


class Service(Told, Protocol):
    """What the API asks of the daemon. Each may raise `Refusal`."""

    async def start(self, request: StartRequest) -> Taken:
        """Begin an exposure."""

    async def act(self, exposure: int, act: str, when: When) -> Taken:
        """hold, resume, finish, again, card or undo."""

    async def move(self, exposure: int, request: MoveRequest) -> Taken:
        """When an act really happened."""

    async def shade(self, exposure: int, request: ShadeRequest) -> Taken:
        """A stretch in which the sensor did not see the print's light."""

    async def quiet(self, exposure: int | None) -> Taken:
        """Silence the present calls."""

    async def set_target(self, request: TargetRequest) -> TargetTaken:
        """A target, as a new version."""

    async def note(self, request: NoteRequest) -> NoteTaken:
        """Something the person says that is no act."""

    async def reread_settings(self) -> SettingsTaken:
        """The settings read anew."""

    async def call_test(self, request: CallTestRequest) -> CallTestDoc:
        """Try the ways by which calls reach the person."""

    def follow(self, after: int) -> AsyncIterator[EventDoc]:
        """Events with an id above `after`, and those to come."""


def make_app(service: Service, pairing: Pairing) -> Starlette:
    """The ASGI application of one daemon. Who asks is told by the gate around it; without one nobody is let in."""

    async def hello(_: Request) -> Response:
        return as_json(HelloDoc(service.home_id))

    async def status(_: Request) -> Response:
        return as_json(service.status())

    async def start(request: Request) -> Response:
        return as_json(await service.start(await body(request, StartRequest)))

    async def act(request: Request) -> Response:
        when = await body(request, When)
        return as_json(await service.act(number_of(request), request.path_params["act"], when))

    async def move(request: Request) -> Response:
        return as_json(await service.move(number_of(request), await body(request, MoveRequest)))

    async def shade(request: Request) -> Response:
        return as_json(await service.shade(number_of(request), await body(request, ShadeRequest)))

    async def quiet(request: Request) -> Response:
        return as_json(await service.quiet(None))

    async def quiet_one(request: Request) -> Response:
        return as_json(await service.quiet(number_of(request)))

    async def call_test(request: Request) -> Response:
        return as_json(await service.call_test(await body(request, CallTestRequest)))

    async def settings(_: Request) -> Response:
        return as_json(await service.reread_settings())

    async def openapi(_: Request) -> Response:
        return as_json(document(__version__))

    async def target(request: Request) -> Response:
        return as_json(await service.set_target(await body(request, TargetRequest)))

    async def note(request: Request) -> Response:
        return as_json(await service.note(await body(request, NoteRequest)))

    async def events(request: Request) -> Response:
        after = request.query_params.get("after", "0")
        if not (after.isascii() and after.isdigit() and len(after) <= MAX_EVENT_DIGITS):
            raise Refusal("after: give the id of an event, a whole number", 2)

        async def lines() -> AsyncIterator[bytes]:
            async for event in service.follow(int(after)):
                yield msgspec.json.encode(event) + b"\n"

        return StreamingResponse(lines(), media_type="application/x-ndjson")

    async def missing(_: Request, exc: Exception) -> Response:
        answer = refused("no such address in this API", getattr(exc, "status_code", 404))
        answer.headers.update(getattr(exc, "headers", None) or {})  # which methods there are
        return answer

    async def broken(_: Request, __: Exception) -> Response:
        return refused("the daemon failed at this request; its own log says why", 500)

    handlers = {
        "hello": hello, "openapi": openapi, "status": status, "events": events, "start": start, "quiet_one": quiet_one,
        "move": move, "shade": shade, "act": act, "quiet": quiet, "target": target, "note": note,
        "settings": settings, "call_test": call_test, **page_data(service), **day_data(service),
        **pairing.handlers(),
    }
    routes = [Route(a.full_path, guarded(handlers[a.name], a.needs), methods=[a.method]) for a in ADDRESSES]
    for route, address in zip(routes, ADDRESSES, strict=True):
        if address.stream and route.methods is not None:
            route.methods.discard("HEAD")  # its answer would never end, and the connection would wait for ever
    open_routes = [*pairing.routes(), *file_routes(), *day_routes(service)]
    return Starlette(routes=routes + open_routes, exception_handlers={404: missing, 405: missing, 500: broken})
