"""A dose counted again from the raw readings of the journal, by the very code that counted it live."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from ..dose.account import Figures
from ..exposure.channel import Channel
from ..exposure.exposure import Exposure
from ..journal.replay import preroll_us, rebuild, replay
from ..journal.store import Kept, Store
from ..messages import RecountDoc
from ..model import Reading, Refusal
from ..units import to_screen


class Counted(NamedTuple):
    """What a count from raw readings came to. last_us: dose time of the last reading used, None without any."""

    exposure: Exposure
    figures: Figures
    readings: int
    last_us: int | None


def count(store: Store, kept: Kept) -> Counted:
    """Count an exposure from raw readings, up to the first one at or after its end. Raises `Refusal`."""
    exposure = rebuild(store, kept)
    plan = kept.plan
    channel = Channel(plan.sensor, kept.identity, plan.response, plan.pace)
    end_us = None
    if exposure.finished_us is not None:
        end_us = max([exposure.finished_us, *(record.cut.t_us for record in exposure.acts)])
    rows = store.readings(plan.sensor, preroll_us(store, plan.sensor, plan.begin_us))
    try:
        readings = replay(channel, [exposure], _until(rows, end_us))
    except ValueError as err:
        raise Refusal(f"exposure {plan.id}: its raw readings cannot be read: {err}") from None
    last = channel.track.last
    return Counted(exposure, exposure.account.figures(), readings, last.t_us if last is not None else None)


def recount(store: Store, number: int) -> RecountDoc:
    """Count a finished exposure again and compare, bit for bit. Raises `Refusal` with the reason where it cannot be."""
    kept = store.exposure(number)
    if not kept.settled:
        raise Refusal(f"exposure {number} is {kept.state}: its last light is not added up yet; finish it first")
    counted = count(store, kept)
    exposure, figures, shown = counted.exposure, counted.figures, kept.document
    if exposure.started_us is not None and (counted.last_us is None or counted.last_us <= exposure.started_us):
        raise Refusal(f"exposure {number}: its raw readings are no longer in the journal; it cannot be counted again")
    again = (
        to_screen(figures.dose, shown.unit), to_screen(figures.low, shown.unit), to_screen(figures.high, shown.unit),
        figures.measured_s, figures.bridged_s, figures.missing_s,
    )
    kept_figures = (
        shown.dose, shown.dose_low, shown.dose_high, shown.measured_s, shown.bridged_s, shown.missing_s
    )
    same = again == kept_figures
    return RecountDoc(
        id=number, unit=shown.unit, same=same, dose=again[0], dose_low=again[1], dose_high=again[2],
        measured_s=again[3], bridged_s=again[4], missing_s=again[5], kept_dose=shown.dose,
        readings=counted.readings,
        note="" if same else "the raw readings do not give the figures that were kept: one of the two was changed",
    )


def _until(rows: Iterator[tuple[int, Reading]], end_us: int | None) -> Iterator[tuple[int, Reading]]:
    """Up to and with the first reading at or after the end: it closes the stretch in which the end lies."""
    for t_us, reading in rows:
        yield t_us, reading
        if end_us is not None and t_us >= end_us:
            return
