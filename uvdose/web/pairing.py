"""How a phone becomes a paired one: codes, the page `/pair`, and what the commands ask of paired phones."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import msgspec
from starlette.requests import Request
from starlette.responses import FileResponse, Response
from starlette.routing import Route

from ..model import Refusal
from .access import COOKIE_S, Access, Visitor, answered, guarded
from .answers import as_json, body, refused
from .codes import VALID_S, WORDS, Codes, Grant
from .phones import Phone, Role

STATIC = Path(__file__).parent / "static"
MAX_CODE = 40


class PairRequest(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A phone shows a code. name: what it is to be called."""

    code: str
    name: str = ""


class CodeRequest(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A new code is asked for. view: for phones that may look, not act. name: of the phone to come."""

    view: bool = False
    name: str = ""


class RevokeRequest(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Take out the phone of an id or a name; None: all of them."""

    which: str | None = None


class CodeDoc(msgspec.Struct, frozen=True):
    """A new code, and the addresses that hold it. lan: whether the network reaches them."""

    code: str
    role: Role
    valid_s: int
    urls: list[str]
    lan: bool


class PhoneDoc(msgspec.Struct, frozen=True):
    """One paired phone, without anything secret."""

    id: int
    name: str
    role: Role
    paired_utc: str
    seen_utc: str | None


class MeDoc(msgspec.Struct, frozen=True):
    """Who asks: role home, act or view; the phone's name, empty for a command."""

    role: str
    name: str = ""


def phone_doc(phone: Phone) -> PhoneDoc:
    """What may be told of a phone."""
    return PhoneDoc(phone.id, phone.name, phone.role, phone.paired_utc, phone.seen_utc)


class Pairing:
    """urls: the addresses now, without a code. lan: they lead into the network. ca: the file of a CA to be trusted."""

    def __init__(self, access: Access, urls: Callable[[], list[str]], lan: bool, ca: Path | None = None) -> None:
        self.codes = Codes()
        self._access = access
        self._urls = urls
        self._lan = lan
        self._ca = ca

    def routes(self) -> list[Route]:
        """The addresses of this part. Those without `guarded` are open to anybody, and tell nothing of the bench."""
        api = "/api/v1"
        return [
            Route("/pair", self._page, methods=["GET"]),
            Route("/ca.crt", self._certificate, methods=["GET"]),
            Route(f"{api}/pair", self._pair, methods=["POST"]),
            Route(f"{api}/me", guarded(self._me), methods=["GET"]),
            Route(f"{api}/phones", guarded(self._list, "home"), methods=["GET"]),
            Route(f"{api}/phones/code", guarded(self._code, "home"), methods=["POST"]),
            Route(f"{api}/phones/revoke", guarded(self._revoke, "home"), methods=["POST"]),
        ]

    def invite(self, role: Role, name: str = "") -> CodeDoc:
        """A new code, with its addresses."""
        code = self.codes.make(role, name)
        return CodeDoc(code, role, int(VALID_S), [f"{url}/pair#{code}" for url in self._urls()], self._lan)

    async def _page(self, _: Request) -> Response:
        return FileResponse(STATIC / "pair.html", media_type="text/html", headers={"cache-control": "no-store"})

    async def _certificate(self, _: Request) -> Response:
        if self._ca is None or not self._ca.is_file():
            return refused("there is no certificate to trust here: `uvdose phone ca` makes one", 404)
        return FileResponse(self._ca, media_type="application/x-x509-ca-cert", filename="uvdose-ca.crt")

    async def _me(self, request: Request) -> Response:
        names = [p.name for p in self._access.phones.all() if p.id == request.state.phone]
        return as_json(MeDoc(request.state.role, names[0] if names else ""))

    async def _list(self, _: Request) -> Response:
        phones = self._access.phones.all()
        if self._access.phones.fault:
            raise Refusal(self._access.phones.fault)
        return as_json([phone_doc(p) for p in phones])

    async def _code(self, request: Request) -> Response:
        asked = await body(request, CodeRequest)
        return as_json(self.invite("view" if asked.view else "act", asked.name))

    async def _revoke(self, request: Request) -> Response:
        asked = await body(request, RevokeRequest)
        return as_json([phone_doc(p) for p in self._access.phones.revoke(asked.which)])

    async def _pair(self, request: Request) -> Response:
        return await answered(self._take, request)

    async def _take(self, request: Request) -> Response:
        asked = await body(request, PairRequest)
        given = self.codes.look(asked.code) if len(asked.code) <= MAX_CODE else "unknown"
        if not isinstance(given, Grant):
            if given == "unknown":
                self._access.wrong.take(request.state.address)
            return as_json({"refused": WORDS[given], "code": 4, "why": given}, 410 if given != "unknown" else 403)
        visitor = Visitor(request.state.role, request.state.phone)
        if visitor.phone is not None and (visitor.role == "act" or given.role == "view"):
            # Scanned again: what it may do already is no less, and the code stays for another.
            return await self._me(request)
        phone, token = self._access.phones.add(given.name or asked.name, given.role)
        self.codes.spend(asked.code)
        if visitor.phone is not None:
            self._access.phones.revoke(str(visitor.phone))  # the same phone, which may act from now on
        answer = as_json(MeDoc(phone.role, phone.name))
        answer.set_cookie(
            self._access.cookie, token, max_age=COOKIE_S, path="/", httponly=True, samesite="strict",
            secure=request.url.scheme == "https",
        )  # fmt: skip
        return answer
