"""The paired phones of a home, in its file `phones.json`: names, roles and times, and of each token the SHA-256 alone.

The file is looked at before each use, so that a phone that is taken out of it, by whomever, is out at once.
"""

from __future__ import annotations

import hashlib
import hmac
import os
import secrets
from pathlib import Path
from typing import Literal

import msgspec

from ..clock import host_wall_us, real_s
from ..home import read_private, write_private
from ..model import Refusal
from ..stamps import from_iso, iso_utc

Role = Literal["act", "view"]

MOST_PHONES = 200
MAX_NAME = 40
MAX_FILE = 256 * 1024
MOST_ID = 10**15
SEEN_EVERY_S = 60.0


class Phone(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """One paired phone. seen_utc: its last request; None while there was none."""

    id: int
    name: str
    role: Role
    token_sha256: str
    paired_utc: str
    seen_utc: str | None = None


class _File(msgspec.Struct, forbid_unknown_fields=True):
    """next_id: no number is given twice, so that a list on paper stays true."""

    phones: list[Phone] = []
    next_id: int = 1


def digest_of(secret: str) -> str:
    """The SHA-256 of a token or code, in hexadecimal. They are random and long enough to need no slower one."""
    return hashlib.sha256(secret.encode("utf-8", "replace")).hexdigest()


def _checked(file: _File) -> _File:
    """A file as it can be used, since hands may have been in it. Raises ValueError."""
    numbers = [p.id for p in file.phones]
    if len(set(numbers)) < len(numbers) or not all(0 < number < MOST_ID for number in [*numbers, file.next_id]):
        raise ValueError("an id is no number of one phone")
    for phone in file.phones:
        for utc in (phone.paired_utc, phone.seen_utc):
            if utc is not None:
                from_iso(utc)
    return _File([msgspec.structs.replace(p, name=clean_name(p.name) or "phone") for p in file.phones], file.next_id)


def clean_name(name: str) -> str:
    """A name that fits a line and is no number, since numbers are ids; empty when nothing of it is left."""
    kept = " ".join("".join(c if c.isprintable() else " " for c in name).split())[:MAX_NAME].strip()
    return f"phone {kept}" if kept.isdigit() else kept


class Phones:
    """The store. One process writes it at a time: the daemon, or a command under the home's lock."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._file = _File()
        self._known: tuple[int, int, int] | None = None
        self._most_id = 0
        self._seen: dict[int, str] = {}
        self._seen_s = real_s()
        self.fault = ""
        """Why the file cannot be read; then no phone is let in, and nothing is written over it."""

    def all(self) -> list[Phone]:
        """Every paired phone, with the newest time it was seen."""
        self._look()
        return [
            msgspec.structs.replace(p, seen_utc=self._seen[p.id]) if p.id in self._seen else p
            for p in self._file.phones
        ]

    def of_token(self, token: str) -> Phone | None:
        """The phone that holds a token. Every one is compared, each in constant time."""
        self._look()
        digest = digest_of(token)
        found = None
        for phone in self._file.phones:
            if hmac.compare_digest(phone.token_sha256.encode(), digest.encode()):
                found = phone
        return found

    def holds(self, number: int) -> bool:
        """Whether a phone is still paired."""
        self._look()
        return any(p.id == number for p in self._file.phones)

    def add(self, name: str, role: Role) -> tuple[Phone, str]:
        """Pair a phone: it, and its token, which is kept nowhere. Raises `Refusal`."""
        self._look()
        self._refuse_fault()
        if len(self._file.phones) >= MOST_PHONES:
            raise Refusal(f"{MOST_PHONES} phones are paired: take some out with `uvdose phone revoke`")
        token = secrets.token_urlsafe(32)
        phone = Phone(
            max(self._file.next_id, self._most_id + 1), self._own_name(clean_name(name) or "phone"), role,
            digest_of(token), iso_utc(host_wall_us()),
        )  # fmt: skip
        self._write(_File([*self._file.phones, phone], phone.id + 1))
        return phone, token

    def revoke(self, which: str | None) -> list[Phone]:
        """Take out the phone of an id or name, or all (None). Raises `Refusal` when there is none such."""
        self._look()
        self._refuse_fault()
        phones = self._file.phones
        gone = [p for p in phones if which is None or which == str(p.id) or which == p.name]
        if not gone and which is not None:
            raise Refusal(f"no phone {which!r} is paired: `uvdose phone list` shows them")
        if not gone:
            return []
        self._write(_File([p for p in phones if p not in gone], self._file.next_id))
        return gone

    def seen(self, number: int) -> None:
        """Note that a phone asked now. Written down once a minute at most; a disk that fails does not matter here."""
        self._seen[number] = iso_utc(host_wall_us())
        if real_s() - self._seen_s >= SEEN_EVERY_S:
            self.keep_seen()

    def keep_seen(self) -> None:
        """Write down when phones were seen last."""
        self._seen_s = real_s()
        self._look()
        phones = self.all()
        if self.fault or phones == self._file.phones:
            return
        try:
            self._write(_File(phones, self._file.next_id))
        except Refusal:
            return

    def _own_name(self, name: str) -> str:
        taken = {p.name for p in self._file.phones}
        number, own = 2, name
        while own in taken:
            own = f"{name[: MAX_NAME - 4]} {number}"
            number += 1
        return own

    def _look(self) -> None:
        try:
            found = os.stat(self._path)
            state = (found.st_ino, found.st_mtime_ns, found.st_size)
        except FileNotFoundError:
            self._file, self._known, self.fault = _File(), None, ""
            return
        except OSError as err:
            self._unread(err.strerror or str(err))
            return
        if state == self._known and not self.fault:
            return
        try:
            self._file = _checked(msgspec.json.decode(read_private(self._path, MAX_FILE), type=_File))
        except OSError as err:
            self._unread(err.strerror or str(err))
        except (msgspec.MsgspecError, ValueError, OverflowError):
            self._unread("it is damaged")
        else:
            self._known, self.fault = state, ""
            # Also of a file that was taken away: a stream that is still open goes by the number of its phone.
            self._most_id = max(self._most_id, self._file.next_id - 1, *(p.id for p in self._file.phones), 0)

    def _unread(self, why: str) -> None:
        self._file, self._known = _File(), None
        self.fault = f"{self._path} cannot be read ({why}): no phone is let in; move it away and pair them anew"

    def _refuse_fault(self) -> None:
        if self.fault:
            raise Refusal(self.fault)

    def _write(self, file: _File) -> None:
        try:
            write_private(self._path, msgspec.json.format(msgspec.json.encode(file), indent=1))
        except OSError as err:
            raise Refusal(f"{self._path} cannot be written ({err.strerror}): make room there, or mend it") from None
        self._look()
