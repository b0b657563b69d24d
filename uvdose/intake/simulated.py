"""A sensor that is simulated, but reached as a real one is: a node on a real pty, read by path.

The light is invented, for trying things out and for the demo; it is no measurement of any sky. Clear light is about
400 counts, which with a scale of 0.01 to 0.02 mW/cm² per count is about what a UVA sensor sees of a clear noon.
"""

from __future__ import annotations

import math
import random
import threading
from collections.abc import Callable

import msgspec

from ..clock import Clock
from ..config import SensorSettings
from .link import LinkState, Sink
from .node import SimulatedNode
from .pty_wire import PtyWire
from .serial_port import SerialLink

RATE_HZ = 4.0
CLEAR_COUNTS = 400.0
FULL_SCALE = 1023
CELL_S = 120.0
LONGEST_WAIT_S = 0.05
STRIDE_MS = 2000
JOIN_S = 3.0


def clear(seconds: float) -> float:
    """Clear light in counts: steady, with a slow swing of one per cent, as haze makes."""
    return CLEAR_COUNTS * (1 + 0.01 * math.sin(2 * math.pi * seconds / 600))


def cloud(seconds: float) -> float:
    """Clear light with a cloud in each two minutes, which leaves 25 to 60 % for some tens of seconds."""
    cell = math.floor(seconds / CELL_S)
    draw = random.Random(cell + 7919)  # the same sky each time
    length_s = draw.uniform(20, 60)
    begin_s = cell * CELL_S + draw.uniform(30, CELL_S - length_s)  # the first half minute of a cell stays clear
    left = draw.uniform(0.25, 0.60)
    edge_s = draw.uniform(2, 5)
    depth = min(1.0, max(0.0, min(seconds - begin_s, begin_s + length_s - seconds) / edge_s))
    return clear(seconds) * (1 - (1 - left) * depth * depth * (3 - 2 * depth))


def dark(seconds: float) -> float:
    """No light."""
    return 0.0


LIGHTS: dict[str, Callable[[float], float]] = {"clear": clear, "cloud": cloud, "dark": dark}


class SimulatedLink:
    """A node on a pty that lives in dose time, so that a paced clock paces it too. Implements `Link`."""

    def __init__(self, sensor: SensorSettings, clock: Clock) -> None:
        self._sensor = sensor
        self._clock = clock
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None
        self._reader: SerialLink | None = None
        full_scale = FULL_SCALE if sensor.full_scale is None else round(sensor.full_scale)
        boot = random.SystemRandom().getrandbits(32)
        self.node = SimulatedNode(boot, _remembering(LIGHTS[sensor.profile]), full_scale, sensor.zero, RATE_HZ)

    def start(self, sink: Sink) -> None:
        """Power the node up and read it. Reports a platform that has no pty. A second start is ignored."""
        if self._thread is not None:
            return
        try:
            wire = PtyWire()
        except (AttributeError, OSError) as err:
            mend = "use link = \"recording\" instead"
            sink(LinkState(self._sensor.name, False, f"no pseudo-terminal for a simulated sensor: {err}", mend))
            return
        start_us = self._clock.dose_us()
        self._thread = threading.Thread(
            target=self._run, args=(wire, start_us, sink), name=f"node-{self._sensor.name}", daemon=True
        )
        self._thread.start()
        self._reader = SerialLink(msgspec.structs.replace(self._sensor, port=wire.path), self._clock)
        self._reader.start(sink)

    def send(self, line: bytes) -> bool:
        """To the node, through the pty."""
        return self._reader is not None and self._reader.send(line)

    def press(self) -> None:
        """Press the node's button."""
        self.node.press()

    def stop(self) -> None:
        """Stop reading, then take the node's power away."""
        if self._reader is not None:
            self._reader.stop()
        self._stop.set()
        if self._thread is not None and self._thread is not threading.current_thread():
            self._thread.join(JOIN_S)

    def _run(self, wire: PtyWire, start_us: int, sink: Sink) -> None:
        try:
            while not self._stop.is_set():
                self._step(wire, (self._clock.dose_us() - start_us) // 1000)
                left_s = (self.node.next_line_ms * 1000 + start_us - self._clock.dose_us()) / 1e6 / self._clock.pace
                for line in wire.read_lines(min(left_s, LONGEST_WAIT_S)):
                    for said in self.node.command(line, (self._clock.dose_us() - start_us) // 1000):
                        wire.write(said)
        except Exception as err:
            sink(LinkState(self._sensor.name, False, f"the simulated node failed: {err!r}", "please report this"))
        finally:
            wire.close()

    def _step(self, wire: PtyWire, now_ms: int) -> None:
        """Up to now, in strides: after the computer slept there is a lot to make up for, and `stop` must still work."""
        while not self._stop.is_set():
            to_ms = min(now_ms, self.node.now_ms + STRIDE_MS)
            for line in self.node.advance(to_ms):
                wire.write(line)
            if to_ms >= now_ms:
                return


def _remembering(light: Callable[[float], float]) -> Callable[[float], float]:
    """The light at every tenth of a second, held between: a draw for each of 100 samples a second is costly."""
    last: tuple[int, float] = (-1, 0.0)

    def held(seconds: float) -> float:
        nonlocal last
        tenth = math.floor(seconds * 10 + 1e-6)
        if tenth != last[0]:
            last = (tenth, light(tenth / 10))
        return last[1]

    return held
