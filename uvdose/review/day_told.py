"""The charts of a day in words, for who cannot see them."""

from __future__ import annotations

from ..stamps import local_time
from ..units import percent
from .day import Day
from .day_charts import measured_prints, several, spread_groups
from .day_curve import Curve
from .day_words import plain
from .layout import stops_text, unit_text


def told_of_light(day: Day, curves: list[Curve]) -> str:
    """What the picture of the light shows, for who cannot see it."""
    parts = [f"{plain(c.name)}: up to {c.strongest:.3g} {unit_text(c.unit)}, {len(c.holes)} gaps" for c in curves]
    return f"Light from {local_time(day.from_us)[:5]} to {local_time(day.to_us)[:5]}; " + "; ".join(parts)


def told_of_stops(day: Day) -> str:
    """What the picture of the doses shows."""
    parts = (f"{p.document.id} {stops_text(p.stops)} ({percent(p.document.fraction)})" for p in measured_prints(day))
    return "Stops from the target, by print: " + ", ".join(parts)


def told_of_spread(day: Day) -> str:
    """What the picture of the spread shows."""
    parts = (f"{plain(t)}: {several(s)[1]:.2f} stop over {len(s)} prints" for t, s in spread_groups(day))
    return "Standard deviation: " + "; ".join(parts)
