"""Push to whatever the person has on the phone already, through apprise, which speaks to most services there are.

apprise runs in a process of its own for each message: it can be ended when it hangs, and its modules stay out of the
daemon's memory. Addresses hold secrets. They lie in a file that nobody else may read, go to that process over its
input, and come back as the number of their line.
"""

from __future__ import annotations

import importlib.util
import os
import stat
import sys
from pathlib import Path

import msgspec

from .bounded import run_bounded
from .outlet import Message, WayFault

LIMIT_S = 12.0
CHILD_S = 10.0
MOST_BYTES = 64 * 1024
MOST_ADDRESSES = 50


class Task(msgspec.Struct, frozen=True):
    """What the other process gets: addresses by the number of their line."""

    addresses: dict[int, str]
    title: str
    body: str
    limit_s: float = CHILD_S


class Result(msgspec.Struct, frozen=True):
    """What it answers: addresses that failed, or were not heard of in time, each with a reason."""

    failed: dict[int, str]


def read_addresses(path: Path) -> dict[int, str]:
    """The addresses of the push file, by line; blank lines and those with # are none. Raises `WayFault`."""
    try:
        with open(path, "rb", opener=lambda p, flags: os.open(p, flags | os.O_NONBLOCK)) as handle:
            found = os.fstat(handle.fileno())
            if not stat.S_ISREG(found.st_mode):
                raise WayFault(f"{path} is no ordinary file; write the addresses into one")
            if found.st_mode & 0o077:
                raise WayFault(f"{path} can be read by others, and its addresses are secret: `chmod 600` it")
            text = handle.read(MOST_BYTES + 1).decode("utf-8")
    except OSError as err:
        raise WayFault(f"{path} cannot be read ({err.strerror}); write one address a line into it") from None
    except UnicodeDecodeError:
        raise WayFault(f"{path} is not UTF-8 text; write one address a line into it") from None
    lines = {number: line.strip() for number, line in enumerate(text.splitlines(), 1)}
    addresses = {number: line for number, line in lines.items() if line and not line.startswith("#")}
    if len(text) > MOST_BYTES or not 0 < len(addresses) <= MOST_ADDRESSES:
        raise WayFault(f"{path} must hold 1 to {MOST_ADDRESSES} addresses, one a line")
    return addresses


def check(path: Path) -> None:
    """What can be known before the first call. Raises `WayFault`."""
    if importlib.util.find_spec("apprise") is None:
        raise WayFault("apprise is not installed: `pip install 'uvdose[push]'`")
    read_addresses(path)


def push(path: Path, message: Message) -> None:
    """Push to every address at once. Raises `WayFault` when one of them did not take it."""
    check(path)
    addresses = read_addresses(path)
    task = Task(addresses, message.title, message.body)
    words = [sys.executable, "-m", "uvdose.call.pushing"]
    code, out, _ = run_bounded(words, msgspec.json.encode(task), LIMIT_S)
    try:
        failed = msgspec.json.decode(out, type=Result).failed
    except msgspec.MsgspecError:
        raise WayFault(f"apprise ended with {code} and said nothing that can be told") from None
    if failed:
        told = ", ".join(f"line {number} {why}" for number, why in sorted(failed.items()))
        raise WayFault(f"{len(failed)} of {len(addresses)} addresses in {path.name} did not take it: {told}")
