"""Pictures of prints, in a folder beside the journal: whole under their names, or not there.

A name is the print's number and the SHA-256 of the bytes, so that a picture proves itself, and no text that anybody
typed or sent becomes a path. What is read is an ordinary file, never a link, a pipe or a device.
"""

from __future__ import annotations

import contextlib
import errno
import fcntl
import hashlib
import os
import re
import stat
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Literal, NamedTuple

from ..clock import pause, real_s
from ..model import Refusal
from ..notes import Picture
from .store import Store

MOST_BYTES = 64 << 20
HEAD = 64  # bytes that tell what a picture is
WAIT_S, LOOK_S = 10.0, 0.05
_PIECE = 1 << 20
_NAME = re.compile(r"[1-9]\d{0,9}-(?P<sha256>[0-9a-f]{64})\.(?:jpg|png|webp|heic)")

Kind = Literal["jpg", "png", "webp", "heic"]
State = Literal["whole", "changed", "gone"]

# Brands of HEIF still pictures coded in HEVC (ISO/IEC 23008-12, annex B).
_HEIC = (b"heic", b"heix", b"heim", b"heis")


def picture_kind(head: bytes) -> Kind | None:
    """What a picture is by its first bytes; None for what is none of these.

    JPEG: ITU-T T.81, marker SOI and the next marker's FF. PNG: W3C PNG, 5.2. WebP: RFC 9649, 2.4. HEIC: the brands of
    the `ftyp` box (ISO/IEC 14496-12, 4.3).
    """
    if head.startswith(b"\xff\xd8\xff"):
        return "jpg"
    if head.startswith(b"\x89PNG\r\n\x1a\n"):
        return "png"
    if head[:4] == b"RIFF" and head[8:12] == b"WEBP":
        return "webp"
    if head[4:8] == b"ftyp":
        box = head[: int.from_bytes(head[:4], "big")]
        brands = {box[8:12], *(box[i : i + 4] for i in range(16, len(box) - 3, 4))}
        return "heic" if brands & set(_HEIC) else None
    return None


def keep(folder: Path, number: int, source: Path) -> Picture:
    """Copy a picture of a print into the folder. Raises `Refusal`; then nothing of it is left there.

    Killed on the way it leaves a part under a hidden name at most, which the next picture takes away.
    """
    data = _read(source)
    kind = picture_kind(data[:HEAD])
    if kind is None:
        raise Refusal(f"{source} is no picture that is known here: give a JPEG, PNG, WebP or HEIC file")
    picture = Picture(hashlib.sha256(data).hexdigest(), kind, len(data))
    name = picture.name(number)
    try:
        with _locked(folder) as handle:
            if _prove_in(handle, name, picture) != "whole":
                _write(handle, name, data)
    except OSError as err:
        raise Refusal(f"{folder} cannot keep a picture: {err.strerror or err}; nothing of it is left there") from None
    return picture


def prove(folder: Path, number: int, picture: Picture) -> State:
    """Whether a picture is there, and is what was kept. Raises `Refusal` for a folder that cannot be read."""
    try:
        handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY | os.O_NOFOLLOW)
    except FileNotFoundError:
        return "gone"
    except OSError as err:
        raise Refusal(f"{folder} cannot be read: {err.strerror}; it must be a folder, and no link") from None
    try:
        return _prove_in(handle, picture.name(number), picture)
    finally:
        os.close(handle)


class Copied(NamedTuple):
    """Pictures copied into another folder. damaged: names whose bytes are not what they say; those are not copied."""

    pictures: int
    new: int
    damaged: list[str]


def copy_all(folder: Path, to: Path) -> Copied:
    """Copy the pictures into another folder, made if need be; those that are there already stay. Raises `Refusal`."""
    found = new = 0
    damaged: list[str] = []
    if not folder.is_dir():
        return Copied(0, 0, [])
    if to.resolve() == folder.resolve():
        raise Refusal(f"{to} is the folder of the pictures itself: choose another", 2)
    try:
        with _locked(to) as handle:
            for path in sorted(folder.iterdir()):
                name = _NAME.fullmatch(path.name)
                if name is None:
                    continue
                found += 1
                data = _read(path)
                if hashlib.sha256(data).hexdigest() != name["sha256"]:
                    damaged.append(path.name)
                elif _prove_in(handle, path.name, Picture(name["sha256"], "jpg", len(data))) != "whole":
                    _write(handle, path.name, data)
                    new += 1
    except OSError as err:
        raise Refusal(f"{to} cannot keep the pictures: {err.strerror or err}; say it again when it can") from None
    return Copied(found, new, damaged)


class Proved(NamedTuple):
    """Pictures that any version of a note names. missing, changed: names of those that are not as they were kept."""

    pictures: int
    missing: list[str]
    changed: list[str]


def prove_all(store: Store, folder: Path) -> Proved:
    """Whether each picture that was ever noted is there, and what was kept. Raises `Refusal`."""
    states: dict[str, State] = {}
    for subject, picture in store.pictures():
        states[picture.name(subject)] = prove(folder, subject, picture)
    return Proved(len(states), *([n for n, state in states.items() if state == bad] for bad in ("gone", "changed")))


def kept_bytes(folder: Path) -> tuple[int, int]:
    """How many pictures there are, and their bytes."""
    try:
        sizes = [e.stat(follow_symlinks=False).st_size for e in os.scandir(folder)
                 if e.is_file(follow_symlinks=False) and not e.name.startswith(".")]  # fmt: skip
    except OSError:
        return 0, 0
    return len(sizes), sum(sizes)


def _read(source: Path) -> bytes:
    """The bytes of an ordinary file. A pipe would give them for ever, or none; a link may lead anywhere."""
    try:
        handle = os.open(source, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK)
    except OSError as err:
        why = "it is a link; name the file itself" if err.errno == errno.ELOOP else err.strerror
        raise Refusal(f"{source} cannot be read: {why}") from None
    found = os.fstat(handle)
    if not stat.S_ISREG(found.st_mode):
        os.close(handle)
        raise Refusal(f"{source} is no ordinary file: give a picture's file")
    with os.fdopen(handle, "rb") as file:
        if found.st_size > MOST_BYTES:
            raise Refusal(f"{source} has {found.st_size / 1e6:.0f} MB: give a picture of at most {MOST_BYTES >> 20} MB")
        try:
            data = file.read(MOST_BYTES + 1)
        except OSError as err:
            raise Refusal(f"{source} cannot be read: {err.strerror}") from None
    if len(data) > MOST_BYTES:
        raise Refusal(f"{source} grows while it is read: give a picture that is done")
    return data


@contextmanager
def _locked(folder: Path) -> Iterator[int]:
    """The folder, made if need be, for one writer; parts that a killed one left are gone. Raises `Refusal`, OSError."""
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY | os.O_NOFOLLOW)
    try:
        end_s = real_s() + WAIT_S
        while True:
            try:
                fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError:
                if real_s() > end_s:
                    raise Refusal(f"{folder} is in use by another uvdose: say it again in a moment") from None
                pause(LOOK_S)
                continue
            except OSError:
                break  # a file system that locks no folders: parts stay, since they may be another's
            for name in os.listdir(handle):
                if name.startswith(".") and name.endswith(".part"):
                    os.unlink(name, dir_fd=handle)
            break
        yield handle
    finally:
        os.close(handle)


def _write(handle: int, name: str, data: bytes) -> None:
    part = f".{name}.{os.getpid()}.part"
    try:
        made = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_NOFOLLOW, 0o600, dir_fd=handle)
        with os.fdopen(made, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        os.rename(part, name, src_dir_fd=handle, dst_dir_fd=handle)
        os.fsync(handle)
    finally:
        with contextlib.suppress(OSError):
            os.unlink(part, dir_fd=handle)


def _prove_in(handle: int, name: str, picture: Picture) -> State:
    try:
        found = os.open(name, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK, dir_fd=handle)
    except FileNotFoundError:
        return "gone"
    except OSError:
        return "changed"
    known = os.fstat(found)
    if not stat.S_ISREG(known.st_mode) or known.st_size != picture.bytes:
        os.close(found)
        return "changed"
    with os.fdopen(found, "rb") as file:
        told = hashlib.sha256()
        while piece := file.read(_PIECE):
            told.update(piece)
    return "whole" if told.hexdigest() == picture.sha256 else "changed"
