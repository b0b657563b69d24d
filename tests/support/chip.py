"""The reference node as its real image on a simulated chip: its port, light, button, buzzer, resets and power.

`Chip` is the board; its `path` can be given to the daemon as a serial port. `Talk` is a plain program at that port, for
tests without a daemon. Light is in millivolts on the sensor's pin; `counts(mv)` is what a sample of it comes to.
"""

from __future__ import annotations

import os
import select
import subprocess
import threading
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from types import TracebackType
from typing import NamedTuple

from uvdose.decode.native import NativeDecoder, frame_command
from uvdose.model import Answer, BadInput, RegisterReading

from .firmware import chip_program, image, symbol

REFERENCE_MV, STEPS, OVERSAMPLES = 1100, 1023, 4
FULL_SCALE = STEPS * OVERSAMPLES


def counts(mv: int) -> int:
    """A sample of a steady voltage: the sum of its conversions. The simulated converter scales by 1023 and cuts off."""
    return min(mv * STEPS // REFERENCE_MV, STEPS) * OVERSAMPLES


class Moment(NamedTuple):
    """The chip at a moment. level: the buzzer's pin. ms: of the chip's time since it was begun, over all resets.

    steps_ms: the sum of all that its converter was given to read since the last power-up, added up by the simulator.
    """

    level: int
    ms: float
    register: int
    uptime_ms: int
    steps: int


class Chip:
    """`with Chip(folder / "port") as chip:` runs the image, in real time or `pace` times as fast, with `path` its port.

    edges: of the buzzer's pin, each with the register of that very moment. said: each line that it put on its wire,
    whether or not anybody heard it. seed: of the memory that a power-up finds.
    """

    def __init__(self, path: Path, *, pace: float = 1.0, seed: int = 1) -> None:
        self.path = path
        self.edges: list[Moment] = []
        self.said: list[bytes] = []
        self.barks = 0
        self._told: list[list[str]] = []
        self._news = threading.Condition()
        self._words = [
            str(chip_program()), str(image() / "node.elf"), str(path), f"{pace:g}", str(seed), hex(symbol("node")),
            hex(symbol("_end")),
        ]

    def __enter__(self) -> Chip:
        self._process = subprocess.Popen(
            self._words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
        )
        threading.Thread(target=self._gather, daemon=True).start()
        self.wait_for(lambda: bool(self.said), 10, "a first line: before its port is set up the chip hears nothing")
        return self

    def __exit__(self, kind: type[BaseException] | None, err: BaseException | None, at: TracebackType | None) -> None:
        self._process.kill()
        self._process.wait(10)
        self.path.unlink(missing_ok=True)

    # what is done to it ----------------------------------------------------------------------------------------

    def light(self, mv: float) -> None:
        """Hold the sensor's pin at this from now on."""
        self._say(f"mv {mv:g}")

    def table(self, rows: Sequence[tuple[float, float]], linear: bool = False) -> None:
        """Light from a table of (ms from now, millivolts), each held until the next or straight between them."""
        file = self.path.with_name(self.path.name + ".light")
        file.write_text("".join(f"{ms:.3f} {mv:.3f}\n" for ms, mv in rows), encoding="ascii")
        self._say(f"table {file} {'linear' if linear else 'held'}")
        self.tell()  # it is read by now

    def press(self, ms: float = 80) -> Moment:
        """Press the button for so long; the chip at the moment at which it went down."""
        return _moment(self._ask(f"press {ms:g}", "down"))

    def reset(self, held_ms: float = 0) -> None:
        """A reset that keeps memory, as opening a USB port gives; held for so long, as a bootloader waits."""
        self._say(f"reset {held_ms:g}")

    def power_cycle(self, off_ms: float = 50, paint: bool = False) -> None:
        """Power off and on: memory holds chance, or, painted, the same byte everywhere."""
        self._say(f"{'paint' if paint else 'power'} {off_ms:g}")

    def hang(self) -> None:
        """Its program stands still from now on, until the watchdog resets it."""
        self._say("hang")

    # what is seen of it ----------------------------------------------------------------------------------------

    def tell(self) -> Moment:
        """The chip as it is now."""
        return _moment(self._ask("tell"))

    def stack_bytes(self) -> tuple[int, int]:
        """The deepest that the stack came since a painted power-up, and how deep it may come."""
        _, used, room = self._ask("stack")
        return int(used), int(room)

    def readings(self) -> list[RegisterReading]:
        """All reading lines that it said."""
        decoded = NativeDecoder().feed(b"".join(line + b"\n" for line in list(self.said)))
        return [item for item in decoded if isinstance(item, RegisterReading)]

    def wait_edge(self, level: int, seconds: float, after: int = 0) -> Moment:
        """The first edge to this level among those beyond the first `after`."""
        self.wait_for(lambda: any(e.level == level for e in self.edges[after:]), seconds, f"the pin goes to {level}")
        return next(e for e in self.edges[after:] if e.level == level)

    def wait_for(self, condition: Callable[[], bool], seconds: float, what: str) -> None:
        """Wait until this holds; looked at with each thing that the chip tells."""
        with self._news:
            assert self._news.wait_for(condition, seconds), f"not within {seconds} s: {what}"

    def _ask(self, line: str, what: str = "") -> list[str]:
        before, what = len(self._told), what or line
        self._say(line)
        self.wait_for(lambda: any(t[0] == what for t in self._told[before:]), 10, f"an answer to {line}")
        return next(t for t in self._told[before:] if t[0] == what)

    def _say(self, line: str) -> None:
        assert self._process.stdin is not None
        self._process.stdin.write(line + "\n")
        self._process.stdin.flush()

    def _gather(self) -> None:
        assert self._process.stdout is not None
        for line in self._process.stdout:
            if not line.startswith("chip "):
                continue  # the simulator's library shares the stream
            what, _, rest = line.removeprefix("chip ").rstrip("\n").partition(" ")
            with self._news:
                if what == "pin":
                    self.edges.append(_moment([what, *rest.split()]))
                elif what == "said":
                    self.said.append(rest.encode("latin-1"))
                else:
                    self.barks += what == "watchdog"
                    self._told.append([what, *rest.split()])
                self._news.notify_all()


def _moment(words: list[str]) -> Moment:
    _, level, ms, register, uptime_ms, steps = words
    return Moment(int(level), float(ms), int(register), int(uptime_ms), int(steps))


class Talk:
    """`with Talk(chip) as talk:` reads and writes the chip's port as a program without a daemon would."""

    def __init__(self, chip: Chip) -> None:
        self._file = os.open(chip.path, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
        self._decoder = NativeDecoder()
        self.readings: list[RegisterReading] = []
        self.answers: list[str] = []
        self.bad: list[BadInput] = []
        self._before: dict[str, int] = {}  # how many readings stood before the last answer of a text

    def __enter__(self) -> Talk:
        return self

    def __exit__(self, kind: type[BaseException] | None, err: BaseException | None, at: TracebackType | None) -> None:
        os.close(self._file)

    def write(self, data: bytes) -> None:
        """Bytes as they are."""
        while data:
            data = data[os.write(self._file, data) :]

    def ask(self, command: str, seconds: float = 5) -> str:
        """One command, and its answer."""
        return self.answer(frame_command(command), seconds)

    def answer(self, line: bytes, seconds: float = 5) -> str:
        """The answer to one line as it is."""
        before = len(self.answers)
        self.write(line)
        self.wait_for(lambda: len(self.answers) > before, seconds, f"an answer to {line!r}")
        return self.answers[before]

    def now(self) -> RegisterReading:
        """The line that `now` brings."""
        assert self.ask("now") == "ok now"
        return self.readings[self._before["ok now"] - 1]  # others may have come since

    def wait_lines(self, more: int, seconds: float = 10) -> list[RegisterReading]:
        """The next readings, so many."""
        before = len(self.readings)
        self.wait_for(lambda: len(self.readings) >= before + more, seconds, f"{more} readings")
        return self.readings[before : before + more]

    def wait_for(self, condition: Callable[[], bool], seconds: float, what: str) -> None:
        """Read until this holds."""
        end = time.monotonic() + seconds
        while not condition():
            left = end - time.monotonic()
            assert left > 0, f"not within {seconds} s: {what}; bad input: {self.bad[-3:]}"
            self.read(min(left, 0.05))

    def drain(self, quiet_s: float = 0.3) -> None:
        """Read until nothing has come for so long."""
        while self.read(quiet_s):
            pass

    def read(self, timeout_s: float = 0.0) -> bool:
        """Take in what came, after waiting up to so long for the first byte; False where nothing came."""
        if not select.select([self._file], [], [], timeout_s)[0]:
            return False
        for item in self._decoder.feed(os.read(self._file, 65536)):
            if isinstance(item, RegisterReading):
                self.readings.append(item)
            elif isinstance(item, Answer):
                self._before[item.text] = len(self.readings)
                self.answers.append(item.text)
            elif isinstance(item, BadInput):
                self.bad.append(item)
        return True
