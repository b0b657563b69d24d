"""The gate before every handler: whatever is not plainly meant for this daemon gets one line and goes no further.

Host against a name that was made to point here, Origin and content type against pages of others that would act, bounds
on sizes, time and pace, headers that let the page load nothing but its own. It holds for every address, also for those
that are yet to be written.
"""

from __future__ import annotations

import asyncio
import json
from collections.abc import Callable, Iterable
from typing import Any

from starlette.types import ASGIApp, Message, Receive, Scope, Send

from .access import Access, Visitor
from .answers import MAX_BODY
from .rates import Rates

MAX_PATH = 2048
MOST_HEAD = 16 * 1024
BODY_S = 10.0
# A page is 25 requests and six connections. There may be some phones behind one address, and fifty of a class in all.
NETWORK_RATE = (400.0, 40.0)  # of requests from one address: at once, and each second
INSIDE_RATE = (2000.0, 400.0)  # of those of this machine without the home's token

# Nothing from elsewhere, nothing written into the page itself, and the page in no frame.
POLICY = (
    "default-src 'self'; script-src 'self'; style-src 'self'; object-src 'none'; base-uri 'none';"
    " form-action 'self'; frame-ancestors 'none'"
)
HEADERS = {
    b"content-security-policy": POLICY.encode(),
    b"x-content-type-options": b"nosniff",
    b"x-frame-options": b"DENY",
    b"referrer-policy": b"no-referrer",
    b"cross-origin-opener-policy": b"same-origin",
    b"cross-origin-resource-policy": b"same-origin",
    b"permissions-policy": b"camera=(), microphone=(), geolocation=()",
    b"cache-control": b"no-store",
}


class _Over(Exception):
    """A stream was ended, since its phone is paired no more."""


class _Refused(Exception):
    def __init__(self, status: int, line: str, wait_s: int | None = None) -> None:
        self.status = status
        self.line = line
        self.wait_s = wait_s


class Gate:
    """ASGI around the app. serves: whether a Host is one of ours; its second argument says by which door it came."""

    def __init__(self, app: ASGIApp, access: Access, serves: Callable[[str, bool], bool]) -> None:
        self._app = app
        self._access = access
        self._serves = serves
        self._network = Rates(*NETWORK_RATE)
        self._inside = Rates(*INSIDE_RATE)
        self.network_port: int | None = None
        """The port of the socket that the network reaches; None while there is none."""

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            return
        dressed = _dressed(send)
        try:
            visitor, receive = await self._let_in(scope, receive)
        except _Refused as no:
            await _say_no(dressed, no)
            return
        try:
            await self._app(scope, receive, self._while_paired(dressed, visitor))
        except _Over:
            return
        except BaseExceptionGroup as several:
            if several.subgroup(lambda e: not isinstance(e, _Over)) is not None:
                raise

    async def _let_in(self, scope: Scope, receive: Receive) -> tuple[Visitor, Receive]:
        headers = _Headers(scope["headers"])
        address = scope["client"][0] if scope.get("client") else ""
        inside = self.network_port is None or (scope.get("server") or ("", 0))[1] != self.network_port
        authorization = headers.one("authorization")
        home = self._access.is_home(authorization, inside)
        if not home and not (self._inside if inside else self._network).take(address):
            raise _Refused(429, "too many requests at once: wait a moment", 1)
        if len(scope.get("raw_path") or b"") + len(scope["query_string"]) > MAX_PATH:
            raise _Refused(414, f"the address is longer than {MAX_PATH} bytes")
        if headers.size > MOST_HEAD:
            raise _Refused(431, f"the request's head is longer than {MOST_HEAD} bytes")
        host = headers.one("host")
        if not self._serves(host, inside):
            raise _Refused(421, "this daemon does not answer to that name: use an address that it printed")
        if scope["method"] not in ("GET", "HEAD", "POST"):
            raise _Refused(405, "no address takes this method")
        if not home and self._access.wrong.empty(address) and (authorization or _guesses(scope, headers)):
            wait_s = self._access.wrong.wait_s(address)
            raise _Refused(429, f"too many wrong tokens or codes: wait {wait_s} s", wait_s)
        visitor = self._access.visitor(authorization, headers.one("cookie"), inside)
        state = scope.setdefault("state", {})
        state.update(role=visitor.role, phone=visitor.phone, inside=inside, address=address)
        if visitor.wrong:
            state["told_wrong"] = lambda: self._access.wrong.take(address)
        if scope["method"] == "POST":
            _check_source(headers, scope["scheme"], host)
            receive = await _whole(receive, headers.one("content-length"))
        return visitor, receive

    def _while_paired(self, send: Send, visitor: Visitor) -> Send:
        """Streams to a phone end when it is revoked, though they were let in before."""
        if visitor.phone is None:
            return send
        number = visitor.phone

        async def checked(message: Message) -> None:
            if message.get("more_body") and not self._access.phones.holds(number):
                await send({"type": "http.response.body", "body": b"", "more_body": False})
                raise _Over
            await send(message)

        return checked


class _Headers:
    """A request's headers; one that comes twice where it must come once is as good as none."""

    def __init__(self, raw: Iterable[tuple[bytes, bytes]]) -> None:
        self._raw = list(raw)

    @property
    def size(self) -> int:
        """Bytes of names and values."""
        return sum(len(key) + len(value) for key, value in self._raw)

    def one(self, name: str) -> str:
        """A header's text, empty when it is not there."""
        found = [value for key, value in self._raw if key == name.encode()]
        return found[0].decode("latin-1").strip() if len(found) == 1 else ""

    def has(self, name: str) -> bool:
        """Whether it is there at all."""
        return any(key == name.encode() for key, _ in self._raw)


def _guesses(scope: Scope, headers: _Headers) -> bool:
    """Whether a token or a code is shown. A page without either may be read though its phone guessed wrong before."""
    return scope["path"] == "/api/v1/pair" or (headers.has("cookie") and scope["path"].startswith("/api/"))


def _check_source(headers: _Headers, scheme: str, host: str) -> None:
    """An act must come from our own page, or from no page at all. Raises `_Refused`."""
    if headers.has("origin") and headers.one("origin").lower() != f"{scheme}://{host}".lower():
        raise _Refused(403, "an act must come from this daemon's own page")
    if headers.one("sec-fetch-site") not in ("", "same-origin", "none"):
        raise _Refused(403, "an act must come from this daemon's own page")
    if headers.one("content-type").partition(";")[0].strip().lower() != "application/json":
        raise _Refused(415, "send JSON, with Content-Type: application/json")
    if headers.has("content-encoding"):
        raise _Refused(415, "send the JSON as it is, without a Content-Encoding")


async def _whole(receive: Receive, length: str) -> Receive:
    """The whole body, read within its bounds before anything is done with it. Raises `_Refused`."""
    if length.isdigit() and int(length[:12]) > MAX_BODY:
        raise _Refused(413, f"the request is larger than {MAX_BODY} bytes")
    data = bytearray()
    try:
        async with asyncio.timeout(BODY_S):
            more = True
            while more:
                message = await receive()
                if message["type"] != "http.request":
                    raise _Refused(400, "the request was cut off")
                data += message.get("body", b"")
                more = message.get("more_body", False)
                if len(data) > MAX_BODY:
                    raise _Refused(413, f"the request is larger than {MAX_BODY} bytes")
    except TimeoutError:
        raise _Refused(408, f"the request took longer than {BODY_S:.0f} s to come") from None
    waiting: list[Message] = [{"type": "http.request", "body": bytes(data), "more_body": False}]

    async def again() -> Message:
        return waiting.pop() if waiting else await receive()

    return again


def _dressed(send: Send) -> Send:
    """Every answer with the headers of `HEADERS`; a handler's own Cache-Control stands."""

    async def dressed(message: Message) -> None:
        if message["type"] == "http.response.start":
            own: list[tuple[bytes, bytes]] = list(message.get("headers", []))
            has = {key.lower() for key, _ in own}
            message = {**message, "headers": own + [h for h in HEADERS.items() if h[0] not in has]}
        await send(message)

    return dressed


async def _say_no(send: Send, no: _Refused) -> None:
    data = json.dumps({"refused": no.line, "code": 4}).encode()
    headers: list[tuple[bytes, bytes]] = [
        (b"content-type", b"application/json"), (b"content-length", str(len(data)).encode()),
        (b"connection", b"close"),  # what is left of the request is not waited for
    ]  # fmt: skip
    if no.wait_s is not None:
        headers.append((b"retry-after", str(no.wait_s).encode()))
    start: dict[str, Any] = {"type": "http.response.start", "status": no.status, "headers": headers}
    await send(start)
    await send({"type": "http.response.body", "body": data})
