"""The printing days of a month or a year at a glance: prints as their documents have them, light out of the minutes.

Nothing is counted anew.
"""

from __future__ import annotations

import re
from collections import defaultdict

import msgspec
import numpy as np

from ..dose.minute import MINUTE_US
from ..exposure.states import State
from ..journal.store import Kept, Store
from ..model import Refusal
from ..notes import Calibration, Verdict
from ..stamps import day_bounds, local_date
from ..units import dose_unit
from .day import stops_of
from .minutes import LightMinutes, light_minutes
from .sums import waits

LIT_SHARE = 0.05  # of the day's strongest minute: from there on it is light, and not dusk

_SPAN = re.compile(r"[0-9]{4}(-(0[1-9]|1[0-2]))?")


class LightOfADay(msgspec.Struct, frozen=True):
    """One sensor's day. dose: measured and bridged. light_s: how long light came that was at least a twentieth of the
    day's strongest minute. best: that minute's mean; strongest: the strongest reading."""

    name: str
    unit: str
    dose: float
    dose_unit: str
    light_s: float
    best: float
    strongest: float | None


class PrintingDay(msgspec.Struct, frozen=True):
    """One local day on which prints were begun. finished, void: of those begun. stops_low, stops_high: of the finished
    ones with a target, above it; None where none had one. waiting: finished, and not judged or read yet."""

    date: str
    begun: int
    finished: int
    void: int
    stops_low: float | None
    stops_high: float | None
    waiting: int
    sensors: list[LightOfADay]


class Days(msgspec.Struct, frozen=True):
    """The printing days of a month or a year, the oldest first. span: as it was asked, YYYY or YYYY-MM."""

    span: str
    days: list[PrintingDay]


def gather_days(store: Store, span: str) -> Days:
    """The printing days of YYYY or YYYY-MM. Raises `Refusal` (code 2) for anything else."""
    wall0_us, wall1_us = span_bounds(span)
    begun: dict[str, list[Kept]] = defaultdict(list)
    for kept in store.between(wall0_us, wall1_us):
        begun[local_date(kept.begin_wall_us)].append(kept)
    if not begun:
        return Days(span, [])
    bounds = {date: day_bounds(date) for date in begun}
    light = light_minutes(store, min(b[0] for b in bounds.values()), max(b[1] for b in bounds.values()))
    verdicts, sheets = store.notes(Verdict), store.notes(Calibration)
    return Days(span, [_day(date, begun[date], light, *bounds[date], verdicts, sheets) for date in sorted(begun)])


def span_bounds(span: str) -> tuple[int, int]:
    """First and past-the-last microsecond of a local year or month. Raises `Refusal` (code 2)."""
    if not _SPAN.fullmatch(span) or not 1970 <= int(span[:4]) < 9999:
        raise Refusal(f"{span!r}: give a year or a month as YYYY or YYYY-MM, such as 2026 or 2026-06", 2)
    year, month = int(span[:4]), int(span[5:] or 0)
    after = f"{year + 1}-01-01" if month in (0, 12) else f"{year}-{month + 1:02d}-01"
    return day_bounds(f"{year}-{month or 1:02d}-01")[0], day_bounds(after)[0]


def _day(
    date: str, begun: list[Kept], light: list[LightMinutes], wall0_us: int, wall1_us: int,
    verdicts: dict[str, Verdict], sheets: dict[str, Calibration],
) -> PrintingDay:  # fmt: skip
    documents = [kept.document for kept in begun]
    finished = [d for d in documents if d.state == State.FINISHED]
    stops = [s for d in finished if (s := stops_of(d)) is not None]
    return PrintingDay(
        date=date,
        begun=len(begun),
        finished=len(finished),
        void=sum(d.state == State.VOID for d in documents),
        stops_low=min(stops, default=None),
        stops_high=max(stops, default=None),
        waiting=sum(
            waits(d, verdicts.get(str(d.id)), sheets.get(d.part.name) if d.part is not None else None)
            for d in finished
        ),
        sensors=[found for m in light if (found := _light(m, wall0_us, wall1_us)) is not None],
    )


def _light(m: LightMinutes, wall0_us: int, wall1_us: int) -> LightOfADay | None:
    a, b = np.searchsorted(m.start_us, [wall0_us - MINUTE_US + 1, wall1_us])
    seconds, mean = m.measured_s[a:b] + m.bridged_s[a:b], m.mean[a:b]
    if not m.readings[a:b].any():
        return None
    best, peaks = float(mean.max()), m.strongest[a:b]
    return LightOfADay(
        name=m.name,
        unit=m.unit,
        dose=float(m.measured[a:b].sum() + m.bridged[a:b].sum()),
        dose_unit=dose_unit(m.unit, scaled=False),
        light_s=float(seconds[mean >= LIT_SHARE * best].sum()) if best > 0 else 0.0,
        best=best,
        strongest=float(np.nanmax(peaks)) if np.isfinite(peaks).any() else None,
    )
