"""A file of what was taken out: whole under its name, or not there at all."""

from __future__ import annotations

import errno
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, BinaryIO, TextIO

from ..journal.copying import give_name, part_beside, sync
from ..model import Refusal
from .layout import shorten


@contextmanager
def fresh_file(path: Path, replace: bool) -> Iterator[TextIO]:
    """A text file to write, UTF-8, line ends as written. It gets its name when the block ends well.

    A device or a pipe is written as it is. Raises `Refusal`: for a file that is there already unless `replace`, and
    for one that cannot be written.
    """
    with _fresh(path, replace, "w", encoding="utf-8", newline="") as handle:
        yield handle


@contextmanager
def fresh_bytes(path: Path, replace: bool) -> Iterator[BinaryIO]:
    """The same for bytes."""
    with _fresh(path, replace, "wb") as handle:
        yield handle


@contextmanager
def _fresh(path: Path, replace: bool, mode: str, **how: str) -> Iterator[Any]:
    if path.exists() and not path.is_file() and not path.is_dir():
        with _told(path), open(path, mode, opener=_opened, **how) as handle:  # type: ignore[call-overload]
            yield handle
        return
    part = part_beside(path, replace)
    try:
        with _told(path):
            with open(part, mode, **how) as handle:  # type: ignore[call-overload]
                yield handle
            sync(part)
            give_name(part, path.resolve() if replace else path, replace)
    finally:
        part.unlink(missing_ok=True)


@contextmanager
def _told(path: Path) -> Iterator[None]:
    try:
        yield
    except OSError as err:
        why = "nobody reads that pipe" if err.errno == errno.ENXIO else err.strerror or str(err)
        raise Refusal(f"{shorten(str(path), 80)} cannot be written: {why}; nothing is left there") from None


def _opened(path: str, flags: int) -> int:
    """A pipe that nobody reads is an error at once, and not a wait without end."""
    handle = os.open(path, flags | os.O_NONBLOCK, 0o666)
    os.set_blocking(handle, True)
    return handle
