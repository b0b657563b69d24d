"""The light of the last ten minutes of each sensor, gathered while `watch` runs, and drawn in blocks."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Sequence
from itertools import pairwise
from statistics import median
from typing import TYPE_CHECKING

from ..stamps import from_iso
from ..units import US_PER_S

if TYPE_CHECKING:
    from ..config import Home
    from ..messages import SensorDoc, StatusDoc

SPAN_S = 600
MOST_POINTS = 12_000  # a sensor at 20 Hz
WIDEST, NARROWEST = 60, 10
HELD_S = 15.0  # so long a value is drawn on, or for two and a half of the sensor's own intervals
_BLOCKS = " ▁▂▃▄▅▆▇█"
_ROWS = 2

Point = tuple[int, float]  # wall time in µs, irradiance in the screen's unit


class Light:
    """Points by sensor. Time is the daemon's own wall time, which a rehearsal's pace quickens, too."""

    def __init__(self) -> None:
        self._points: dict[str, deque[Point]] = {}

    def begin(self, sensor: str, points: Iterable[Point]) -> None:
        """What was read before."""
        self._points[sensor] = deque(points, MOST_POINTS)

    def take(self, told: StatusDoc) -> None:
        """The newest reading of each sensor."""
        now_us = from_iso(told.utc)
        for s in told.sensors:
            points = self._points.setdefault(s.name, deque(maxlen=MOST_POINTS))
            if s.irradiance is not None and s.age_s is not None:
                t_us = now_us - int(s.age_s * US_PER_S)
                if not points or t_us - points[-1][0] > US_PER_S // 25:  # else it is the same reading once more
                    points.append((t_us, s.irradiance))
            while points and now_us - points[0][0] > SPAN_S * US_PER_S:
                points.popleft()

    def lines(self, sensor: SensorDoc, now_us: int, width: int) -> list[str]:
        """The sensor's graph in two lines, with its scale; nothing where there is none to draw, or no room."""
        from ..review.layout import with_unit

        points = list(self._points.get(sensor.name, ()))
        scale = f"  10 min, top {with_unit(max((v for _, v in points), default=0.0), sensor.unit)}"
        room = min(WIDEST, width - 2 - len(scale))
        if len(points) < 2 or room < NARROWEST:
            return []
        upper, lower = graph(points, now_us, room)
        return [f"  {upper}{scale}", f"  {lower}"]


def graph(points: Sequence[Point], now_us: int, width: int) -> list[str]:
    """Two rows of blocks, the highest first, over the last ten minutes. Unknown is blank; zero is the lowest block."""
    top = max(v for _, v in points)
    steps = 8 * _ROWS
    levels = [
        0 if v is None else max(1, min(steps, round(v / top * steps))) if top > 0 else 1
        for v in _columns(points, now_us, width)
    ]
    return ["".join(_BLOCKS[max(0, min(8, level - 8 * row))] for level in levels) for row in reversed(range(_ROWS))]


def _columns(points: Sequence[Point], now_us: int, width: int) -> list[float | None]:
    """The mean of each column; a column without a reading has the value before it, as long as that is not too old."""
    span_us = SPAN_S * US_PER_S / width
    sums = [[0.0, 0] for _ in range(width)]
    for t_us, value in points:
        column = width - 1 - int((now_us - t_us) / span_us)
        if 0 <= column < width:
            sums[column][0] += value
            sums[column][1] += 1
    steps = [b[0] - a[0] for a, b in pairwise(points)]
    held_us = max(HELD_S * US_PER_S, 2.5 * median(steps)) if steps else HELD_S * US_PER_S
    found: list[float | None] = []
    last: tuple[float, int] | None = None
    for column, (total, count) in enumerate(sums):
        if count:
            last = total / count, column
        fresh = last is not None and (column - last[1]) * span_us <= held_us
        found.append(last[0] if last is not None and fresh else None)
    return found


def read_light(place: Home, told: StatusDoc) -> Light:
    """The last ten minutes as the journal has them. Without a journal or settings it begins empty."""
    from ..config import load_settings
    from ..dose.response import response_of
    from ..model import MomentReading, Refusal
    from ..units import irradiance_unit, to_screen
    from .asking import journal

    light, now_us = Light(), from_iso(told.utc)
    try:
        settings = load_settings(place)
        with journal(place) as store:
            last_us, wall_us = store.last_times()
            for sensor in settings.sensor:
                response = response_of(sensor)
                unit = irradiance_unit(response.unit)
                shift_us = wall_us - last_us
                points = []
                for t_us, reading in store.readings(sensor.name, last_us - SPAN_S * US_PER_S):
                    raw = reading.value if isinstance(reading, MomentReading) else reading.level_milli / 1000
                    if t_us + shift_us <= now_us:
                        points.append((t_us + shift_us, to_screen(response.factor * (raw - response.zero), unit)))
                light.begin(sensor.name, points)
    except Refusal:
        pass
    light.take(told)
    return light
