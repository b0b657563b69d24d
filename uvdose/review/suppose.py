"""Prints imagined on readings that are kept: when one begun at some moment would have reached its target, and what a
clock would have given.

Each start is an exposure like any other, with the acts that a person would have made, and takes its light from the
code that a recount uses. Many starts share one pass over the readings: a start takes part from its moment until it is
done. Nothing is kept.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence

import msgspec

from ..dose.account import Account
from ..dose.response import Identity, identity_response
from ..exposure.channel import Channel
from ..exposure.exposure import Exposure
from ..exposure.record import Plan
from ..exposure.states import Act
from ..exposure.target import Target, check_fit
from ..journal.imported import imported
from ..journal.judged import judged, one_by_one
from ..journal.replay import preroll_us
from ..journal.store import Store
from ..model import Kind, Mark, Refusal, RegisterSegment, Segment
from ..units import US_PER_S, stops_between, to_screen
from .labels import Labels

RESOLUTION_US = 1000


class Imagined(msgspec.Struct, frozen=True):
    """One print that never was. Doses in the target's unit.

    begin_us: wall label. needed_s: until the target, by the rule of the target call: with the central estimate of what
    was missing; None where it was not reached by the end of the day's light. dose: what it had by then, where it was
    not reached. bridged_s, missing_s: of that time without readings. clock_dose: what the clock's time gave, None
    without a clock. known: False where nobody knows the light at its start; nothing else is then told.
    """

    begin_us: int
    known: bool = False
    needed_s: float | None = None
    dose: float | None = None
    bridged_s: float = 0.0
    missing_s: float = 0.0
    clock_dose: float | None = None
    clock_missing_s: float = 0.0

    @property
    def reached_us(self) -> int | None:
        """Wall label of the moment at which the target was reached."""
        return None if self.needed_s is None else self.begin_us + round(self.needed_s * US_PER_S)

    def share(self, target: Target) -> float | None:
        """What the clock gave, as a share of the target."""
        return None if self.clock_dose is None else self.clock_dose / target.dose

    def stops(self, target: Target) -> float | None:
        """The same in stops."""
        return None if self.clock_dose is None else stops_between(self.clock_dose, target.dose)


class Bed(msgspec.Struct, frozen=True):
    """Whose light the prints are imagined in: a sensor of the journal, its settings by when they began, its pace."""

    sensor: str
    since_us: list[int]
    identities: list[Identity]
    pace: float

    def zero_at(self, t_us: int) -> float:
        """Its zero at a dose time, in its unit."""
        return self.at(t_us).zero

    def at(self, t_us: int) -> Identity:
        """Its settings at a dose time."""
        return self.identities[max(0, bisect_right(self.since_us, t_us) - 1)]


def bed_of(store: Store, target: Target, sensor: str | None) -> Bed:
    """The sensor named, else that of the target, else the only one. Raises `Refusal`."""
    known = [str(r[0]) for r in store.db.execute(
        "SELECT DISTINCT s.name FROM sensor s WHERE s.id IN (SELECT sensor FROM chunk) ORDER BY s.name"
    )]  # fmt: skip
    if sensor is None and target.identity is not None:
        sensor = target.identity.name
    if sensor is None and len(known) == 1:
        sensor = known[0]
    if sensor is None:
        some = ", ".join(known) or "none, the journal holds no readings"
        raise Refusal(f"say with --sensor by whose readings: one of {some}", 2)
    rows = store.db.execute(
        "SELECT min(c.t0_us), s.identity FROM chunk c JOIN sensor s ON s.id = c.sensor WHERE s.name = ? GROUP BY s.id"
        " ORDER BY min(c.t0_us)", (sensor,)
    ).fetchall()
    if not rows:
        raise Refusal(f"no readings of {sensor!r} in the journal; there are some of {', '.join(known) or 'no sensor'}")
    epoch = store.last_epoch()
    live = epoch is not None and all(one.sensor != sensor for one in imported(store.db))
    pace = epoch.pace if live and epoch is not None else 1.0
    return Bed(sensor, [int(t) for t, _ in rows], [msgspec.json.decode(i, type=Identity) for _, i in rows], pace)


def imagine(
    store: Store, target: Target, bed: Bed, day: Labels, begins_us: Sequence[int], clock_us: int | None,
    override: bool = False,
) -> list[Imagined]:
    """Prints begun at moments (wall labels, rising) of one day, which ends with its light, counted in one pass.

    clock_us: how long a clock lets each lie in the light. Raises `Refusal` where the target is not for the sensor.
    """
    end_us = day.dose_us(day.lit[1] if day.lit is not None else day.last_us)
    pending = [
        _Start(target, bed, begin_us, day.dose_us(begin_us), end_us, clock_us, override)
        for begin_us in begins_us
    ]
    every, pending = list(pending), pending[::-1]
    active: list[_Start] = []
    first = pending[-1].plan
    channel = Channel(bed.sensor, bed.at(first.begin_us), first.response, bed.pace)
    rows = judged(store.db, bed.sensor, preroll_us(store, bed.sensor, first.begin_us, first.response))
    try:
        for row in one_by_one(rows):
            timed = channel.replay(*row)
            while pending and pending[-1].plan.begin_us <= timed.t_us:
                active.append(pending.pop())
            for segment in timed.segments:
                for start in active:
                    start.add(segment)
            active = [start for start in active if not start.is_done]
            if not active and not pending:
                break
    except ValueError as err:
        raise Refusal(f"raw readings of {bed.sensor} cannot be read: {err}") from None
    return [start.told(channel) for start in every]


class _Start:
    """One start: the print as long as its day lasts, and beside it the one that a clock ends."""

    def __init__(
        self, target: Target, bed: Bed, wall_us: int, begin_us: int, end_us: int, clock_us: int | None, override: bool
    ) -> None:
        identity = bed.at(begin_us)
        response = identity_response(identity)
        check_fit(target, identity, response, override)
        self._wall_us = wall_us
        self.plan = Plan(0, target, bed.sensor, "", response, begin_us, bed.pace)
        self._print = _between(self.plan, begin_us, max(begin_us, end_us))
        self._clocked = _between(self.plan, begin_us, begin_us + clock_us) if clock_us is not None else None
        self._known: bool | None = None
        self._needed_us: int | None = None

    @property
    def is_done(self) -> bool:
        """Whether readings to come change nothing."""
        settled = self._known is not None and (self._print.settled or self._needed_us is not None)
        return self._known is False or (settled and (self._clocked is None or self._clocked.settled))

    def add(self, segment: Segment) -> None:
        """Take light in."""
        begin_us = self.plan.begin_us
        if segment.t1_us < begin_us or self._known is False:
            return
        if self._known is None and segment.t1_us > begin_us:
            self._known = segment.t0_us <= begin_us and not _is_unknown(segment)
        if self._clocked is not None and not self._clocked.settled:
            self._clocked.add(segment, None)
        if self._needed_us is None and not self._print.settled:
            before = self._print.account.reckoned()
            self._print.add(segment, None)
            if self._print.account.reckoned() >= self.plan.aim_base:
                self._needed_us = self._crossing_us(segment, before) - begin_us

    def _crossing_us(self, segment: Segment, before: float) -> int:
        """The first moment within a segment, in steps of a millisecond, at which the target was reached."""
        begin_us = self.plan.begin_us
        low, high = max(segment.t0_us, begin_us), segment.t1_us
        while high - low > RESOLUTION_US:
            middle = (low + high) // 2
            part = Account(self.plan.response)
            part.open(Mark(begin_us))
            part.close(Mark(middle))
            part.add(segment)
            if before + part.reckoned() >= self.plan.aim_base:
                high = middle
            else:
                low = middle
        return high

    def told(self, channel: Channel) -> Imagined:
        """How it went."""
        if not self._known:
            return Imagined(self._wall_us)
        unit = self.plan.response.unit
        done = self._needed_us is not None
        account = self._print.account
        figures = account.figures() if done else self._print.figures(channel.track, self._print.finished_us or 0)
        clock = self._clocked.figures(channel.track, self._clocked.finished_us or 0) if self._clocked else None
        return Imagined(
            begin_us=self._wall_us, known=True,
            needed_s=self._needed_us / US_PER_S if self._needed_us is not None else None,
            dose=None if done else to_screen(figures.dose, unit), bridged_s=figures.bridged_s,
            missing_s=figures.missing_s, clock_dose=to_screen(clock.dose, unit) if clock is not None else None,
            clock_missing_s=clock.missing_s if clock is not None else 0.0,
        )


def _between(plan: Plan, begin_us: int, end_us: int) -> Exposure:
    exposure = Exposure(plan)
    exposure.apply(Act.LIGHT, Mark(begin_us))
    exposure.apply(Act.FINISH, Mark(end_us))
    return exposure


def _is_unknown(segment: Segment) -> bool:
    """Whether nobody can say what fell in a part of it."""
    hole = segment.unread if isinstance(segment, RegisterSegment) else segment
    return hole is not None and hole.kind is Kind.MISSING
