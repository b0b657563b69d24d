"""A day in three charts, in black, greys and hatches, so that any printer and a copy of a copy still tell them apart.

Each draws into a stretch of a figure given in inches, so that the same drawing goes into a page of a PDF and into an
SVG of its own. Nothing is laid out by trial: the same day gives the same drawing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from ..stamps import day_bounds, from_iso, local_time
from ..units import US_PER_S
from .day import NEAR_STOPS, Day, Print
from .day_curve import Curve
from .day_drawn import FAINT, INK, PALE, SMALLER, Place, apart, axes, bare
from .day_words import plain
from .layout import shorten, stops_text, unit_text
from .spread import mean_and_spread

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

LEFT, RIGHT, EDGE, FOOT, HEAD = 0.62, 0.5, 0.06, 0.26, 0.08  # inches around what is drawn
LIGHT_IN, LANE_IN, STOPS_IN, SPREAD_IN = 1.25, 0.24, 1.7, 0.28
MOST_SENSORS, MOST_LANES, MOST_GROUPS = 4, 12, 10
STEPS_MIN = (1, 2, 5, 10, 15, 30, 60, 120, 180)
MOST_TICKS = 9
MOST_DIGITS = 100  # of numbers in a row
FAR_STOPS = 2.0  # what lies farther off is told at the edge


# -- the light, and the prints beneath it ----------------------------------------------------------------------------


def light_height(day: Day, curves: list[Curve]) -> float:
    """Inches that the light wants; 0 where there is nothing to draw."""
    lanes = _lanes(day)
    if not curves and not lanes:
        return 0.0
    return HEAD + FOOT + LIGHT_IN * len(curves[:MOST_SENSORS]) + LANE_IN * len(lanes) + 0.06


def draw_light(fig: Figure, at: Place, day: Day, curves: list[Curve]) -> None:
    """Each sensor's light with its gaps hatched, and beneath it each frame with its prints: thick in the light, thin
    while held, notched where the target was reached."""
    lanes, until_s = _lanes(day), _seconds(day, day.to_us)
    top = at.foot + at.height - HEAD
    for curve in curves[:MOST_SENSORS]:
        ax = axes(fig, Place(at.left + LEFT, top - LIGHT_IN + 0.06, at.width - LEFT - EDGE, LIGHT_IN - 0.2))
        _light(ax, curve, until_s)
        top -= LIGHT_IN
    ax = axes(fig, Place(at.left + LEFT, at.foot + FOOT, at.width - LEFT - EDGE, max(0.02, top - at.foot - FOOT)))
    ax.set_xlim(0, until_s)
    ax.set_ylim(max(len(lanes), 1) - 0.5, -0.5)
    ax.set_yticks(range(len(lanes)), [shorten(plain(name), 9) for name, _ in lanes])
    ax.tick_params(axis="y", length=0)
    ax.spines["left"].set_visible(False)
    inch = (at.width - LEFT - EDGE) / until_s
    for row, (_, prints) in enumerate(lanes):
        _lane(ax, day, row, prints, inch)
    ticks = _ticks(day)
    ax.set_xticks([_seconds(day, t) for t in ticks], [local_time(t)[:5] for t in ticks])


def _light(ax: Axes, curve: Curve, until_s: float) -> None:
    for first, last in curve.holes:
        ax.axvspan(first, last, facecolor="none", edgecolor=FAINT, hatch="////", lw=0)
    ax.fill_between(curve.seconds, curve.light, color=PALE, lw=0)
    ax.plot(curve.seconds, curve.light, color=INK, lw=0.8, solid_joinstyle="round")
    ax.set_xlim(0, until_s)
    ax.set_ylim(0, curve.strongest * 1.08 if curve.strongest > 0 else 1.0)
    ax.locator_params(axis="y", nbins=4)
    ax.set_xticks([])
    ax.text(0.0, 1.02, f"{shorten(plain(curve.name), 40)}, {unit_text(curve.unit)}", transform=ax.transAxes,
            fontsize=SMALLER, va="bottom", ha="left")  # fmt: skip


def _lanes(day: Day) -> list[tuple[str, list[Print]]]:
    """Frames with their prints, in the order of their first; the last lane takes all that have none of their own."""
    lanes: dict[str, list[Print]] = {}
    for p in (*day.from_before, *day.prints):
        if p.in_light:
            name = p.document.frame
            lanes.setdefault(name if name in lanes or len(lanes) < MOST_LANES - 1 else "others", []).append(p)
    return [(f"frame {name}" if len(name) < 3 else name, prints) for name, prints in lanes.items()]


def _lane(ax: Axes, day: Day, row: int, prints: list[Print], inch: float) -> None:
    ends: list[tuple[float, float]] = []
    bars: dict[bool, list[tuple[float, float]]] = {False: [], True: []}
    notches: list[float] = []
    free = -1.0
    for p in prints:
        first, last = (_seconds(day, t) for t in (p.in_light[0].start_us, p.in_light[-1].stop_us))
        ends.append((first, last))
        for part in p.in_light:
            x = _seconds(day, part.start_us)
            bars[p.is_void].append((x, max(_seconds(day, part.stop_us) - x, 0.01 / inch)))
        if p.document.reached_utc is not None and not p.is_void:
            notches.append(_seconds(day, from_iso(p.document.reached_utc)))
        label, middle = str(p.document.id), (first + last) / 2
        half = (0.055 * len(label) / 2 + 0.02) / inch
        if middle - half >= free:
            ax.text(middle, row - 0.05, label, fontsize=SMALLER, ha="center", va="bottom")
            free = middle + half
    ax.plot(*apart((x, row + 0.16) for pair in ends for x in pair), color=INK, lw=0.9, solid_capstyle="butt")
    for is_void, spans in bars.items():
        ax.broken_barh(spans, (row - 0.01, 0.34), lw=0.6, facecolor="white" if is_void else INK, edgecolor=INK,
                       ls=":" if is_void else "-")  # fmt: skip
    ax.plot(*apart((x, y) for x in notches for y in (row - 0.02, row + 0.34)), color="white", lw=1.3,
            solid_capstyle="butt")  # fmt: skip


# -- doses ---------------------------------------------------------------------------------------------------------


def measured_prints(day: Day) -> list[Print]:
    """Those that have a dose to be held against a target's."""
    return [p for p in day.prints if p.stops is not None]


def stops_height(day: Day) -> float:
    """Inches that the doses want; 0 where there is nothing to draw."""
    return STOPS_IN if measured_prints(day) else 0.0


def draw_stops(fig: Figure, at: Place, day: Day) -> None:
    """Each print's dose against its target's, in stops, with the interval; an open dot is not finished."""
    prints = measured_prints(day)
    ax = axes(fig, Place(at.left + LEFT, at.foot + FOOT, at.width - LEFT - RIGHT, at.height - FOOT - HEAD - 0.1))
    reach = _reach(prints)
    ax.axhspan(-NEAR_STOPS, NEAR_STOPS, color="#eeeeee", lw=0, zorder=0)
    ax.axhline(0, color=INK, lw=1.2, zorder=1)
    ax.set_xlim(-0.6, max(len(prints), 8) - 0.4)
    _dots(ax, prints, reach)
    ax.set_ylim(-reach * 1.18, reach * 1.18)
    step = -(-sum(len(str(p.document.id)) + 1 for p in prints) // MOST_DIGITS) or 1
    ax.set_xticks(range(0, len(prints), step), [str(p.document.id) for p in prints[::step]])
    marks = _marks(reach)
    ax.set_yticks(marks, ["target" if m == 0 else f"{m:+g}" for m in marks])
    times = ax.twinx()
    times.set_ylim(ax.get_ylim())
    times.set_yticks(marks, [f"×{2**m:.2f}" if m else "×1" for m in marks])
    for each in (ax, times):
        each.tick_params(labelsize=SMALLER)
        bare(each)
    ax.text(0.0, 1.0, "stops from the target; the grey band is 1/6 stop wide to either side", transform=ax.transAxes,
            fontsize=SMALLER, va="bottom", ha="left")  # fmt: skip


def _dots(ax: Axes, prints: list[Print], reach: float) -> None:
    stems: list[tuple[float, float]] = []
    ends: list[tuple[float, float]] = []
    dots: dict[tuple[str, bool], list[tuple[float, float]]] = {}
    for x, p in enumerate(prints):
        d, stops = p.document, p.stops
        assert stops is not None
        here = min(reach, max(-reach, stops))
        stems += [(x, 0.0), (x, here)]
        sign = "o" if here == stops else "^" if stops > 0 else "v"
        dots.setdefault((sign, d.state == "finished"), []).append((x, here))
        if here != stops:
            inward = x > sum(ax.get_xlim()) / 2  # the other axis stands at the right
            said = f"{stops_text(stops)}  " if inward else f"  {stops_text(stops)}"
            ax.text(x, here, said, fontsize=SMALLER, ha="right" if inward else "left", va="center")
        elif d.low_stops is not None and d.high_stops is not None:
            ends += [(x, min(reach, max(-reach, stops + s))) for s in (d.low_stops, d.high_stops)]
    ax.plot(*apart(stems), color=FAINT, lw=0.7, ls=":", zorder=2)
    ax.plot(*apart(ends), color=INK, lw=1.1, marker="_", ms=5, mew=0.9, zorder=3)
    for (sign, full), at in dots.items():
        ax.plot(*zip(*at, strict=True), sign, color=INK, mfc=INK if full else "white", zorder=4,
                **({"mec": INK, "ms": 3.6, "mew": 0.9} if sign == "o" else {"ms": 4.5}))  # fmt: skip


def spread_groups(day: Day) -> list[tuple[str, list[float]]]:
    """Targets with two finished prints or more, and the stops of each, those with most prints first."""
    found: dict[str, list[float]] = {}
    for p in measured_prints(day):
        if p.document.state == "finished" and p.stops is not None:
            found.setdefault(p.document.title, []).append(p.stops)
    several = [(title, stops) for title, stops in found.items() if len(stops) > 1]
    return sorted(several, key=lambda group: -len(group[1]))[:MOST_GROUPS]


def spread_height(day: Day) -> float:
    """Inches that the spread wants; 0 where there is nothing to draw."""
    groups = spread_groups(day)
    return FOOT + HEAD + 0.16 + SPREAD_IN * len(groups) if groups else 0.0


def draw_spread(fig: Figure, at: Place, day: Day) -> None:
    """How alike the prints of one target came out: each a stroke, the mean a dot, one standard deviation a line."""
    groups = spread_groups(day)
    ax = axes(fig, Place(at.left + 1.6, at.foot + FOOT, at.width - 2.85, at.height - FOOT - HEAD - 0.16))
    reach = _reach(measured_prints(day))
    ax.axvspan(-NEAR_STOPS, NEAR_STOPS, color="#eeeeee", lw=0, zorder=0)
    ax.axvline(0, color=INK, lw=1.2, zorder=1)
    words = []
    for row, (_, stops) in enumerate(groups):
        mean, spread = several(stops)
        shown = [min(reach, max(-reach, s)) for s in stops]
        ax.plot(shown, [row] * len(shown), "|", color=INK, ms=9, mew=0.8, zorder=3)
        ends = [min(reach, max(-reach, mean + s)) for s in (-spread, spread)]
        ax.plot(ends, [row + 0.34] * 2, color=INK, lw=1.6, zorder=3, solid_capstyle="butt")
        ax.plot([min(reach, max(-reach, mean))], [row + 0.34], "o", color=INK, ms=3.6, zorder=4)
        words.append(f"±{spread:.2f} stop, {len(stops)} prints")
    ax.set_xlim(-reach * 1.1, reach * 1.1)
    ax.set_ylim(len(groups) - 0.4, -0.6)
    ax.set_yticks(range(len(groups)), [shorten(plain(title), 26) for title, _ in groups])
    beside = ax.twinx()
    beside.set_ylim(ax.get_ylim())
    beside.set_yticks(range(len(groups)), words)
    for each in (ax, beside):
        each.tick_params(labelsize=SMALLER)
        each.tick_params(axis="y", length=0)
        bare(each)
        each.spines["left"].set_visible(False)
    marks = _marks(reach)
    ax.set_xticks(marks, ["target" if m == 0 else f"{m:+g}" for m in marks])
    ax.text(0.0, 1.02, "stops from the target, prints of one target together", transform=ax.transAxes,
            fontsize=SMALLER, va="bottom", ha="left")  # fmt: skip


# -- common --------------------------------------------------------------------------------------------------------


def several(stops: list[float]) -> tuple[float, float]:
    """Mean and standard deviation of a group, which has two prints or more."""
    mean, spread = mean_and_spread(stops)
    assert mean is not None and spread is not None
    return mean, spread


def _marks(reach: float) -> list[float]:
    """Stops that are marked on an axis."""
    return [m for m in (-2, -1, -0.5, -0.25, 0, 0.25, 0.5, 1, 2) if abs(m) <= reach and (reach < 1 or abs(m) != 0.25)]


def _reach(prints: list[Print]) -> float:
    ended = (p for p in prints if p.document.state == "finished")  # one just begun would press all others flat
    farthest = max((abs(p.stops) for p in ended if p.stops is not None), default=0.0)
    return FAR_STOPS if farthest > 1.0 else 1.0 if farthest > 0.5 else 0.5


def _seconds(day: Day, wall_us: int) -> float:
    return max(0, wall_us - day.from_us) / US_PER_S


def _ticks(day: Day) -> list[int]:
    """Round moments of the local clock within the span."""
    begin_us = day_bounds(day.date)[0]
    minutes = (day.to_us - day.from_us) / US_PER_S / 60
    step = next((s for s in STEPS_MIN if minutes / s <= MOST_TICKS), 240) * 60 * US_PER_S
    first = begin_us + -(-(day.from_us - begin_us) // step) * step
    return list(range(first, day.to_us + 1, step))
