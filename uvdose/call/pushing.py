"""The process that pushes one message: `python -m uvdose.call.pushing`, a task on its input, a result on its output."""

from __future__ import annotations

import contextlib
import logging
import os
import queue
import sys
import threading

import msgspec

from ..clock import real_s
from .push import MOST_BYTES, Result, Task

NICER = 10  # loading apprise takes the better part of a second of a core, and the count goes first
UNKNOWN = "is no address that apprise knows"
REFUSED = "could not be reached, or refused it"
SLOW = "did not answer in time"


def main() -> int:
    """Push to all addresses side by side, so that one that hangs does not hold the others up."""
    with contextlib.suppress(OSError):
        os.nice(NICER)
    task = msgspec.json.decode(sys.stdin.buffer.read(2 * MOST_BYTES), type=Task)
    answers: queue.Queue[tuple[int, str]] = queue.Queue()
    for number, address in task.addresses.items():
        one = threading.Thread(target=lambda n=number, a=address: answers.put((n, _push_one(a, task))), daemon=True)
        one.start()
    heard: dict[int, str] = {}
    end_s = real_s() + task.limit_s
    while len(heard) < len(task.addresses) and (left_s := end_s - real_s()) > 0:
        try:
            number, why = answers.get(timeout=left_s)
        except queue.Empty:
            break
        heard[number] = why
    failed = {number: heard.get(number, SLOW) for number in task.addresses if heard.get(number, SLOW)}
    sys.stdout.buffer.write(msgspec.json.encode(Result(failed)))
    sys.stdout.flush()
    return 0


def _push_one(address: str, task: Task) -> str:
    """Push to one address; why it failed, or nothing. Its own words are not told: they may hold the address."""
    import apprise

    logging.disable(logging.CRITICAL)
    one = apprise.Apprise()
    if not one.add(address):
        return UNKNOWN
    try:
        return "" if one.notify(title=task.title, body=task.body) else REFUSED
    except Exception:
        return REFUSED


if __name__ == "__main__":
    code = main()
    os._exit(code)  # threads that hang are not waited for
