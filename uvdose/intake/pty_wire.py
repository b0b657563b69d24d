"""The node's end of a pseudo-terminal: what a simulated board is plugged into. The other end is opened by path."""

from __future__ import annotations

import contextlib
import os
import select
import tty

LONGEST_LINE = 512


class PtyWire:
    """A raw pty. Raises OSError or AttributeError at creation where the platform has none. One thread uses it.

    Writes never block: an unread pty holds some 20 kB, and what does not fit is dropped, as a wire nobody listens to
    drops it. A line that was begun is finished first, so that lines are dropped whole.
    """

    def __init__(self) -> None:
        self._master, self._slave = os.openpty()
        # The slave stays open here, so that the node lives on when its reader closes the port, as a real board does.
        tty.setraw(self._slave)
        os.set_blocking(self._master, False)
        self.path = os.ttyname(self._slave)
        self._rest = b""
        self._heard = b""

    def write(self, line: bytes) -> bool:
        """Send one line; False when it was dropped."""
        if self._rest and not self._flush():
            return False
        self._rest = line
        self._flush()
        if self._rest == line:
            self._rest = b""
            return False
        return True

    def _flush(self) -> bool:
        with contextlib.suppress(BlockingIOError):
            while self._rest:
                self._rest = self._rest[os.write(self._master, self._rest) :]
        return not self._rest

    def read_lines(self, timeout_s: float) -> list[bytes]:
        """Whole lines that came, after waiting up to `timeout_s` in real time for the first byte."""
        if not select.select([self._master], [], [], max(0.0, timeout_s))[0]:
            return []
        with contextlib.suppress(BlockingIOError, OSError):
            self._heard += os.read(self._master, 4096)
        *lines, self._heard = self._heard.split(b"\n")
        self._heard = self._heard[-LONGEST_LINE:]
        return [line + b"\n" for line in lines]

    def close(self) -> None:
        """Hang up: whoever reads the other end loses its port."""
        for fd in (self._master, self._slave):
            with contextlib.suppress(OSError):
                os.close(fd)
