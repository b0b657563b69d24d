"""Documents in and out of the API: bodies read as what an address takes, answers as JSON, refusals as one line."""

from __future__ import annotations

from typing import TypeVar

import msgspec
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from ..model import Refusal
from .routes import MAX_ID_DIGITS

MAX_BODY = 64 * 1024

T = TypeVar("T")


async def body(request: Request, kind: type[T]) -> T:
    """The request's body as a document. Raises `Refusal` (code 2)."""
    data = bytearray()
    async for part in request.stream():
        data += part
        if len(data) > MAX_BODY:
            raise Refusal(f"the request is larger than {MAX_BODY} bytes", 2)
    try:
        return msgspec.json.decode(bytes(data) or b"{}", type=kind)
    except (msgspec.MsgspecError, UnicodeDecodeError, RecursionError) as err:
        raise Refusal(f"the request is not what this address takes: {err}", 2) from None


def number_of(request: Request) -> int:
    """The exposure's number in the path. Raises `Refusal` (code 2)."""
    text = request.path_params["id"]
    if not (text.isascii() and text.isdigit() and len(text) <= MAX_ID_DIGITS):
        raise Refusal("exposure: give its number, such as 12", 2)
    return int(text)


def as_json(value: object, status: int = 200) -> Response:
    """A document as the answer."""
    return Response(msgspec.json.encode(value), status, media_type="application/json")


def refused(line: str, status: int, code: int = 4) -> Response:
    """A refusal: one line, and the exit code that a command ends with."""
    return JSONResponse({"refused": line, "code": code}, status_code=status)
