"""Channel: one sensor from decoded input to segments of light, with its order, its time and its health. Pure."""

from __future__ import annotations

import msgspec

from ..decode.advice import shown, what_to_set
from ..dose.findings import ONLY_IN_LIGHT
from ..dose.health import Change, Health
from ..dose.integrator import Track
from ..dose.lines import RESET_FLAG
from ..dose.order import MomentOrder, RegisterOrder
from ..dose.quality import Quality
from ..dose.response import Identity, Response, node_says
from ..dose.standing import Standing
from ..dose.timebase import WRAP_32, NodeTime, SourceTime, clamped
from ..dose.together import Together, counts_on, together
from ..model import BadInput, Mark, MomentReading, Reading, RegisterReading, RegisterRun, Segment
from ..units import US_PER_S
from .news import REACHED_FLAG, News, news_of


class Timed(msgspec.Struct, frozen=True, gc=False):
    """A reading in order, at its dose time, and the light that it closed."""

    t_us: int
    reading: Reading
    segments: list[Segment]


class Channel:
    """One sensor. Its readings leave in order, each once, with rising dose time.

    lit: whether a print lies in its light, as its bench last knew; some findings are only then worth an alarm.
    wanted_us: the pause between readings that a print in its light wants at most, once it is told that they are longer.
    """

    def __init__(
        self, name: str, identity: Identity, response: Response, pace: float = 1.0, watch: type[Standing] = Quality
    ) -> None:
        self.name = name
        self.identity = identity
        self.track = Track(response, pace, watch)
        self.health = Health(pace, counts_on=identity.format == "native")
        self.bad_inputs = 0
        self._last_bad: BadInput | None = None
        self.readings = 0
        self.lit = False
        self.wanted_us = 0
        self._register_order = RegisterOrder()
        self._moment_order = MomentOrder(pace)
        self._node_time = NodeTime()
        self._source_time = SourceTime()
        self._restarts = 0
        self._last_us = 0
        self._flags = 0
        self._booted = False
        self._oldest_us: int | None = None
        self._grace_us: int | None = None
        self.news: News | None = None

    @property
    def late(self) -> int:
        """Readings that came twice or too late, and were left out."""
        return self._register_order.late + self._moment_order.late

    def respond(self, identity: Identity, response: Response) -> None:
        """Its settings are others from now on; exposures keep the response that they began with."""
        self.identity = identity
        self.track.respond(response)

    def introduced(self, who: str) -> Identity:
        """Its node has said who it is, which belongs to its identity."""
        self.identity = msgspec.structs.replace(self.identity, node=node_says(who))
        return self.identity

    def replay(self, response: Response, t_us: int, reading: Reading) -> Timed:
        """A reading out of the journal: in order and timed already, with the response of when it came.

        What its sensor is judged by is left as the last of them had it.
        """
        if response is not self.track.response:
            self.track.respond(response)
        if isinstance(reading, RegisterReading):
            self._register_order.resume(reading)
            self._flags = reading.flags
        self._last_us = t_us
        return Timed(t_us, reading, self.track.feed(reading, t_us))

    def replay_together(self, response: Response, t_us: list[int], run: RegisterRun) -> Together | None:
        """A run out of the journal, where its lines may be added as one: `replayed` takes them in."""
        last = self.track.last.reading if self.track.last is not None else None
        if not isinstance(last, RegisterReading) or not counts_on(last, run):
            return None
        if response is not self.track.response:
            self.track.respond(response)
        return together(self.track, last, run, t_us)

    def replayed(self, found: Together) -> None:
        """Take in lines of `replay_together`."""
        newest = found.run.reading(-1)
        self._register_order.resume(newest)
        self._flags, self._last_us = newest.flags, found.t_us[-1]
        self.track.add_together(found.t_us, found.values, newest)

    def take(self, item: Reading, arrival_us: int) -> tuple[list[Timed], list[Change]]:
        """One reading as it arrived."""
        if isinstance(item, RegisterReading):
            last = self.track.last
            if not self._register_order.admit(item, arrival_us - last.t_us if last is not None else None):
                return [], []
            self._booted = last is not None and getattr(last.reading, "boot", item.boot) != item.boot
            stood_still = bool(item.flags & RESET_FLAG) and not self._flags & RESET_FLAG
            self._flags = item.flags
            t_us = self._node_time.to_dose_us(item.boot, item.uptime_ms, arrival_us, stood_still)
            self.news = news_of(self.name, last, item, max(self._last_us, t_us))
            timed = [self._timed(item, t_us)]
        else:
            timed = self._moments(self._moment_order.feed(item, arrival_us))
        return timed, self._heard(timed[0].t_us, arrival_us) if timed else []

    def go_together(self, run: RegisterRun, arrival_us: int) -> Together | None:
        """A run, where its lines may be added as one, which `add_together` does; None where one may tell more."""
        point = self.track.last
        last = point.reading if point is not None and not run.flags & REACHED_FLAG else None
        if not isinstance(last, RegisterReading) or not counts_on(last, run):
            return None
        t_us = self._node_time.place_together(run.uptime_ms, arrival_us)
        return None if t_us is None else together(self.track, last, run, clamped(t_us, self._last_us, arrival_us))

    def add_together(self, found: Together, arrival_us: int) -> list[Change]:
        """Take in lines that go together."""
        run, newest = found.run, found.run.reading(-1)
        self._register_order.resume(newest)
        self._node_time.keep_together(run.uptime_ms, arrival_us, found.t_us[-1])
        self.track.add_together(found.t_us, found.values, newest)
        self._last_us, self._flags, self._booted = found.t_us[-1], run.flags, False
        self.readings += len(run)
        return self._heard(found.t_us[0], arrival_us)

    def tick(self, now_us: int) -> tuple[list[Timed], list[Change]]:
        """Time passed: readings that waited for a missing one go on, and silence is told."""
        timed = self._moments(self._moment_order.due(now_us))
        heard = self._heard(timed[0].t_us, now_us) if timed else []
        return timed, heard + self.lateness(now_us) + self.health.tick(now_us)

    def resumed(self, now_us: int, grace_us: int) -> None:
        """The daemon has just begun: what the node counted meanwhile is waited for before anything is predicted."""
        self._grace_us = now_us + grace_us
        self.health.expect(self.track.usual_us)

    def predicts(self, now_us: int) -> bool:
        """Whether the light of now may be told from the last reading."""
        return self.readings > 0 or self._grace_us is None or now_us >= self._grace_us

    def earliest_us(self, due_us: int) -> int:
        """A moment, but not before the node has had its say after a start of the daemon."""
        return due_us if self.readings > 0 or self._grace_us is None else max(due_us, self._grace_us)

    @property
    def last_bad(self) -> str:
        """The newest input that could not be read: why, and what came; empty when all could."""
        return f"{self._last_bad.reason}: {shown(self._last_bad.excerpt)}" if self._last_bad is not None else ""

    def bad(self, item: BadInput, arrival_us: int) -> list[Change]:
        """Count an input that could not be read; told where nothing else comes."""
        self.bad_inputs += 1
        self._last_bad = item
        mend = what_to_set(self.identity.format, item.reason, item.excerpt)
        return self.health.unread(item.reason, shown(item.excerpt), mend, arrival_us)

    def takes_s(self, dose_base: float) -> float | None:
        """How long a dose would take in the light of now, seconds of dose time; None in the dark."""
        last, response = self.track.last, self.track.response
        rate = 0.0 if last is None else response.factor * (last.value - response.zero)
        return dose_base / rate if rate > 0 else None

    def due_us(self, now_us: int) -> int | None:
        """When `tick` has something to do."""
        held = self._moment_order.due_us()
        waits = held + self._moment_order.wait_us() if held is not None else None
        grace = None if self.predicts(now_us) else self._grace_us
        return min((d for d in (self.health.due_us(), waits, grace) if d is not None), default=None)

    def mark(self, t_us: int) -> Mark:
        """The mark of an act at a moment: for a register node the register, told from the level of now."""
        last = self.track.last
        if last is None or not isinstance(last.reading, RegisterReading):
            return Mark(t_us)
        if t_us < last.t_us:
            return Mark(t_us)  # in the past: the readings around it will tell
        line = last.reading
        since_ms = (t_us - last.t_us) // 1000
        register = line.register + since_ms * line.level_milli // 1000
        return Mark(t_us, line.boot, (line.uptime_ms + since_ms) % WRAP_32, max(0, register))

    def fresh(self, now_us: int, floor_us: int) -> bool:
        """Whether a reading came lately enough to start an exposure on it."""
        last = self.track.last
        return last is not None and now_us - last.t_us <= max(10 * US_PER_S, 3 * self.track.usual_us, floor_us)

    def _moments(self, ordered: list[tuple[MomentReading, int]]) -> list[Timed]:
        if self._moment_order.restarts != self._restarts:
            self._restarts = self._moment_order.restarts
            self._source_time.restart()
        out = []
        for reading, arrival_us in ordered:
            if reading.source_s is None:
                t_us = arrival_us
            else:
                t_us = self._source_time.to_dose_us(int(reading.source_s * US_PER_S), arrival_us)
            out.append(self._timed(reading, t_us))
        return out

    def _timed(self, reading: Reading, t_us: int) -> Timed:
        self._last_us = max(self._last_us, t_us)
        self.readings += 1
        return Timed(self._last_us, reading, self.track.feed(reading, self._last_us))

    def lateness(self, now_us: int) -> list[Change]:
        """Whether the oldest of what came came late: asked once for all that arrived together."""
        oldest_us, self._oldest_us = self._oldest_us, None
        return self.health.late(now_us - oldest_us) if oldest_us is not None else []

    def _heard(self, oldest_us: int, arrival_us: int) -> list[Change]:
        if self._oldest_us is None:
            self._oldest_us = oldest_us
        restarted, self._booted = self._booted, False
        found = self.track.quality.found if self.lit else self.track.quality.found - ONLY_IN_LIGHT
        return self.health.heard(arrival_us, self.track.usual_us, found, restarted)



_WHO = ("name", "firmware", "sensor", "gain", "full scale", "zero")
_IDENTITY = (2, 3, 4)


def told_change(was: str | None, now: str, full_scale: float | None) -> str | None:
    """What has changed in a node's own account of itself that a dose depends on, as a line; None for nothing."""
    then, told = (was or now).split(" ")[2:], now.split(" ")[2:]
    changed = [
        f"{_WHO[i]} was {then[i]}, is {told[i]}"
        for i in _IDENTITY
        if i < min(len(then), len(told)) and then[i] != told[i]
    ]
    if len(told) > _WHO.index("full scale") and full_scale is not None:
        try:
            own = float(told[4])
        except ValueError:
            own = full_scale
        if own != full_scale:
            changed.append(f"full scale is {told[4]} on the node, {full_scale:g} in the settings")
    if not changed:
        return None
    return f"the node says: {'; '.join(changed)}: doses may not compare with those of before; make a calibration print"
