"""Nodes on ptys, in the bench's own thread: they answer commands when asked to look, and note when one came."""

from __future__ import annotations

import contextlib
import os
import select
import time
import tty
from types import TracebackType
from typing import NamedTuple

from uvdose.decode.native import frame_command, parse_command


class Heard(NamedTuple):
    """A command that came, and the host's monotonic time at that moment in seconds."""

    at_s: float
    text: str


class Node:
    """A register node in steady light. counts: its level; 0 for one whose register only grows by `grow`."""

    def __init__(self, counts: int = 0, boot: int = 0x0BADCAFE) -> None:
        self.counts = counts
        self.boot = boot
        self.grown = 0
        self.seq = 0
        self._master, self._slave = os.openpty()
        tty.setraw(self._slave)
        os.set_blocking(self._master, False)
        self.path = os.ttyname(self._slave)
        self._began_s = time.monotonic()
        self._rest = b""

    def __enter__(self) -> Node:
        return self

    def __exit__(self, kind: type[BaseException] | None, err: BaseException | None, at: TracebackType | None) -> None:
        for fd in (self._master, self._slave):
            with contextlib.suppress(OSError):
                os.close(fd)

    def uptime_ms(self, at_s: float) -> float:
        """Its uptime at a monotonic time, broken milliseconds included."""
        return (at_s - self._began_s) * 1000

    def register(self, uptime_ms: float) -> float:
        """Its true register at an uptime, counts x ms."""
        return self.grown + self.counts * uptime_ms

    def line(self) -> bytes:
        """The line of now."""
        uptime_ms = int(self.uptime_ms(time.monotonic()))
        body = f"uv1,{self.boot:08x},{self.seq},{uptime_ms},{self.counts},{int(self.register(uptime_ms))},0,0,00"
        self.seq += 1
        return frame_command(body)

    def say(self, line: bytes | None = None) -> None:
        """Send a line, that of now where none is given; dropped when nobody reads the pty."""
        with contextlib.suppress(BlockingIOError):
            os.write(self._master, line or self.line())

    def look(self, seconds: float) -> list[Heard]:
        """Wait for commands, answer those that came, and tell them."""
        if not select.select([self._master], [], [], max(0.0, seconds))[0]:
            return []
        at_s = time.monotonic()
        self._rest += os.read(self._master, 4096)
        *lines, self._rest = self._rest.split(b"\n")
        heard = []
        for raw in lines:
            text = parse_command(raw)
            if text is None:
                continue
            heard.append(Heard(at_s, text))
            if text == "now":
                self.say()
            self.say(frame_command(f"ok {text.split()[0]}"))
        return heard

    def wait(self, start: str, seconds: float) -> Heard | None:
        """The next command that begins so; None when it does not come in time."""
        end = time.monotonic() + seconds
        while (left := end - time.monotonic()) > 0:
            for heard in self.look(left):
                if heard.text.startswith(start):
                    return heard
        return None

    def calm(self) -> None:
        """Answer whatever has come, until nothing more comes for a moment."""
        while self.look(0.01):
            pass


def settings(paths: list[str]) -> str:
    """The sensors of a bench on these ports: 100 counts are 1 mW/cm²."""
    return "".join(
        f'[[sensor]]\nname = "s{i}"\nlink = "serial"\nport = "{path}"\nscale = 0.01\nfull_scale = 100000\n'
        for i, path in enumerate(paths)
    )
