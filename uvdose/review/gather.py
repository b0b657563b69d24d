"""A day out of the journal alone. A settled print is final: only one that is not is counted anew from raw readings."""

from __future__ import annotations

import msgspec
import numpy as np

from ..exposure.exposure import Exposure
from ..exposure.fixing import overlap_us
from ..exposure.states import Act
from ..journal.daily import lying_at
from ..journal.imported import sensors_brought_in
from ..journal.prune import pruned
from ..journal.replay import count_anew, rebuild
from ..journal.store import Kept, Store
from ..messages import EventDoc
from ..notes import Calibration, PrintNote, Verdict
from ..stamps import day_bounds, iso_utc, local_date, zone_name
from ..units import US_PER_S, irradiance_unit
from . import recorded
from .byclock import by_clock
from .changes import health_of, targets_made
from .day import Day, Print, Share, stops_of
from .light import BINS, light_of_day
from .minutes import light_minutes, reading_span
from .recorded import Recorded, Stretch
from .standing import standing
from .sums import totals, waiting, waits

PADDING = 0.04
_AROUND_US = 120 * US_PER_S  # readings before and after, so that light goes on to both ends of the day


class _Lain(msgspec.Struct, frozen=True):
    """A print with its stretches in the light in dose time, and where those stand against wall labels."""

    kept: Kept
    print: Print
    windows: list[Stretch]
    shift_us: int


def gather(store: Store, text: str) -> Day:
    """Everything about one local day. Raises `Refusal`."""
    wall0_us, wall1_us = day_bounds(text)
    begun = [_lain(store, kept) for kept in store.between(wall0_us, wall1_us)]
    before = [
        lain for lain in (_lain(store, kept) for kept in lying_at(store, wall0_us))
        if any(s.stop_us > wall0_us and s.start_us < wall1_us for s in lain.print.in_light) and not lain.print.is_void
    ]
    read = recorded.read(store, wall0_us - _AROUND_US, wall1_us + _AROUND_US)
    from_us, to_us = _span(store, [lain.print for lain in (*before, *begun)], wall0_us, wall1_us)
    by_sensor = {(r.name, r.unit): r for r in read}
    gone = pruned(store.db)
    sensors = [
        light for day in light_minutes(store, wall0_us, wall1_us)
        if (light := light_of_day(
            day, by_sensor.get((day.name, day.unit)), from_us, to_us, _lit([*before, *begun], day.name), gone
        )) is not None
    ]
    clear = {(light.name, light.unit): light.clear for light in sensors}

    def filled(lain: _Lain) -> Print:
        key = lain.kept.plan.sensor, irradiance_unit(lain.print.document.unit)
        return _with_light(lain, by_sensor.get(key), clear.get(key), wall0_us, wall1_us)

    prints, from_before = [filled(lain) for lain in begun], [filled(lain) for lain in before]
    return Day(
        date=text, prints=prints, sensors=sensors, from_us=from_us, to_us=to_us, zone=zone_name() or "",
        from_before=from_before, waiting=waiting([*from_before, *prints]), totals=totals(prints),
        targets=targets_made(store, wall0_us, wall1_us), health=health_of(store, read, wall0_us, wall1_us),
        brought_in=sorted({light.name for light in sensors} & set(sensors_brought_in(store.db))),
    )


def _span(store: Store, prints: list[Print], wall0_us: int, wall1_us: int) -> tuple[int, int]:
    """What the timeline shows of the day: the prints with a little air on both sides, or all readings when there are
    none. It ends with the day."""
    lit = [stretch for p in prints if not p.is_void for stretch in p.in_light]
    if lit:
        begin, end = max(wall0_us, min(s.start_us for s in lit)), min(wall1_us, max(s.stop_us for s in lit))
        air = int((end - begin) * PADDING) + US_PER_S
        return max(wall0_us, begin - air), min(wall1_us, end + air)
    found = reading_span(store, wall0_us, wall1_us)
    begin, end = found if found is not None else (wall0_us, wall1_us)
    return begin, max(end, begin + BINS)


def _lit(lain: list[_Lain], sensor: str) -> list[Stretch]:
    return [
        s for one in lain for s in one.print.in_light
        if one.kept.plan.sensor == sensor and not one.print.is_void
    ]


def _lain(store: Store, kept: Kept) -> _Lain:
    """A print as its acts and its document have it, or counted anew where it is not settled."""
    shift_us = kept.begin_wall_us - kept.plan.begin_us
    if kept.settled:
        exposure, document, last_us = rebuild(store, kept), kept.document, kept.plan.begin_us
    else:
        counted = count_anew(store, kept, in_bulk=True)
        exposure, document = counted.exposure, standing(store, kept, counted)
        last_us = kept.plan.begin_us if counted.last_us is None else counted.last_us
    end_us = exposure.finished_us if exposure.finished_us is not None else last_us
    windows = [
        Stretch(w.start.t_us, max(w.start.t_us, w.stop.t_us if w.stop is not None else end_us))
        for w in exposure.account.windows
    ]
    verdict = store.newest_note(Verdict, str(kept.plan.id))[1]
    part = document.part
    sheet = store.newest_note(Calibration, part.name)[1] if part is not None and not document.target_version else None
    reached_us, past = exposure.reached_us, document.dose - document.target_dose
    return _Lain(kept, Print(
        document=document,
        combination=kept.plan.target.combination,
        stops=stops_of(document),
        held_s=_held_us(exposure, end_us) / US_PER_S,
        overridden=kept.plan.overridden,
        in_light=[Stretch(w.start_us + shift_us, w.stop_us + shift_us) for w in windows],
        events=_events(store, "exposure = ?", (document.id,)),
        alarms=_events(
            store, "exposure IS NULL AND sensor = ? AND event = 'alarm' AND wall_us BETWEEN ? AND ?",
            (kept.plan.sensor, kept.begin_wall_us, end_us + shift_us),
        ),
        began=local_date(kept.begin_wall_us),
        light_unit=irradiance_unit(document.unit),
        past_dose=max(0.0, past) if reached_us is not None else 0.0,
        past_s=sum(
            overlap_us(w, reached_us, end_us) for w in exposure.account.windows
        ) / US_PER_S if reached_us is not None else 0.0,
        verdict=verdict,
        note=store.newest_note(PrintNote, str(kept.plan.id))[1],
        waits=waits(document, verdict, sheet),
    ), windows, shift_us)


def _held_us(exposure: Exposure, end_us: int) -> int:
    records = [record for record in exposure.acts if not record.withdrawn]
    return sum(
        max(0, (after.when_us if after is not None else end_us) - record.when_us)
        for record, after in zip(records, [*records[1:], None], strict=True) if record.act is Act.HOLD
    )


def _with_light(lain: _Lain, read: Recorded | None, clear: float | None, wall0_us: int, wall1_us: int) -> Print:
    """The print with what its sensor's readings of the day tell."""
    p, shift_us = lain.print, lain.shift_us
    if not lain.windows:
        return p
    begin_us, end_us = lain.windows[0].start_us, lain.windows[-1].stop_us
    inside = [
        Stretch(max(w.start_us, wall0_us - shift_us), min(w.stop_us, wall1_us - shift_us)) for w in lain.windows
    ]
    inside = [w for w in inside if w.stop_us > w.start_us]
    whole = begin_us + shift_us >= wall0_us and end_us + shift_us <= wall1_us
    dose = None
    if read is not None and len(read.t_us) > 1:
        ends = np.array([[w.start_us, w.stop_us] for w in inside], dtype=np.int64).reshape(-1, 2)
        dose = float((read.dose_until(ends[:, 1]) - read.dose_until(ends[:, 0])).sum())
    lit_s = sum(w.stop_us - w.start_us for w in inside) / US_PER_S
    counts = read is not None and clear is not None and not p.is_void and p.document.target_version > 0
    return msgspec.structs.replace(
        p,
        light_start=read.light_at(begin_us) if read is not None else None,
        light_end=read.light_at(end_us) if read is not None else None,
        share=None if whole else Share(lit_s, dose),
        clock=by_clock(read, lain.windows, p.document.target_dose, clear) if counts and read and clear else None,
    )


def _events(store: Store, where: str, values: tuple[object, ...]) -> list[EventDoc]:
    rows = store.db.execute(
        f"SELECT id, wall_us, event, exposure, sensor, data FROM event WHERE {where} ORDER BY id", values
    )
    return [EventDoc(i, iso_utc(w), e, x, s, msgspec.json.decode(d)) for i, w, e, x, s, d in rows]
