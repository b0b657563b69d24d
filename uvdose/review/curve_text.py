"""The characteristic curve of a calibration sheet on a terminal: density upwards, log dose to the right."""

from __future__ import annotations

import math

from ..calibrate.sheet import Finding
from .layout import figure, unit_text

WIDTH, HEIGHT = 66, 15
CURVE, USED, UNUSED, FULL, EDGE = "·", "o", "x", "│", "┊"


def curve_lines(found: Finding, unit: str) -> list[str]:
    """The curve, its points (x: left out), and where full tone begins with its interval; empty without densities."""
    read = [s for s in found.steps if s.density is not None]
    if not read:
        return []
    xs = [math.log10(s.dose) for s in read]
    x0, x1 = min([*xs, found.full_log.low]), max([*xs, found.full_log.high])
    ys = [s.density for s in read if s.density is not None]
    y1 = max([*ys, found.d_max or 0.0])
    y0 = min([*ys, 0.0])
    grid = [[" "] * WIDTH for _ in range(HEIGHT)]

    def column(x: float) -> int:
        return min(WIDTH - 1, max(0, round((x - x0) / (x1 - x0) * (WIDTH - 1))))

    def row(y: float) -> int:
        return min(HEIGHT - 1, max(0, round((y1 - y) / (y1 - y0) * (HEIGHT - 1))))

    for x, mark in ((found.full_log.low, EDGE), (found.full_log.high, EDGE), (found.full_log.best, FULL)):
        for line in grid:
            line[column(x)] = mark
    for x, y in zip(found.curve_x, found.curve_y, strict=True):
        if x0 <= x <= x1:
            grid[row(y)][column(x)] = CURVE
    for step, x in zip(read, xs, strict=True):
        assert step.density is not None
        grid[row(step.density)][column(x)] = UNUSED if step.left_out else USED
    lines = []
    for i, cells in enumerate(grid):
        at = round(y1 - i * (y1 - y0) / (HEIGHT - 1), 2) + 0.0  # never -0.00
        lines.append(f"{at:5.2f} ┤{''.join(cells)}".rstrip() if i % 2 == 0 else f"      │{''.join(cells)}".rstrip())
    lines.append("      └" + "─" * WIDTH)
    left, right = figure(10**x0), f"{figure(10**x1)} {unit_text(unit)}"
    lines.append("       " + left + right.rjust(WIDTH - len(left)))
    lines.append(f"       {FULL} full tone, {EDGE} its 95 %, {USED} step"
                 + (f", {UNUSED} left out" if any(s.left_out for s in read) else ""))
    return lines
