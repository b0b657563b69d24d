"""One writer per home: its lock, and the runtime file by which commands find the daemon."""

from __future__ import annotations

import contextlib
import fcntl
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import msgspec

from .config import Home
from .model import Refusal


class Runtime(msgspec.Struct, frozen=True):
    """Where a home's daemon answers, and the token that it asks for."""

    url: str
    home: str
    token: str
    pid: int


@contextmanager
def lock(home: Home, who: str) -> Iterator[None]:
    """Hold a home's lock. Raises `Refusal` when the home cannot be written or another holds it."""
    try:
        home.folder.mkdir(parents=True, exist_ok=True)
        handle = open(home.lock_file, "ab+", buffering=0)  # noqa: SIM115 - held open as long as the lock
    except OSError as err:
        raise Refusal(f"home {home.folder} cannot be written ({err.strerror}): choose another with --home") from None
    with handle:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            handle.seek(0)
            holder = handle.read(200).decode("utf-8", "replace").strip() or "another uvdose"
            raise Refusal(f"home {home.folder} is in use by {holder}: one writer at a time") from None
        with contextlib.suppress(OSError):  # who holds it is told for comfort; a full disk does not matter here
            handle.truncate(0)
            handle.write(f"{who} (process {os.getpid()})".encode())
        yield


def write_runtime(home: Home, runtime: Runtime) -> None:
    """Leave the runtime file, readable by this user only, whole or not at all. Raises `Refusal`."""
    path = home.runtime_file
    fresh = path.with_suffix(".new")
    try:
        fresh.unlink(missing_ok=True)
        descriptor = os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(descriptor, "wb") as handle:
            handle.write(msgspec.json.encode(runtime))
        fresh.replace(path)
    except OSError as err:
        raise Refusal(f"home {home.folder} cannot be written ({err.strerror}): make room there, or mend it") from None


def remove_runtime(home: Home) -> None:
    """Take the runtime file away."""
    Path(home.runtime_file).unlink(missing_ok=True)


def read_runtime(home: Home) -> Runtime | None:
    """The runtime file of a home; None when there is none, or it cannot be read."""
    try:
        return msgspec.json.decode(home.runtime_file.read_bytes(), type=Runtime)
    except (OSError, msgspec.MsgspecError):
        return None
