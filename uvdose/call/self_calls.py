"""Calls that nodes make by themselves: what they are armed with, from the bench, and what they did, as events."""

from __future__ import annotations

from collections.abc import Callable

from ..exposure.arming import wanted
from ..exposure.bench import Bench
from ..exposure.news import News
from ..model import RegisterReading
from ..units import US_PER_S
from .arming import Arming, Held

UNHEARD_US = 2 * US_PER_S
Tell = Callable[[str, "int | None", str, "dict[str, object]", "int | None"], None]


class SelfCalls:
    """send(sensor, command): to a node. tell(name, exposure, sensor, data, t_us): an event; t_us None for now."""

    def __init__(self, bench: Bench, send: Callable[[str, str], bool], tell: Tell) -> None:
        self.arming = Arming(send, self._armed, self._called_at, self._unarmed)
        self._bench = bench
        self._tell = tell
        self._news: dict[str, News] = {}

    def look(self, now_s: float) -> None:
        """See that each node holds what it should; nodes that have said nothing in this run are waited for."""
        for name, channel in self._bench.channels.items():
            last = channel.track.last
            line = last.reading if last is not None and channel.readings else None
            if isinstance(line, RegisterReading):
                wants = wanted(self._bench.exposures.of(name), channel)
                self.arming.look(name, line.boot, line.uptime_ms, line.flags, wants, now_s)

    def heard(self, news: News) -> None:
        """A node has called. Between two lines of one second the light tells when; over a long silence it is asked."""
        if not any(news.passed(held.register) for held in self.arming.armed_last(news.sensor)):
            return
        self._news[news.sensor] = news
        if news.mark.t_us - news.t0_us > UNHEARD_US:
            self.arming.inquire(news.sensor)
            return
        for held in self.arming.armed_last(news.sensor):
            if news.passed(held.register):
                self._called(news.sensor, held, news.moment_us(held.register))

    def _called_at(self, sensor: str, register: int, uptime_ms: int) -> None:
        news = self._news.get(sensor)
        for held in self.arming.armed_last(sensor):
            if news is not None and held.register == register and news.passed(register):
                self._called(sensor, held, news.at_uptime_us(uptime_ms))

    def _called(self, sensor: str, held: Held, t_us: int) -> None:
        self._tell("self-call", held.exposure, sensor, {"register": held.register}, t_us)

    def _armed(self, sensor: str, slot: int, held: Held) -> None:
        self._tell("armed", held.exposure, sensor, {"slot": slot, "register": held.register}, None)

    def _unarmed(self, sensor: str, line: str) -> None:
        self._tell("unarmed", None, sensor, {"line": line}, None)
