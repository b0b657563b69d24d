"""What is asked and told when phones are paired: documents of the API, as those in `messages`."""

from __future__ import annotations

import msgspec

from .phones import Role


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
