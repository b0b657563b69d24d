"""Who asks, and what they may: the commands by the home's token, a paired phone by its cookie, or nobody."""

from __future__ import annotations

import hmac
from collections.abc import Awaitable, Callable
from typing import NamedTuple

from starlette.requests import Request
from starlette.responses import Response

from ..model import Refusal
from .answers import refused
from .phones import Phones
from .rates import Rates
from .routes import Needs

COOKIE = "uvdose_phone"
COOKIE_S = 400 * 86_400  # the longest that browsers keep one
WRONG_BURST, WRONG_PER_S = 5, 0.5

Handler = Callable[[Request], Awaitable[Response]]

_RANK = {None: 0, "view": 1, "act": 2, "home": 3}


class Visitor(NamedTuple):
    """Who asks. role: home, act, view or None. phone: its id. wrong: a token came with it that is no good."""

    role: str | None
    phone: int | None = None
    wrong: bool = False


class Access:
    """Decides for each request. token: the home's, which is taken from this machine alone."""

    def __init__(self, token: str, phones: Phones) -> None:
        self._token = token.encode()
        self.phones = phones
        self.cookie = COOKIE
        """The cookie that phones are given. Cookies know no ports: each daemon of a host needs a name of its own."""
        self.wrong = Rates(WRONG_BURST, WRONG_PER_S)
        """How many wrong tokens and codes an address may show."""

    def is_home(self, authorization: str, inside: bool) -> bool:
        """Whether the home's own token came, over the socket of this machine."""
        given = authorization.removeprefix("Bearer ").encode("utf-8", "replace")
        return hmac.compare_digest(given, self._token) and inside

    def visitor(self, authorization: str, cookie: str, inside: bool) -> Visitor:
        """Who asks, by the two headers."""
        if authorization:
            home = self.is_home(authorization, inside)
            return Visitor("home" if home else None, wrong=not home)
        shown = _shown(cookie)
        token = shown.get(self.cookie) or shown.get(COOKIE)
        if not token:
            return Visitor(None)
        phone = self.phones.of_token(token)
        if phone is None:
            return Visitor(None, wrong=True)
        self.phones.seen(phone.id)
        return Visitor(phone.role, phone.id)


def _shown(header: str) -> dict[str, str]:
    """The cookies of a header. Those of other programs on this host come, too, and need follow no rule."""
    pairs = (part.partition("=") for part in header.split(";"))
    return {name.strip(): value.strip() for name, _, value in pairs}


def guarded(handler: Handler, needs: Needs = "view") -> Handler:
    """A handler for those who may: `view` to look, `act` to act, `home` for this home's commands; `open`: for anybody.

    What it refuses comes back as one line. Without the gate before it there is no role, and nobody is let in.
    """

    async def run(request: Request) -> Response:
        if needs == "open":
            return await answered(handler, request)
        role = getattr(request.state, "role", None)
        if role is None:
            gate = getattr(request.state, "told_wrong", None)
            if gate is not None:
                gate()
            return refused("this needs a paired phone, or the token of the daemon's home: `uvdose phone pair`", 401)
        if _RANK[role] < _RANK[needs]:
            line = "this phone may look, not act: `uvdose phone pair` makes a code for one that may"
            return refused(line if needs == "act" else "only a command of the daemon's own home may do this", 403)
        return await answered(handler, request)

    return run


async def answered(handler: Handler, request: Request) -> Response:
    """What a handler answers, its refusals as one line."""
    try:
        return await handler(request)
    except Refusal as err:
        return refused(err.line, 400 if err.code == 2 else 409, err.code)
