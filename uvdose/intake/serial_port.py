"""A sensor on a serial port: any device path, or any pyserial URL such as `socket://host:port`.

The link reads in chunks in a thread of its own and reconnects for ever. Opened and closed in such a way that a
board which resets on DTR is not reset by it more often than the operating system makes unavoidable.
"""

from __future__ import annotations

import contextlib
import logging
import os
import random
import threading
from typing import Any
from urllib.parse import urlsplit

import serial

from ..clock import Clock
from ..config import SensorSettings
from .link import Chunk, LinkState, Sink, Words
from .serial_words import ANY_ERRORS, PORT_ERRORS, words_for

try:
    import termios
except ImportError:  # a platform without termios has no HUPCL either
    termios = None  # type: ignore[assignment]

READ_TIMEOUT_S = 2.0  # a port that is lost, or that is to end, ends a read at once
UNCANCELLED_S = 0.2  # where a read cannot be ended from outside
WRITE_TIMEOUT_S = 0.25
FIRST_WAIT_S = 0.2
LONGEST_WAIT_S = 5.0
LOOK_S = 0.25
BURST_BYTES = 16384
JOIN_S = 3.0

_log = logging.getLogger(__name__)


class SerialLink:
    """One sensor's serial port. Implements `Link`."""

    def __init__(self, sensor: SensorSettings, clock: Clock) -> None:
        self._sensor = sensor
        self._clock = clock
        self._where = sensor.port or ""
        self._sink: Sink | None = None
        self._said: tuple[bool, str, str] | None = None
        self._wait_s = FIRST_WAIT_S
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None
        # Guards `_open`, and every write, cancel and close of it; the reader reads without it.
        self._guard = threading.Lock()
        self._open: Any = None

    def start(self, sink: Sink) -> None:
        """Begin reading in a thread; returns at once. A second start is ignored."""
        if self._thread is not None:
            return
        self._sink = sink
        self._thread = threading.Thread(target=self._run, name=f"serial-{self._sensor.name}", daemon=True)
        self._thread.start()

    def send(self, line: bytes) -> bool:
        """Write one line; False when the port is closed or takes no more within 0.25 s."""
        with self._guard:
            if self._open is None:
                return False
            try:
                self._open.write(line)
            except ANY_ERRORS:
                return False
            return True

    def stop(self) -> None:
        """End the thread and close the port."""
        self._stop.set()
        with self._guard:
            cancel = getattr(self._open, "cancel_read", None)
            if cancel is not None:  # ports behind a URL may have none; their read ends at its timeout
                with contextlib.suppress(*PORT_ERRORS):
                    cancel()
        if self._thread is not None and self._thread is not threading.current_thread():
            self._thread.join(JOIN_S)

    # the thread ---------------------------------------------------------------------------------------------

    def _run(self) -> None:
        port: Any = None
        while not self._stop.is_set():
            try:
                if port is None:
                    port = make_port(self._where, self._sensor.baud)
                open_port(port)
                with self._guard:
                    self._open = port
                self._say(True, Words(f"reading {self._where}", ""))
                self._read(port)
            except Exception as err:  # a dead reader would be a silent loss: whatever it was, say it and try again
                if not isinstance(err, ANY_ERRORS):
                    _log.exception("serial port %s", self._where)
                self._say(False, words_for(err, self._where, was_open=self._open is not None))
            finally:
                self._close(port)
            self._pause(self._wait_s * random.uniform(0.7, 1.0))
            self._wait_s = min(self._wait_s * 2, LONGEST_WAIT_S)

    def _read(self, port: Any) -> None:
        """Read until stopped; raises when the port is lost."""
        while not self._stop.is_set():
            data = port.read(port.in_waiting or 1)
            arrival_us = self._clock.dose_us()
            if not data:  # a timeout, not an end
                continue
            data = self._drain(port, data)
            self._wait_s = FIRST_WAIT_S  # only what was read shortens the waits again: a port may open and give nothing
            if self._sink is not None:
                self._sink(Chunk(self._sensor.name, data, arrival_us))

    def _drain(self, port: Any, data: bytes) -> bytes:
        """What came in the meantime, so that a port which tells only "something" gives no chunk for each byte."""
        with contextlib.suppress(*PORT_ERRORS):  # what was read must not be lost; the next read will say it again
            while len(data) < BURST_BYTES and (more := port.in_waiting):
                data += port.read(more)
        return data

    def _close(self, port: Any) -> None:
        with self._guard:
            self._open = None
            if port is not None:
                with contextlib.suppress(*PORT_ERRORS):
                    port.close()

    def _pause(self, seconds: float) -> None:
        """Wait in real time; a path that was missing and is back ends the wait."""
        missing = "://" not in self._where and not os.path.exists(self._where)
        left = seconds
        while left > 0 and not self._stop.wait(min(left, LOOK_S)):
            left -= LOOK_S
            if missing and os.path.exists(self._where):
                return

    def _say(self, up: bool, words: Words) -> None:
        state = (up, words.why, words.mend)
        if state == self._said or self._sink is None or self._stop.is_set():
            return
        self._said = state
        self._sink(LinkState(self._sensor.name, up, words.why, words.mend))


def make_port(where: str, baud: int) -> Any:
    """A closed port for a path or URL. Raises ValueError when the URL or the speed makes no sense."""
    scheme, mark, _ = where.partition("://")
    if mark and scheme.lower() in ("socket", "rfc2217"):
        address = urlsplit(where)
        if not address.hostname or address.port is None:  # pyserial would fail on it with words of its inside
            raise ValueError("it names no host and port")
    port = serial.serial_for_url(
        where, baudrate=baud, timeout=READ_TIMEOUT_S, write_timeout=WRITE_TIMEOUT_S, exclusive=True, do_not_open=True
    )
    if not hasattr(port, "cancel_read"):
        port.timeout = UNCANCELLED_S
    # Opening makes the kernel raise DTR and RTS. Boards reset on an edge of DTR, or on DTR and RTS differing: so
    # both are held raised, as the kernel leaves them, and no edge follows. Set on the closed port: a pty, which
    # has no such lines, would answer with an error if it were set later.
    with contextlib.suppress(OSError):
        port.dtr = True
        port.rts = True
    return port


def open_port(port: Any) -> None:
    """Open, and keep DTR raised over a later close. Raises OSError or termios.error."""
    if port.is_open:  # a port that hung up still counts as open
        port.close()
    port.open()
    fd = getattr(port, "fd", None)
    if termios is None or not isinstance(fd, int):
        return
    with contextlib.suppress(termios.error, OSError):
        attributes = termios.tcgetattr(fd)
        attributes[2] &= ~termios.HUPCL
        termios.tcsetattr(fd, termios.TCSANOW, attributes)
