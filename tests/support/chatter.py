"""Boards and topics that say the lines of `tests/streams/` over and over: on real ptys, and at a real broker."""

from __future__ import annotations

import random
import termios
import tomllib
from pathlib import Path
from typing import Any, NamedTuple

import paho.mqtt.client as paho

from uvdose.intake.discover import SPEEDS
from uvdose.intake.pty_wire import PtyWire

from .paced import Paced

STREAMS = Path(__file__).parents[1] / "streams"
EACH_S = 0.03


class Stream(NamedTuple):
    """One invented stream, and what it must come to."""

    name: str
    link: str
    topic: str
    lines: list[bytes]
    end: bytes
    expect: dict[str, Any]
    speed: int | None


def streams(link: str) -> list[Stream]:
    """All streams of a link, by name. Lines are written as Latin-1, so that a file of text holds any byte."""
    found = []
    for path in sorted(STREAMS.glob("*.toml")):
        raw = tomllib.loads(path.read_text(encoding="utf-8"))
        assert raw["about"].startswith("Invented: ")
        lines = [line.encode("latin-1") for line in raw["lines"]]
        end = raw.get("end", "\n").encode()
        found.append(Stream(path.stem, raw["link"], raw.get("topic", ""), lines, end, raw["expect"], raw.get("speed")))
    return [s for s in found if s.link == link]


class Wire(PtyWire):
    """A pty whose speed the board can see, as a wire's other end hears it."""

    def speed(self) -> int | None:
        """The speed that was set on the port."""
        code = termios.tcgetattr(self._master)[5]
        return next((s for s in SPEEDS if getattr(termios, f"B{s}") == code), None)


class Boards(Paced):
    """A pty for each stream, under `folder / name`; all say their next line at once, each 30 ms."""

    def __init__(self, folder: Path, said: list[Stream]) -> None:
        super().__init__(1.0)
        self._said = said
        self._wires = {s.name: Wire() for s in said}
        self._dice = random.Random(11)
        self._count = 0
        for name, wire in self._wires.items():
            (folder / name).symlink_to(wire.path)

    def _begin(self) -> None:
        """They speak already, as boards do."""

    def _step(self) -> None:
        while self._count * EACH_S <= self.now_s():
            for stream in self._said:
                # Begun in the middle of a line, as a board that spoke before anybody listened.
                line = stream.lines[self._count % len(stream.lines)]
                data = (line if self._count else line[len(line) // 2 :]) + stream.end
                wire = self._wires[stream.name]
                wire.write(data if stream.speed in (None, wire.speed()) else self._garbled(data))
            self._count += 1

    def _garbled(self, data: bytes) -> bytes:
        """What another speed makes of it: bytes without sense, some of them newlines."""
        return self._dice.randbytes(len(data))

    def _end(self) -> None:
        for wire in self._wires.values():
            wire.close()


class Topics(Paced):
    """A client that publishes the next message of each stream, each 30 ms."""

    def __init__(self, port: int, said: list[Stream]) -> None:
        super().__init__(1.0)
        self.client = paho.Client(paho.CallbackAPIVersion.VERSION2)
        self._port = port
        self._said = said
        self._count = 0

    def _begin(self) -> None:
        self.client.connect("127.0.0.1", self._port)
        self.client.loop_start()

    def _step(self) -> None:
        while self._count * EACH_S <= self.now_s():
            for stream in self._said:
                self.client.publish(stream.topic, stream.lines[self._count % len(stream.lines)])
            self._count += 1

    def _end(self) -> None:
        self.client.disconnect()
        self.client.loop_stop()
