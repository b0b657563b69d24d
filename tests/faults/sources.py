"""Sensors that can fail: a native node on a pty or over MQTT, a plain board, momentary JSON; each knows the truth."""

from __future__ import annotations

import contextlib
import itertools
import json
import random
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import msgspec
from faults.light import Light
from faults.wire import Wire
from support.mqttnode import NativeMqttNode, ValueMqttNode
from support.ptynode import PtyNode, Sent
from support.textboard import TextBoard

from uvdose.exposure.record import ActRecord
from uvdose.exposure.states import Act
from uvdose.intake.node import TICK_MS, SimulatedNode
from uvdose.intake.node_words import unframe
from uvdose.model import Mark

COUNTS = 10.0  # per W/m²
SCALE = 0.01  # mW/cm² per count, so that 10 counts are 1 W/m²
FULL_SCALE = 1_000_000
REGISTER = f'unit = "counts"\nscale = {SCALE}\n'


def windows(acts: list[ActRecord]) -> list[tuple[ActRecord, ActRecord]]:
    """The stretches in the light: from a start or resume to the next hold or finish."""
    return [(a, b) for a, b in itertools.pairwise(acts) if a.act in (Act.LIGHT, Act.RESUME)]


class Boots:
    """The power-ups of one native node: what each counted, and when it heard which buzz."""

    nodes: dict[int, SimulatedNode]
    sent: list[Sent]

    def begin(self) -> None:
        self.nodes = {}
        self._sums: dict[int, list[int]] = {}
        self.heard4: list[float] = []
        self.quieted: list[float] = []

    def heed(self, line: bytes) -> None:
        """Note a target call, or its end; real time."""
        text = unframe(line) or ""
        if text.startswith("buzz 4 "):
            self.heard4.append(time.monotonic())
        elif text == "quiet":
            self.quieted.append(time.monotonic())

    def sounded_after(self, real_s: float) -> list[float]:
        """Target calls after a moment that went on sounding: what was still on its way is hushed right behind."""
        return [s for s in self.heard4 if s > real_s + 0.3 and not any(s <= q < s + 0.3 for q in self.quieted)]

    def true_register(self, boot: int, uptime_ms: int) -> int:
        """The true register at an uptime as lines tell it, from the light alone."""
        node = self.nodes[boot]
        ms = (uptime_ms - node.first_uptime_ms) % (1 << 32)
        sums = self._sums.setdefault(boot, [0])
        while len(sums) <= ms // TICK_MS:
            sums.append(sums[-1] + node._level(len(sums) - 1) * TICK_MS)
        return sums[ms // TICK_MS] + node._level(ms // TICK_MS) * (ms % TICK_MS)

    def counted(self, acts: list[ActRecord]) -> int:
        """Counts x ms in the light, summed anew; over a power-up, up to the last line of the boot before."""
        return sum(self._between(a, b) for a, b in windows(acts))

    def about(self, acts: list[ActRecord]) -> int:
        """The same, where an act lies in a stretch that the node counted unheard: told from its moment."""
        known = next(act for act in acts if act.cut.uptime_ms is not None)
        fixed = [
            act if act.cut.uptime_ms is not None
            else msgspec.structs.replace(act, refined=None, mark=self._moved(known, act))
            for act in acts
        ]
        return self.counted(fixed)

    def _moved(self, known: ActRecord, act: ActRecord) -> Mark:
        boot = known.cut.boot or 0
        uptime_ms = ((known.cut.uptime_ms or 0) + (act.when_us - known.cut.t_us) // 1000) % (1 << 32)
        return Mark(act.when_us, boot, uptime_ms, self.true_register(boot, uptime_ms))

    def _between(self, a: ActRecord, b: ActRecord) -> int:
        assert None not in (a.cut.boot, b.cut.boot, a.cut.uptime_ms, b.cut.uptime_ms)
        first, last = (self._at(c) for c in (a, b))
        order = list(self.nodes)
        whole = [self._last_said(boot) for boot in order[order.index(a.cut.boot or 0) : order.index(b.cut.boot or 0)]]
        return sum(whole) + last - first

    def _at(self, act: ActRecord) -> int:
        """The true register at an act fixed on a line; at another the one that was told from the level."""
        if self.on_line(act):
            return self.true_register(act.cut.boot or 0, act.cut.uptime_ms or 0)
        return act.cut.register or 0

    def on_line(self, act: ActRecord) -> bool:
        """Whether an act was fixed on the line that it asked for, which must come within a quarter of a second."""
        uptime = f",{act.cut.uptime_ms},".encode()
        boot = b"uv1,%08x," % (act.cut.boot or 0)
        return act.refined is not None and any(s.line.startswith(boot) and uptime in s.line for s in self.sent)

    def _last_said(self, boot: int) -> int:
        return next(s.register for s in reversed(self.sent) if s.line.startswith(b"uv1,%08x," % boot))


class FaultyPty(PtyNode, Boots):
    """A native node on a pty. It can be unplugged, reset with and without its memory, and stand on a bad wire."""

    register = True

    def __init__(
        self, path: Path, light: Light, rng: random.Random, pace: float, *, rate_hz: float = 1.0,
        full_scale: int = FULL_SCALE, first_seq: int = 0, first_uptime_ms: int = 0,
    ) -> None:
        super().__init__(path, [0.0], pace=pace)
        self.begin()
        self.light, self.wire, self.rng = light, Wire(rng, pace), rng
        self._full_scale, self._rate_hz = full_scale, rate_hz
        self._on = True
        self._off_since_s = 0.0
        self._power_up(0.0, first_seq, first_uptime_ms)

    def settings(self, name: str) -> str:
        full = f"full_scale = {self._full_scale}\n"
        return f'[[sensor]]\nname = "{name}"\nlink = "serial"\nport = "{self.path}"\n{REGISTER}{full}'

    def _power_up(self, offset_s: float, first_seq: int = 0, first_uptime_ms: int = 0) -> None:
        offsets = [(0.0, offset_s)]

        def counts(s: float) -> float:
            shift = next(o for begin, o in reversed(offsets) if s >= begin)
            return COUNTS * self.light(s + shift)

        self._offsets = offsets
        self.node = SimulatedNode(
            self.rng.getrandbits(32), counts, self._full_scale, 0.0, self._rate_hz,
            first_seq=first_seq, first_uptime_ms=first_uptime_ms,
        )
        self.nodes[self.node.boot] = self.node

    def off(self) -> None:
        """Power away, or held in reset; the port stays."""
        with self._guard:
            self._on, self._off_since_s = False, self.now_s()

    def on(self, *, kept: bool) -> None:
        """Back: kept goes on where it stood (a reset without power loss), else it counts from 0 with a new boot."""
        with self._guard:
            now_s = self.now_s()
            if kept:
                self._away_s += now_s - self._off_since_s
                shift = self._offsets[-1][1] + now_s - self._off_since_s
                self._offsets.append(((self.node.now_ms + 10) // 10 / 100, shift))
                self.node.kept = True
            else:
                self._power_up(now_s)
                self._away_s = now_s
            self._on = True

    def raw(self, data: bytes) -> None:
        """Bytes that are no line of the node."""
        with self._guard:
            if self._wire is not None:
                self._wire.write(data)

    @property
    def device(self) -> str:
        return self._wire.path if self._wire is not None else ""

    def _step(self) -> None:
        with self._guard:
            lines = self._wire.read_lines(0) if self._wire is not None else []
            if not self._on:
                return
            self._say(self.node.advance(self.now_ms()))
            for line in lines:
                self.heed(line)
                self._say(self.node.command(line, self.now_ms()))

    def _pause_s(self) -> float:
        return 0.004

    def _say(self, lines: list[bytes]) -> None:
        for line in lines:
            if line.startswith(b"uv1,"):
                words = line.split(b",")
                self.sent.append(Sent(int(words[3]), int(words[5]), line))
            for piece in self.wire.arrive(line):
                if self._wire is not None:
                    self._wire.write(piece)


class FaultyMqtt(NativeMqttNode, Boots):
    """A native node over MQTT, with a last will of its own."""

    register = True

    def __init__(self, port: int, topic: str, light: Light, rng: random.Random, pace: float, user: str = "") -> None:
        super().__init__(port, topic, [0.0], pace=pace)
        self.begin()
        self.light, self.wire, self.sent = light, Wire(rng, pace), []
        self.node = SimulatedNode(rng.getrandbits(32), lambda s: COUNTS * light(s), FULL_SCALE)
        self.nodes[self.node.boot] = self.node
        self.client.will_set(f"{topic}/online", b"0", 1, retain=True)
        self.client.on_connect = self._greet
        self.client.reconnect_delay_set(1, 1)
        self.client.max_inflight_messages_set(200)
        if user:
            self.client.username_pw_set(user, user)

    def settings(self, name: str) -> str:
        return f'[[sensor]]\nname = "{name}"\nlink = "mqtt"\ntopic = "{self.topic}"\n{REGISTER}'

    def _greet(self, client: Any, *_: Any) -> None:
        client.subscribe(f"{self.topic}/command", 1)
        client.publish(f"{self.topic}/online", b"1", 1, retain=True)

    def _obey(self, payload: bytes) -> None:
        self.heed(payload)
        super()._obey(payload)

    def _say(self, lines: list[bytes]) -> None:
        for line in lines:
            reading = line.startswith(b"uv1,")
            if reading:
                words = line.split(b",")
                self.sent.append(Sent(int(words[3]), int(words[5]), line))
            for topic, piece in self.wire.arrive((f"{self.topic}/{'reading' if reading else 'answer'}", line)):
                self.client.publish(topic, piece, 1)

    def cut(self) -> None:
        """Its network goes, without a goodbye: the broker sees to the last will. The client comes back by itself."""
        sock = self.client.socket()
        if sock is not None:
            with contextlib.suppress(OSError):
                sock.shutdown(2)


class FaultyJson(ValueMqttNode):
    """Momentary values with a running number, and with a time of their own unless `timed` is off."""

    register = False

    def __init__(
        self, port: int, topic: str, light: Light, rng: random.Random, pace: float, *, timed: bool = True,
        user: str = "",
    ) -> None:
        super().__init__(port, topic, light, self._document, pace=pace)
        self.light, self.wire, self.timed = light, Wire(rng, pace), timed
        self._seq = 0
        publish: Callable[..., Any] = self.client.publish
        self.client.publish = (  # type: ignore[method-assign]
            lambda topic, payload, qos: [publish(t, p, qos) for t, p in self.wire.arrive((topic, payload))]
        )
        self.client.reconnect_delay_set(1, 1)
        self.client.max_inflight_messages_set(200)
        if user:
            self.client.username_pw_set(user, user)

    def settings(self, name: str) -> str:
        time_field = 'time_field = "/t"\n' if self.timed else ""
        return (
            f'[[sensor]]\nname = "{name}"\nlink = "mqtt"\ntopic = "{self.topic}"\nformat = "json"\nunit = "W/m2"\n'
            f'field = "/uv"\nseq_field = "/n"\n{time_field}'
        )

    def _document(self, at_s: float, value: float) -> str:
        self._seq += 1
        return json.dumps({"n": self._seq, "t": 1000.0 + at_s, "uv": value})


class FaultyBoard(TextBoard):
    """A board that prints a bare value; a light that is no number is printed as such."""

    register = False

    def __init__(
        self, path: Path, light: Light, rng: random.Random, pace: float, full_scale: float | None = None
    ) -> None:
        super().__init__(path, light, pace=pace, say=lambda v: "nan\r\n" if v != v else f"{v:.6f}\r\n")
        self.light, self.wire, self.full_scale = light, Wire(rng, pace), full_scale

    def settings(self, name: str) -> str:
        full_scale = f"full_scale = {self.full_scale}\n" if self.full_scale is not None else ""
        return (
            f'[[sensor]]\nname = "{name}"\nlink = "serial"\nport = "{self.path}"\nformat = "number"\nunit = "W/m2"\n'
            f"{full_scale}"
        )


Source = FaultyPty | FaultyMqtt | FaultyJson | FaultyBoard
