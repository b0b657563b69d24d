"""The page of a day, and its document. Unlike the files of the pages it tells of the bench, to those who may look."""

from __future__ import annotations

import json

from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route

from .access import Handler, guarded
from .gate import POLICY
from .live import Told


def day_data(told: Told) -> dict[str, Handler]:
    """The handler of a day's document, by its name in the table of addresses."""

    async def day(request: Request) -> Response:
        return Response(await told.days.document(request.path_params["date"]), media_type="application/json")

    return {"day": day}


def day_routes(told: Told) -> list[Route]:
    """`/day`, the newest day with prints, and `/day/2026-06-21`."""

    async def made(request: Request) -> Response:
        html, style = await told.days.page(request.path_params.get("date"))
        # Its styles stand in it, as in the file that it also is: these alone are let in, by their hash.
        policy = POLICY.replace("style-src 'self'", f"style-src 'self' '{style}'")
        return Response(html, media_type="text/html", headers={"content-security-policy": policy})

    shown = guarded(made, "view")

    async def page(request: Request) -> Response:
        answer = await shown(request)
        if answer.status_code < 400:
            return answer
        # A person reads it, not a program.
        return PlainTextResponse(json.loads(bytes(answer.body))["refused"], answer.status_code)

    return [Route(path, page, methods=["GET"]) for path in ("/day", "/day/{date}")]
