"""One writer per home: its lock, the runtime file by which commands find the daemon, and other small files."""

from __future__ import annotations

import contextlib
import fcntl
import os
import stat
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import msgspec

from .config import Home
from .model import Refusal

RUNTIME_BYTES = 4096
TAKEN_NAME, TAKEN_BYTES = "commands.json", 256 * 1024


class Runtime(msgspec.Struct, frozen=True):
    """Where a home's daemon answers, and the token that it asks for."""

    url: str
    home: str
    token: str
    pid: int


@contextmanager
def lock(home: Home, who: str) -> Iterator[None]:
    """Hold a home's lock. Raises `Refusal` when the home cannot be written or another holds it.

    Both the folder and the file in it are locked: a file can be removed under its holder, and a second writer would
    then lock another one of the same name.
    """
    try:
        home.folder.mkdir(parents=True, exist_ok=True)
        folder = os.open(home.folder, os.O_RDONLY | os.O_DIRECTORY)
    except OSError as err:
        raise Refusal(f"home {home.folder} cannot be written ({err.strerror}): choose another with --home") from None
    try:
        try:
            fcntl.flock(folder, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            raise _in_use(home) from None
        except OSError:
            pass  # a file system that locks no folders has the lock file alone
        with _lock_file(home, who):
            yield
    finally:
        os.close(folder)


def lock_identity(home: Home) -> tuple[int, int] | None:
    """Device and number of the lock file; None when there is none."""
    try:
        found = os.stat(home.lock_file)
    except OSError:
        return None
    return found.st_dev, found.st_ino


def _in_use(home: Home) -> Refusal:
    try:
        holder = _head(home.lock_file, 200).decode("utf-8", "replace").strip()
    except OSError:
        holder = ""
    return Refusal(f"home {home.folder} is in use by {holder or 'another uvdose'}: one writer at a time")


@contextmanager
def _lock_file(home: Home, who: str) -> Iterator[None]:
    try:
        handle = open(home.lock_file, "ab+", buffering=0)  # noqa: SIM115 - held open as long as the lock
    except OSError as err:
        raise Refusal(f"home {home.folder} cannot be written ({err.strerror}): choose another with --home") from None
    with handle:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            raise _in_use(home) from None
        with contextlib.suppress(OSError):  # who holds it is told for comfort; a full disk does not matter here
            handle.truncate(0)
            handle.write(f"{who} (process {os.getpid()})".encode())
        yield


def write_runtime(home: Home, runtime: Runtime) -> None:
    """Leave the runtime file, readable by this user only, whole or not at all. Raises `Refusal`."""
    try:
        write_private(home.runtime_file, msgspec.json.encode(runtime))
    except OSError as err:
        raise Refusal(f"home {home.folder} cannot be written ({err.strerror}): make room there, or mend it") from None


def write_private(path: Path, data: bytes) -> None:
    """A file that is readable by this user only, whole or not at all. Raises OSError."""
    fresh = path.with_suffix(".new")
    fresh.unlink(missing_ok=True)
    descriptor = os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(descriptor, "wb") as handle:
        handle.write(data)
    fresh.replace(path)


def read_private(path: Path, most: int) -> bytes:
    """What such a file holds, at most so many bytes; nothing of what is no ordinary file. Raises OSError."""
    return _head(path, most)


def remove_runtime(home: Home, token: str) -> None:
    """Take the runtime file away, if it is the one with this token."""
    runtime = read_runtime(home)
    if runtime is not None and runtime.token == token:
        with contextlib.suppress(OSError):
            home.runtime_file.unlink(missing_ok=True)


def read_taken(home: Home) -> list[str]:
    """Ids of the newest commands over MQTT that were taken; none when they cannot be read."""
    try:
        return msgspec.json.decode(_head(home.folder / TAKEN_NAME, TAKEN_BYTES), type=list[str])
    except (OSError, msgspec.MsgspecError, UnicodeDecodeError):
        return []


def keep_taken(home: Home, ids: list[str]) -> None:
    """Write these ids down. A disk that fails holds no act up: they are in memory as well."""
    with contextlib.suppress(OSError):
        write_private(home.folder / TAKEN_NAME, msgspec.json.encode(ids))


def read_runtime(home: Home) -> Runtime | None:
    """The runtime file of a home; None when there is none, or it cannot be read."""
    try:
        return msgspec.json.decode(_head(home.runtime_file, RUNTIME_BYTES), type=Runtime)
    except (OSError, msgspec.MsgspecError):
        return None


def _head(path: Path, size: int) -> bytes:
    """The beginning of a file; nothing of what is no ordinary one, which may give bytes for ever, or none."""
    with open(path, "rb", opener=lambda p, flags: os.open(p, flags | os.O_NONBLOCK)) as handle:
        return handle.read(size) if stat.S_ISREG(os.fstat(handle.fileno()).st_mode) else b""
