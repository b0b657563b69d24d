"""A piece of work in a process of its own: what takes numpy or a drawing program, and a core for a second, is not the
daemon's."""

from __future__ import annotations

import asyncio
import contextlib
import os
import signal
import sys
from collections.abc import Callable
from typing import TypeVar

import msgspec

GONE_S = 1.0
NICER = 10
T = TypeVar("T")


async def done_apart(module: str, task: bytes, limit_s: float) -> bytes:
    """What `python -m uvdose.MODULE` answers to a task on its input.

    Raises `OSError`, and `TimeoutError` after limit_s; whatever is left of the process is ended.
    """
    process = await asyncio.create_subprocess_exec(
        sys.executable, "-m", f"{__package__}.{module}", stdin=asyncio.subprocess.PIPE,
        stdout=asyncio.subprocess.PIPE, stderr=asyncio.subprocess.DEVNULL, start_new_session=True,
    )  # fmt: skip
    try:
        out, _ = await asyncio.wait_for(process.communicate(task), limit_s)
        return out
    finally:
        if process.returncode is None:  # it hangs, or the daemon ends
            with contextlib.suppress(ProcessLookupError, PermissionError):
                os.killpg(process.pid, signal.SIGKILL)
            with contextlib.suppress(TimeoutError):
                await asyncio.wait_for(process.wait(), GONE_S)


def answer(kind: type[T], do: Callable[[T], object]) -> int:
    """The other process, as a whole: the task on its input, what comes of it on its output, both as JSON.

    The count of the daemon goes first. Returns the exit code.
    """
    with contextlib.suppress(OSError):
        os.nice(NICER)
    made = do(msgspec.json.decode(sys.stdin.buffer.read(), type=kind))
    sys.stdout.buffer.write(msgspec.json.encode(made))
    sys.stdout.flush()
    return 0
