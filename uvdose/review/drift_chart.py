"""The course of a target as a chart on a terminal: time downwards, stops from the newest dose to the right."""

from __future__ import annotations

from ..stamps import from_iso, local_date
from .drift import DriftDoc, Point

WIDTH, MOST_LINES, MOST_WEEKS = 61, 40, 30
LEAST_REACH = 0.25
_MARKS = {"light": "l", "right": "r", "dark": "d", None: "·"}
_ORDER = "·rld"  # of two at one place the later of these is seen
_WEEK_US = 7 * 86_400_000_000


def chart_lines(doc: DriftDoc) -> list[str]:
    """A line a week, or a month for a long course: each print where its dose lies, marked by its verdict.

    The version's own dose is the bar. Empty without two prints.
    """
    points = doc.points
    if len(points) < 2:
        return []
    reach = max(LEAST_REACH, 1.05 * max(max(abs(p.stops), abs(p.target_stops)) for p in points))

    def column(stops: float) -> int:
        return round((stops / reach + 1) / 2 * (WIDTH - 1))

    first_us = from_iso(points[0].begun_utc)
    by_month = from_iso(points[-1].begun_utc) - first_us > MOST_WEEKS * _WEEK_US
    rows: dict[str, list[Point]] = {}
    for p in points:
        begun_us = from_iso(p.begun_utc)
        week_us = first_us + (begun_us - first_us) // _WEEK_US * _WEEK_US
        rows.setdefault(local_date(begun_us)[:7] if by_month else local_date(week_us), []).append(p)
    lines = []
    for name, some in list(rows.items())[-MOST_LINES:]:
        cells = [" "] * WIDTH
        for p in some:
            cells[column(p.target_stops)] = "│"
        for p in sorted(some, key=lambda p: _ORDER.index(_MARKS[p.tone])):
            cells[column(p.stops)] = _MARKS[p.tone]
        lines.append(f"{name:10}  {''.join(cells)}".rstrip())
    middle = WIDTH // 2
    lines.append(f"{'':10}  {f'{-reach:+.2f}'.ljust(middle)}0{f'{reach:+.2f}'.rjust(WIDTH - middle - 1)} stops")
    lines.append("doses by verdict: l light, r right, d dark, · none; │ that of the version")
    if len(rows) > MOST_LINES:
        lines.append(f"the newest {MOST_LINES} of {len(rows)} months")
    return lines
