"""`call test`: each way by which a call reaches the person is tried now, all of them at once. On the daemon's loop."""

from __future__ import annotations

import asyncio
import contextlib
import secrets
from collections.abc import Awaitable, Callable
from pathlib import Path

from ..call.ways import DESKTOP, PUSH, Ways
from ..config import Settings
from ..core import Core
from ..exposure.calls import TEST
from ..exposure.outcome import Outcome, Ring
from ..intake.mqtt_echo import Echo
from ..messages import CallTestDoc, WayDoc
from ..model import Fact, Refusal

ANSWER_S = 3.0
PRINTED_S = 2.0
BROKER_S = 5.0
OUTSIDE_S = 40.0  # a way has limits of its own; one message that hangs may be before this one

Bell = Callable[[Callable[[], None]], None]

BUZZER, TERMINAL, MQTT = "buzzer", "terminal", "mqtt"
WAYS = (BUZZER, TERMINAL, DESKTOP, MQTT, PUSH)
_SET_UP = {
    DESKTOP: "not set up: desktop = true under [call] in uvdose.toml",
    PUSH: "not set up: push_file under [call] in uvdose.toml names a file of addresses",
    MQTT: "not set up: [mqtt] in uvdose.toml names a broker",
    TERMINAL: "not set up: the daemon runs without a terminal, or terminal = false under [call]",
    BUZZER: "not set up: no sensor is a node that speaks the native line",
}


class Trier:
    """bell(done): ring the daemon's terminal, done() when it is printed; None where there is no terminal to ring."""

    def __init__(self, core: Core, ways: Ways, settings: Settings, folder: Path, bell: Bell | None) -> None:
        self._core = core
        self._ways = ways
        self._settings = settings
        self._folder = folder
        self._bell = bell
        self._loop = asyncio.get_running_loop()
        self._buzzes: dict[str, asyncio.Future[str]] = {}
        core.heard_test = self._heard

    async def test(self, way: str | None) -> CallTestDoc:
        """Try one way, or all. Raises `Refusal` for one that is unknown."""
        if way is not None and way not in WAYS:
            raise Refusal(f"no way {way!r}; one of {', '.join(WAYS)}", 2)
        tries: list[Awaitable[WayDoc]] = []
        for name in WAYS if way is None else (way,):
            tries += self._tries(name)
        found = list(await asyncio.gather(*tries))
        known = [doc.worked for doc in found if doc.worked is not None]
        return CallTestDoc(bool(known) and all(known), found)

    def _tries(self, way: str) -> list[Awaitable[WayDoc]]:
        core = self._core
        if way == BUZZER:
            nodes = [name for name, c in core.bench.channels.items() if c.identity.format == "native"]
            return [self._buzzer(name) for name in nodes] or [_absent(way)]
        if way == TERMINAL and self._bell is not None:
            return [self._terminal(self._bell)]
        if way == MQTT and self._settings.mqtt is not None:
            return [self._mqtt()]
        if way in self._ways.outlets:
            return [self._outside(way)]
        return [_absent(way)]

    async def _buzzer(self, sensor: str) -> WayDoc:
        core = self._core
        if sensor in self._buzzes:
            return WayDoc(BUZZER, sensor, False, "another test is under way; try again in some seconds")
        heard = self._buzzes[sensor] = self._loop.create_future()
        ring = Ring(0, f"{TEST}:{sensor}", TEST, sensor, core.clock.dose_us(), False, TEST)
        try:
            core.desk.ring(ring, core.clock.real_s())
            core.tick()
            line = await _within(heard, ANSWER_S, "the node does not answer: look at its link, power and buzzer")
        finally:
            del self._buzzes[sensor]
            core.desk.hush(ring.exposure, ring.key, core.clock.real_s())
        return WayDoc(BUZZER, sensor, not line, line or "the node answered that it sounds")

    def _heard(self, sensor: str) -> None:
        self._done(self._buzzes.get(sensor), "")

    def _done(self, waiting: asyncio.Future[str] | None, line: str) -> None:
        if waiting is not None and not waiting.done():
            waiting.set_result(line)

    async def _terminal(self, bell: Bell) -> WayDoc:
        printed: asyncio.Future[str] = self._loop.create_future()
        bell(lambda: self._tell(printed, ""))
        line = await _within(printed, PRINTED_S, "the daemon's terminal stands still (Ctrl-S?)")
        return WayDoc(TERMINAL, None, not line, line or "the daemon's terminal took the line and its bell")

    async def _outside(self, way: str) -> WayDoc:
        sent: asyncio.Future[str] = self._loop.create_future()
        self._ways.test(way, lambda line: self._tell(sent, line))
        line = await _within(sent, OUTSIDE_S, "it does not end in time")
        return WayDoc(way, None, not line, line or "the message was taken; look whether it has come")

    def _tell(self, waiting: asyncio.Future[str], line: str) -> None:
        """From any thread."""
        with contextlib.suppress(RuntimeError):  # the loop has ended
            self._loop.call_soon_threadsafe(self._done, waiting, line)

    async def _mqtt(self) -> WayDoc:
        mark = secrets.token_hex(8)
        assert self._settings.mqtt is not None
        topic = f"uvdose/{self._settings.bench.name}/event"
        echo = Echo(self._settings.mqtt, self._folder, topic, lambda payload: mark.encode() in payload)
        echo.begin()
        try:
            if fault := await asyncio.to_thread(echo.ready, BROKER_S):
                return WayDoc(MQTT, None, False, fault)
            out = Outcome()
            data: dict[str, object] = {"what": "a test of the calls", "mark": mark}
            out.facts.append(Fact(self._core.clock.dose_us(), TEST, None, None, data))
            self._core.settle(out)
            heard = await asyncio.to_thread(echo.heard, BROKER_S)
        finally:
            await asyncio.to_thread(echo.end)
        return WayDoc(MQTT, None, heard, f"what was published on {topic} was {'' if heard else 'not '}heard there")


async def _absent(way: str) -> WayDoc:
    return WayDoc(way, None, None, _SET_UP[way])


async def _within(waiting: asyncio.Future[str], seconds: float, late: str) -> str:
    try:
        return await asyncio.wait_for(waiting, seconds)
    except TimeoutError:
        return late
