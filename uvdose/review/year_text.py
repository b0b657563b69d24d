"""The printing days of a month or a year as a table, one line a day."""

from __future__ import annotations

from ..units import minutes
from .layout import columns, figure, stops_text, sum_and_unit, unit_text, wrap
from .year import Days, LightOfADay, PrintingDay

_HEAD = ("day", "prints", "void", "stops", "waits", "light", "dose", "", "best", "", "sensor")
_RIGHT = (1, 2, 4, 5, 6, 8)
NOTE = (
    "prints: finished; waits: of them without a verdict. light: how long it was at least a twentieth of the day's"
    " strongest minute, which is best."
)


def render_days(found: Days) -> str:
    """The whole overview. A day with more than one sensor has a line more for each."""
    if not found.days:
        return f"{found.span}: no exposures\n"
    finished, void = sum(d.finished for d in found.days), sum(d.void for d in found.days)
    waiting = sum(d.waiting for d in found.days)
    lines = [
        f"{found.span}: {_count(len(found.days), 'printing day')}, {_count(finished, 'print')} finished, {void} void,"
        f" {_count(waiting, 'verdict')} to give",
        "",
        *columns([_HEAD, *(row for day in found.days for row in _rows(day))], _RIGHT),
        "",
        *wrap(NOTE, "", ""),
    ]
    return "\n".join(lines) + "\n"


def _rows(day: PrintingDay) -> list[tuple[str, ...]]:
    stops = "-" if day.stops_low is None else f"{stops_text(day.stops_low)} to {stops_text(day.stops_high)}"
    head = day.date, str(day.finished), str(day.void or "-"), stops, str(day.waiting or "-")
    lights = [_light(light) for light in day.sensors] or [("-", "-", "", "-", "", "-")]
    return [(*(head if k == 0 else ("",) * len(head)), *light) for k, light in enumerate(lights)]


def _light(light: LightOfADay) -> tuple[str, ...]:
    return (
        minutes(light.light_s), *sum_and_unit(light.dose, light.dose_unit), figure(light.best),
        unit_text(light.unit), light.name,
    )  # fmt: skip


def _count(number: int, thing: str) -> str:
    return f"{number} {thing}" if number == 1 else f"{number} {thing}s"
