"""A recording played as if it came from a sensor, at its own speed in dose time.

The file is text: `<seconds since start><TAB><line as it came>`; a line that begins with `#` is a comment, an empty
one is passed over. Seconds never go back.
"""

from __future__ import annotations

import math
import os
import threading
from pathlib import Path

from ..clock import Clock
from ..config import SensorSettings
from .link import Chunk, LinkState, Sink

LONGEST_LINE = 65536
LONGEST_WAIT_S = 0.2
JOIN_S = 3.0
_FORM = "each line must be: seconds since start, a TAB, the line as it came"


class BadLine(Exception):
    """A line of a recording that cannot be played; the text says why."""


def parse_line(raw: bytes) -> tuple[int, bytes] | None:
    """Microseconds since start and the line, ended by LF; None for a comment or an empty line. Raises `BadLine`."""
    line = raw.rstrip(b"\n")
    if not line.strip() or line.startswith(b"#"):
        return None
    if len(line) >= LONGEST_LINE:
        raise BadLine(f"is longer than {LONGEST_LINE} bytes")
    seconds, tab, said = line.partition(b"\t")
    if not tab:
        raise BadLine("has no TAB")
    try:
        value = float(seconds)
    except ValueError:
        raise BadLine(f"{seconds[:40].decode(errors='replace')!r} is not a number of seconds") from None
    if not (math.isfinite(value) and 0 <= value < 1e9):
        raise BadLine(f"{value} is not a time since start")
    return round(value * 1e6), said + b"\n"


class RecordingLink:
    """Plays a file. Implements `Link`; there is no way back.

    A line's arrival is its own time in the recording, not the moment at which this thread woke up: a recording
    comes to the same dose each time it is played, at any pace.
    """

    def __init__(self, sensor: SensorSettings, clock: Clock, folder: Path | None = None) -> None:
        self._sensor = sensor
        self._clock = clock
        self._file = (folder or Path()) / os.path.expanduser(sensor.file or "")
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None

    def start(self, sink: Sink) -> None:
        """Begin to play in a thread; the recording's second 0 is now. A second start is ignored."""
        if self._thread is not None:
            return
        start_us = self._clock.dose_us()
        self._thread = threading.Thread(
            target=self._run, args=(sink, start_us), name=f"recording-{self._sensor.name}", daemon=True
        )
        self._thread.start()

    def send(self, line: bytes) -> bool:
        """Always False: a recording hears nothing."""
        return False

    def stop(self) -> None:
        """End playing."""
        self._stop.set()
        if self._thread is not None and self._thread is not threading.current_thread():
            self._thread.join(JOIN_S)

    def _run(self, sink: Sink, start_us: int) -> None:
        name = self._sensor.name
        try:
            ended = self._play(sink, start_us)
        except FileNotFoundError:
            state = LinkState(name, False, f"there is no recording {self._file}", "correct `file` of this sensor")
        except OSError as err:
            why = f"the recording {self._file} cannot be read: {err.strerror or err}"
            state = LinkState(name, False, why, "check `file` of this sensor and its permissions")
        except BadLine as err:
            state = LinkState(name, False, f"the recording {self._file} stops: {err}", _FORM)
        except Exception as err:  # a thread that dies in silence would look like a sensor that is silent
            state = LinkState(name, False, f"the recording failed: {type(err).__name__}: {err}", "please report this")
        else:
            if not ended:
                return
            state = LinkState(name, False, "the recording has ended")
        sink(state)

    def _play(self, sink: Sink, start_us: int) -> bool:
        """True at the end of the file, False when stopped. Raises OSError, `BadLine`."""
        last_us = 0
        with self._file.open("rb") as file:
            sink(LinkState(self._sensor.name, True, f"playing {self._file}"))
            number = 0
            while raw := file.readline(LONGEST_LINE + 64):
                number += 1
                try:
                    parsed = parse_line(raw)
                    if parsed is None:
                        continue
                    at_us, line = parsed
                    if at_us < last_us:
                        raise BadLine("its time lies before that of the line above")
                except BadLine as err:
                    raise BadLine(f"line {number} {err}") from None
                last_us = at_us
                if not self._wait_until(start_us + at_us):
                    return False
                sink(Chunk(self._sensor.name, line, start_us + at_us))
        return not self._stop.is_set()

    def _wait_until(self, due_us: int) -> bool:
        """Wait for a dose time; False when stopped meanwhile."""
        while (left_us := due_us - self._clock.dose_us()) > 0:
            if self._stop.wait(min(left_us / 1e6 / self._clock.pace, LONGEST_WAIT_S)):
                return False
        return not self._stop.is_set()
