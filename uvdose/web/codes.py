"""Codes that pair a phone: short enough to be typed, short-lived, and of one use unless they only let somebody look."""

from __future__ import annotations

import secrets
from collections.abc import Callable
from typing import Literal, NamedTuple

from ..clock import real_s
from .phones import Role, digest_of

VALID_S = 600.0
TOLD_S = 3600.0  # so long a code that is over is told as old or used, rather than as unknown
MOST_CODES = 64
ALPHABET = "23456789ABCDEFGHJKMNPQRSTVWXYZ"  # nothing in it is taken for another
LENGTH = 8  # 39 bits: at one try in two seconds, ten minutes hit one with a chance of 5e-10

Why = Literal["old", "used", "unknown"]

WORDS: dict[Why, str] = {
    "old": "this code is older than ten minutes: `uvdose phone pair` makes a new one",
    "used": "this code has been used: each pairs one phone; `uvdose phone pair` makes a new one",
    "unknown": "no such code: scan it again, or make a new one with `uvdose phone pair`",
}


class Grant(NamedTuple):
    """What a code gives. name: what the phone shall be called; empty: as it says itself."""

    role: Role
    name: str


class _Kept:
    __slots__ = ("grant", "made_s", "used")

    def __init__(self, grant: Grant, made_s: float) -> None:
        self.grant = grant
        self.made_s = made_s
        self.used = False


class Codes:
    """The codes of one daemon, in memory only, as their SHA-256. now_s: monotonic seconds."""

    def __init__(self, now_s: Callable[[], float] = real_s) -> None:
        self._now_s = now_s
        self._kept: dict[str, _Kept] = {}

    def make(self, role: Role, name: str = "") -> str:
        """A new code, as it is written: XXXX-XXXX."""
        self._forget()
        code = "".join(secrets.choice(ALPHABET) for _ in range(LENGTH))
        self._kept[digest_of(code)] = _Kept(Grant(role, name), self._now_s())
        return f"{code[:4]}-{code[4:]}"

    def look(self, code: str) -> Grant | Why:
        """What a code gives, or why it gives nothing. It can still be used."""
        kept = self._kept.get(digest_of("".join(c for c in code.upper() if c.isalnum())))
        if kept is None:
            return "unknown"
        if kept.used:
            return "used"
        return kept.grant if self._now_s() - kept.made_s <= VALID_S else "old"

    def spend(self, code: str) -> None:
        """It has paired a phone. One that only lets somebody look serves a whole class."""
        kept = self._kept.get(digest_of("".join(c for c in code.upper() if c.isalnum())))
        if kept is not None and kept.grant.role != "view":
            kept.used = True

    def _forget(self) -> None:
        now_s = self._now_s()
        for digest, kept in list(self._kept.items()):
            if now_s - kept.made_s > TOLD_S or len(self._kept) >= MOST_CODES:
                del self._kept[digest]
