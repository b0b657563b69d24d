"""A day of printing, gathered from the journal alone: its prints, the light that fell, and what happened."""

from __future__ import annotations

from datetime import date as Date
from datetime import datetime, time, timedelta
from typing import Any

import msgspec

from ..clock import iso_utc, local_date
from ..exposure.states import Act, State
from ..exposure.target import Combination
from ..journal.replay import count_anew
from ..journal.store import Kept, Store
from ..messages import EventDoc, ExposureDoc
from ..model import Refusal
from ..units import US_PER_S, stops_between
from .light import BINS, LightOfDay, gather_light
from .minutes import reading_span
from .standing import standing

CALLS = ("look", "lead", "reached", "overshoot")
PADDING = 0.04


class Stretch(msgspec.Struct, frozen=True):
    """A stretch in the light, as wall labels in microseconds."""

    start_us: int
    stop_us: int


class Print(msgspec.Struct, frozen=True):
    """One exposure of the day.

    document: its figures; for one that is still running, counted from the readings kept so far. stops: given dose
    above the target's, None for a void print. held_s: time out of the light between start and end, in dose time.
    events: all that it went through. alarms: of its sensor while it ran.
    """

    document: ExposureDoc
    combination: Combination
    stops: float | None
    held_s: float
    overridden: tuple[str, ...]
    in_light: list[Stretch]
    events: list[EventDoc]
    alarms: list[EventDoc]

    @property
    def is_void(self) -> bool:
        """Whether its start was taken back: it is shown as void, and is part of no sum."""
        return self.document.state == State.VOID

    @property
    def calls(self) -> list[EventDoc]:
        """The calls that were made."""
        return [e for e in self.events if e.event in CALLS]


class Day(msgspec.Struct, frozen=True):
    """One local day. from_us, to_us: the stretch that the traces of light span, as wall labels."""

    date: str
    prints: list[Print]
    sensors: list[LightOfDay]
    from_us: int
    to_us: int

    def as_json(self) -> dict[str, Any]:
        """The document of `day --json`."""
        return {
            "date": self.date,
            "exposures": [_print_json(p) for p in self.prints],
            "sensors": self.sensors,
            "trace_from_utc": iso_utc(self.from_us),
            "trace_to_utc": iso_utc(self.to_us),
        }


def day_bounds(text: str) -> tuple[int, int]:
    """First and past-the-last microsecond (wall, since 1970 UTC) of a local day. Raises `Refusal` (code 2)."""
    try:
        day = Date.fromisoformat(text)
        ends = [datetime.combine(d, time()).timestamp() for d in (day, day + timedelta(days=1))]
    except (ValueError, OverflowError, OSError):
        raise Refusal(f"day {text!r}: give it as YYYY-MM-DD, such as 2026-06-21", 2) from None
    return round(ends[0] * US_PER_S), round(ends[1] * US_PER_S)


def newest_day(store: Store) -> str:
    """The newest day with exposures. Raises `Refusal` when there are none."""
    wall_us = store.last_day_wall_us()
    if wall_us is None:
        raise Refusal("no exposure in the journal yet: `uvdose expose TARGET` begins one")
    return local_date(wall_us)


def gather(store: Store, text: str) -> Day:
    """Everything about one local day. Raises `Refusal`."""
    wall0_us, wall1_us = day_bounds(text)
    prints = [_print(store, kept) for kept in store.between(wall0_us, wall1_us)]
    from_us, to_us = _span(store, prints, wall0_us, wall1_us)
    sensors = gather_light(store, wall0_us, wall1_us, from_us, to_us)
    return Day(text, prints, sensors, from_us, to_us)


def _span(store: Store, prints: list[Print], wall0_us: int, wall1_us: int) -> tuple[int, int]:
    """What the timeline shows: the prints with a little air on both sides, or all readings when there are none."""
    lit = [stretch for p in prints if not p.is_void for stretch in p.in_light]
    if lit:
        begin, end = min(s.start_us for s in lit), max(s.stop_us for s in lit)
        air = int((end - begin) * PADDING) + US_PER_S
        return begin - air, end + air
    found = reading_span(store, wall0_us, wall1_us)
    begin, end = found if found is not None else (wall0_us, wall1_us)
    return begin, max(end, begin + BINS)


def _print(store: Store, kept: Kept) -> Print:
    counted = count_anew(store, kept)
    document = standing(store, kept, counted)
    shift_us = kept.begin_wall_us - kept.plan.begin_us
    records = [record for record in counted.exposure.acts if not record.withdrawn]
    last_us = counted.last_us if counted.last_us is not None else kept.plan.begin_us
    end_us = counted.exposure.finished_us if counted.exposure.finished_us is not None else last_us
    held_us = 0
    for record, after in zip(records, [*records[1:], None], strict=True):
        if record.act is Act.HOLD:
            held_us += max(0, (after.when_us if after is not None else end_us) - record.when_us)
    stretches = [
        Stretch(w.start.t_us + shift_us, max(w.start.t_us, w.stop.t_us if w.stop is not None else end_us) + shift_us)
        for w in counted.exposure.account.windows
    ]
    begin_us = kept.begin_wall_us
    return Print(
        document=document,
        combination=kept.plan.target.combination,
        stops=stops_of(document),
        held_s=held_us / US_PER_S,
        overridden=kept.plan.overridden,
        in_light=stretches,
        events=_events(store, "exposure = ?", (document.id,)),
        alarms=_events(
            store, "exposure IS NULL AND sensor = ? AND event = 'alarm' AND wall_us BETWEEN ? AND ?",
            (kept.plan.sensor, begin_us, end_us + shift_us),
        ),
    )


def stops_of(document: ExposureDoc) -> float | None:
    """How many stops a print got above its target; None for a void one, a strip or tablet, and where none counted."""
    if document.state == State.VOID or not document.target_version:
        return None
    return stops_between(document.dose, document.target_dose)


def _events(store: Store, where: str, values: tuple[object, ...]) -> list[EventDoc]:
    rows = store.db.execute(
        f"SELECT id, wall_us, event, exposure, sensor, data FROM event WHERE {where} ORDER BY id", values
    )
    return [EventDoc(i, iso_utc(w), e, x, s, msgspec.json.decode(d)) for i, w, e, x, s, d in rows]


def _print_json(p: Print) -> dict[str, Any]:
    document: dict[str, Any] = msgspec.to_builtins(p.document)
    return document | {
        "process": p.combination.process,
        "paper": p.combination.paper,
        "coat": p.combination.coat,
        "film": p.combination.film,
        "stops": p.stops,
        "held_s": p.held_s,
        "overridden": list(p.overridden),
        "events": [e.flat() for e in p.events],
        "alarms_seen": [e.flat() for e in p.alarms],
    }
