"""Single keys from a terminal, which is given back as it was, whatever ends the command."""

from __future__ import annotations

import contextlib
import os
import re
import select
import signal
import sys
import termios
from types import FrameType
from typing import Any

_SEQUENCE = re.compile(rb"\x1b(?:[\[O][0-9;?<]*[ -/]*[@-~]?|.)?", re.DOTALL)
MOST = 64
STUCK_S = 2.0
_SCREEN_BACK = b"\x1b[0m\x1b[?1049l\x1b[?25h"


class Keys:
    """`with Keys() as keys:` reads keys as they are pressed. Without a terminal to read from there are none.

    Ctrl-C and the signals that end a program are heard in `read` alone: in the middle of a drawing they would leave
    half of it behind, and the terminal as it is. Where the terminal takes nothing any more, they end it all the same.
    """

    def __init__(self) -> None:
        self._before: list[Any] | None = None
        self._handlers: dict[int, Any] = {}
        self._fd = -1
        self._ended_by = 0
        self._wake: tuple[int, int] = (-1, -1)

    def read(self, seconds: float) -> list[str]:
        """The keys pressed within so many seconds; returns at the first. Arrows and the like are none.

        Raises `KeyboardInterrupt` or `SystemExit` when a signal wants an end.
        """
        watched = [self._wake[0], *([self._fd] if self._before is not None else [])]
        ready = select.select(watched, [], [], seconds)[0]
        if self._ended_by:
            _leave(self._ended_by)
        if self._fd not in ready:
            return []
        try:
            data = os.read(self._fd, MOST)
        except OSError:
            data = b""
        if not data:  # the terminal is gone
            self._give_back()
        return list(_SEQUENCE.sub(b"", data).decode("ascii", "ignore"))

    def __enter__(self) -> Keys:
        self._wake = os.pipe()
        for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
            self._handlers[number] = signal.signal(number, self._end)
        self._handlers[signal.SIGALRM] = signal.signal(signal.SIGALRM, self._end_now)
        with contextlib.suppress(OSError, ValueError, termios.error):
            if sys.stdin is not None and sys.stdin.isatty():
                self._fd = sys.stdin.fileno()
                self._take()
        return self

    def __exit__(self, *_: object) -> None:
        signal.setitimer(signal.ITIMER_REAL, 0)
        self._give_back()
        for number, handler in self._handlers.items():
            signal.signal(number, handler)
        for end in self._wake:
            os.close(end)

    def _take(self) -> None:
        """No echo and no lines; Ctrl-C goes on being one, Ctrl-Z is switched off: the screen would stay taken."""
        before = termios.tcgetattr(self._fd)
        fresh = termios.tcgetattr(self._fd)
        fresh[3] &= ~(termios.ECHO | termios.ICANON)
        fresh[6] = list(fresh[6])
        fresh[6][termios.VMIN], fresh[6][termios.VTIME] = 1, 0
        fresh[6][termios.VSUSP] = b"\0"
        self._before = before
        termios.tcsetattr(self._fd, termios.TCSADRAIN, fresh)

    def _give_back(self) -> None:
        before, self._before = self._before, None
        if before is not None:
            with contextlib.suppress(OSError, termios.error):
                termios.tcsetattr(self._fd, termios.TCSANOW, before)  # draining might take for ever

    def _end(self, number: int, _: FrameType | None) -> None:
        if not self._ended_by:
            self._ended_by = number
            os.write(self._wake[1], b".")
            signal.setitimer(signal.ITIMER_REAL, STUCK_S)

    def _end_now(self, number: int, _: FrameType | None) -> None:
        """Nobody came to `read`: a drawing is stuck in a terminal that stands still. It is not waited for."""
        fd = sys.__stdout__.fileno() if sys.__stdout__ is not None else 1
        self._give_back()
        with contextlib.suppress(OSError, ValueError, termios.error):
            termios.tcflush(fd, termios.TCOFLUSH)
            os.set_blocking(fd, False)
            os.write(fd, _SCREEN_BACK)
        with contextlib.suppress(OSError, ValueError):
            os.set_blocking(fd, True)  # the shell has the same terminal
        os._exit(128 + self._ended_by)


def _leave(number: int) -> None:
    """By way of all that has to be given back."""
    if number == signal.SIGINT:
        raise KeyboardInterrupt
    raise SystemExit(128 + number)
