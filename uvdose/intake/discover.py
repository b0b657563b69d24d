"""Looking for sensors on serial ports: which ports are here, at which speed one speaks, and what came.

A port is opened as the daemon opens it, exclusively and without an edge on DTR that would reset a board more often than
need be. What the lines are is not decided here: the caller says which lines are text, and when enough have come.
"""

from __future__ import annotations

import contextlib
import os
from collections.abc import Callable
from pathlib import Path

import msgspec

from ..clock import real_s
from .link import Words
from .serial_port import make_port, open_port
from .serial_words import ANY_ERRORS, PORT_ERRORS, words_for

SPEEDS = (115200, 9600, 57600, 38400, 19200, 230400, 460800, 921600, 4800)
MOST_BYTES = 65536
MOST_LINES = 400
FOREIGN_BYTES = 200  # so many that are no text, and the speed is another one
ANSWER_S = 1.5
READ_S = 0.05


class PortHeard(msgspec.Struct, frozen=True):
    """What one port said. speed None: at none was it text. lines: time and line, whole ones alone, without their ends.
    count: bytes that came in all.

    What came after a question was written is among them. fault: why it could not be listened to.
    """

    speed: int | None = None
    lines: tuple[tuple[float, bytes], ...] = ()
    count: int = 0
    fault: Words | None = None


def ports() -> list[str]:
    """The serial ports of this machine, by the name that stays where there is one."""
    from serial.tools.list_ports import comports

    names = {os.path.realpath(link): str(link) for link in sorted(Path("/dev/serial/by-id").glob("*"))}
    return sorted({names.get(os.path.realpath(p.device), p.device) for p in comports()})


def listen_port(
    path: str, seconds: float, *, is_text: Callable[[list[bytes]], bool], enough: Callable[[list[bytes]], bool],
    ask: Callable[[list[bytes]], bytes | None],
) -> PortHeard:
    """Listen on a port, for so long at each speed; ends as soon as `enough` lines have come at one.

    is_text: whether lines are what comes at the right speed. ask: what to write once they are known, or None; what
    comes after it, for a moment, is among the lines. A port that is silent at one speed is silent at all. Never raises.
    """
    port, was_open = None, False
    try:
        port = make_port(path, SPEEDS[0])
        port.timeout = READ_S
        open_port(port)
        was_open = True
        best, count = PortHeard(), 0
        for speed in SPEEDS:
            if speed != SPEEDS[0]:
                try:
                    port.baudrate = speed
                except ValueError:
                    continue  # a converter that does not know this speed
                port.reset_input_buffer()
            ear = _Ear(port)
            ear.listen(seconds, enough, lambda ear: ear.foreign(is_text))
            count += ear.count
            if ear.count == 0:
                return best
            if is_text(ear.texts()):
                question = ask(ear.texts())
                if question is not None:
                    with contextlib.suppress(*PORT_ERRORS):
                        port.write(question)
                    ear.listen(ANSWER_S, lambda lines: any(line.startswith(b"ok who ") for line in lines), _never)
                return PortHeard(speed, tuple(ear.lines), count)
            best = PortHeard(None, tuple(ear.lines) or best.lines, count)
        return best
    except Exception as err:
        if not isinstance(err, ANY_ERRORS):
            raise
        return PortHeard(fault=words_for(err, path, was_open=was_open))
    finally:
        if port is not None:
            with contextlib.suppress(*PORT_ERRORS):
                port.close()


def _never(ear: _Ear) -> bool:
    return False


class _Ear:
    """Lines out of an open port, each with the time at which it was whole; the first, which may be cut, is left out."""

    def __init__(self, port: object) -> None:
        self._port = port
        self._rest = b""
        self._begun = False
        self.count = 0
        self.lines: list[tuple[float, bytes]] = []

    def texts(self) -> list[bytes]:
        return [line for _, line in self.lines]

    def foreign(self, is_text: Callable[[list[bytes]], bool]) -> bool:
        """Whether enough has come to see that it is no text at this speed."""
        return self.count >= FOREIGN_BYTES and not is_text([*self.texts(), *([self._rest] if self._rest else [])])

    def listen(self, seconds: float, enough: Callable[[list[bytes]], bool], hopeless: Callable[[_Ear], bool]) -> None:
        """Read until enough has come, or the time is over, or there is no hope."""
        end_s = real_s() + seconds
        while real_s() < end_s and self.count < MOST_BYTES and len(self.lines) < MOST_LINES:
            data: bytes = self._port.read(max(1, min(4096, self._port.in_waiting)))  # type: ignore[attr-defined]
            if not data:
                continue
            self.count += len(data)
            self._take(data)
            if enough(self.texts()) or hopeless(self):
                return

    def _take(self, data: bytes) -> None:
        now_s = real_s()
        *lines, self._rest = (self._rest + data).split(b"\n")
        if lines and not self._begun:
            self._begun = True
            lines = lines[1:]
        self.lines += [(now_s, line.rstrip(b"\r")) for line in lines if line.strip()]
