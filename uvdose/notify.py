"""What a service manager is told, and how it wants its log: the protocol of systemd's `sd_notify`, without a library.

Nothing here ever blocks or fails: a manager that is gone is no reason to stop counting.
"""

from __future__ import annotations

import contextlib
import os
import re
import socket
from collections.abc import Callable, Mapping

LEAST_PING_S = 0.4
_WARNING, _NOTICE, _INFO = "<4>", "<5>", "<6>"
_ALARM = re.compile(r"ALARM|\s{2}alarm |could not|failed")


class Manager:
    """The service manager, as the environment names it; without one every word is for nobody."""

    def __init__(self, environ: Mapping[str, str]) -> None:
        name = environ.get("NOTIFY_SOCKET", "")
        self._address = ("\0" + name[1:]) if name.startswith("@") else name
        mine = environ.get("WATCHDOG_PID") in (None, "", str(os.getpid()))
        span = environ.get("WATCHDOG_USEC", "") if mine else ""
        # Four pings within the manager's patience: one that is late by three does no harm.
        self._every_s = int(span) / 4e6 if span.isascii() and span.isdigit() else None
        self._due_s = 0.0
        self._socket: socket.socket | None = None
        if self._address.startswith(("/", "\0")):
            self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC)
            self._socket.setblocking(False)

    def ready(self, line: str) -> None:
        """It serves."""
        self._tell(f"READY=1\nSTATUS={line}")

    def alive(self, now_s: float) -> None:
        """The watchdog's ping, as often as the manager wants it. To be called only where all is well."""
        if self._every_s is not None and now_s >= self._due_s:
            self._due_s = now_s + max(LEAST_PING_S, self._every_s)
            self._tell("WATCHDOG=1")

    def stopping(self) -> None:
        """It ends, in order."""
        self._tell("STOPPING=1")

    def _tell(self, text: str) -> None:
        if self._socket is not None:
            with contextlib.suppress(OSError):
                self._socket.sendto(text.encode(), self._address)


def logs_to_journal(environ: Mapping[str, str], descriptor: int) -> bool:
    """Whether what is printed there goes to the journal of the system: it then names the very stream."""
    try:
        found = os.fstat(descriptor)
    except OSError:
        return False
    return environ.get("JOURNAL_STREAM") == f"{found.st_dev}:{found.st_ino}"


def levelled(say: Callable[[str], None]) -> Callable[[str], None]:
    """The same lines, each with the level that the system's journal sorts by, and without the bell, which would make
    it take a line for binary."""

    def run(line: str) -> None:
        level = _WARNING if _ALARM.search(line) else _NOTICE if "  CALL " in line else _INFO
        say(level + line.replace("\a", ""))

    return run
