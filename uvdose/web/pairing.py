"""How a phone becomes a paired one: codes, and what the commands ask of paired phones."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from starlette.requests import Request
from starlette.responses import FileResponse, Response
from starlette.routing import Route

from ..model import Refusal
from .access import COOKIE_S, Access, Handler, Visitor
from .answers import as_json, body, refused
from .codes import VALID_S, WORDS, Codes, Grant
from .pairing_docs import CodeDoc, CodeRequest, MeDoc, PairRequest, PhoneDoc, RevokeRequest
from .phones import Phone, Role

MAX_CODE = 40


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
        """What is no part of the API: the certificate that a phone is to trust, open to anybody."""
        return [Route("/ca.crt", self._certificate, methods=["GET"])]

    def handlers(self) -> dict[str, Handler]:
        """The handlers of this part, by the names in the table of addresses."""
        return {
            "pair": self._pair, "me": self._me, "phones": self._list, "phone_code": self._code,
            "phone_revoke": self._revoke,
        }

    def invite(self, role: Role, name: str = "") -> CodeDoc:
        """A new code, with its addresses."""
        code = self.codes.make(role, name)
        return CodeDoc(code, role, int(VALID_S), [f"{url}/pair#{code}" for url in self._urls()], self._lan)

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
