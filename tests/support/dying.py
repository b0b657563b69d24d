"""`uvdose`, but killed by SIGKILL at a chosen moment: dying.py MOMENT arguments…

before-commit: when the target call is handed to the journal, before it is written.
before-call: when it is committed, before it is called.
before-proof: when the buzz has been handed to the port, before the node's answer is taken in.
after-quiet: when the person's acknowledgement is committed, before anything else happens.
after-start: when a start is committed, before the next line of the node comes.
slow-disk: it is not killed at all, but every commit takes 1 to 3 seconds.
"""

from __future__ import annotations

import os
import random
import signal
import sys
import time
from concurrent.futures import Future
from typing import Any, NoReturn

from uvdose.call.desk import Desk
from uvdose.cli import main
from uvdose.journal.writer import Statement, Writer

moment = sys.argv.pop(1)


def die() -> NoReturn:
    os.kill(os.getpid(), signal.SIGKILL)
    raise SystemExit  # not reached


def holds(batch: list[Statement], event: str) -> bool:
    return any("INTO event" in sql and values[3] == event for sql, values in batch)


commit = Writer.commit


def dying_commit(self: Writer, batch: list[Statement]) -> Future[None]:
    if moment == "before-commit" and holds(batch, "reached"):
        die()
    done = commit(self, batch)
    event = {"after-quiet": "quieted", "after-start": "started"}.get(moment)
    if event is not None and holds(batch, event):
        done.result()
        die()
    return done


ring = Desk.ring


def dying_ring(self: Desk, call: Any, now_s: float) -> None:
    if call.kind == "reached":
        if moment == "before-call":
            die()
        ring(self, call, now_s)
        if moment == "before-proof":
            die()
        return
    ring(self, call, now_s)


write = Writer._write
delays = random.Random(20161106)


def slow_write(self: Writer, batch: list[Statement]) -> None:
    time.sleep(delays.uniform(1.0, 3.0))
    write(self, batch)


if moment == "slow-disk":
    Writer._write = slow_write  # type: ignore[method-assign]
Writer.commit = dying_commit  # type: ignore[method-assign]
Desk.ring = dying_ring  # type: ignore[method-assign]
sys.exit(main())
