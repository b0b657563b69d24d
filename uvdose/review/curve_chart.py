"""The characteristic curve of a calibration sheet as a picture, for the wall: PNG, SVG or PDF. Readable in grey."""

from __future__ import annotations

import math
import textwrap
from pathlib import Path
from typing import TYPE_CHECKING

from ..calibrate.sheet import Finding
from ..model import Refusal
from .layout import figure, shorten, unit_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes

ENDS = (".svg", ".png", ".pdf")
INK, FAINT, MARKED = "#1b1b1b", "#8a8a8a", "#1f4e79"
PATCH = {"facecolor": "white", "edgecolor": "none", "alpha": 0.85, "pad": 1.5}
TITLE = 76  # letters in a line of it
EDGE, ROOM = 0.03, 0.28  # of the steps' reach: beside them, and for what is written beside full tone


def draw_curve(found: Finding, unit: str, title: str, path: Path) -> None:
    """Draw the curve with its steps, the target and the paper's range into a file. Raises `Refusal`."""
    if path.suffix.lower() not in ENDS:
        raise Refusal(f"{path.name}: a chart ends with {', '.join(ENDS)}", 2)
    read = [(s.dose, s.density, s.number, s.left_out) for s in found.steps if s.density is not None]
    if not read:
        raise Refusal("no densities were read from this sheet: there is no curve to draw", 2)
    import matplotlib as mpl
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure
    from matplotlib.ticker import LogLocator, NullFormatter

    with mpl.rc_context({"svg.fonttype": "none", "font.size": 10, "axes.edgecolor": FAINT}):
        fig = Figure(figsize=(7.6, 5.2), layout="constrained")
        FigureCanvasAgg(fig)
        ax = fig.add_subplot()
        ax.set_xscale("log")
        _draw_range(ax, found)
        ax.plot([10**x for x in found.curve_x], found.curve_y, color=INK, lw=1.6, zorder=3)
        for dose, density, number, why in read:
            if not why:
                ax.plot([dose], [density], "o", color="white", mec=INK, ms=6, zorder=4)
                continue
            ax.plot([dose], [density], "x", color=INK, ms=7, zorder=4)
            ax.annotate(str(number), (dose, density), textcoords="offset points", xytext=(5, 4), fontsize=8, color=INK)
        if any(why for *_, why in read):
            ax.text(0.012, 0.985, "x  left out, with its step's number", transform=ax.transAxes, fontsize=9, va="top",
                    color=INK, bbox=PATCH)  # fmt: skip
        doses = [dose for dose, *_ in read]
        least, most = min(doses), max(doses)
        edge, room = (most / least) ** EDGE, (most / least) ** ROOM
        ax.set_xlim(least / edge, max(most * edge, 10**found.full_log.high * room))
        _draw_full(ax, found, unit)
        ax.set_xlabel(f"dose on the sheet, {unit_text(unit)}")
        ax.set_ylabel("density")
        deepest = max(density for _, density, _, _ in read)
        ax.set_ylim(min(0.0, *(density for _, density, _, _ in read)), deepest * 1.12 if deepest > 0 else 0.1)
        if most / least < 100:
            ax.xaxis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
        ax.xaxis.set_major_formatter(lambda value, _: f"{value:g}")
        ax.xaxis.set_minor_formatter(NullFormatter())
        for side in ("top", "right"):
            ax.spines[side].set_visible(False)
        ax.set_title("\n".join(textwrap.wrap(shorten(title, 2 * TITLE), TITLE)), loc="left", fontsize=12, color=INK)
        try:
            fig.savefig(path, dpi=150)
        except OSError as err:
            raise Refusal(f"{path}: cannot be written ({err.strerror or err})") from None


def _draw_range(ax: Axes, found: Finding) -> None:
    """The paper's range, from first tone to full tone, as a faint band with its width in density."""
    if found.threshold_log is None or found.exposure_scale is None:
        return
    low, high = 10**found.threshold_log.best, 10**found.full_log.best
    ax.axvspan(low, high, color="#efefef", zorder=0, lw=0)
    ax.text(
        math.sqrt(low * high), 0.985, f"range {found.exposure_scale.best:.2f}", ha="center", va="top", fontsize=9,
        color=INK, transform=ax.get_xaxis_transform(), zorder=5,
    )


def _draw_full(ax: Axes, found: Finding, unit: str) -> None:
    """Where full tone begins, its interval, and the target that follows."""
    full = found.full_log
    ends = 10**full.low, 10**full.high
    ax.axvspan(*ends, facecolor="none", edgecolor=MARKED, hatch="////", lw=0, alpha=0.35, zorder=1)
    ax.axvline(10**full.best, color=MARKED, lw=1.4, zorder=2)
    told = f"full tone\ntarget {figure(found.target.best)} {unit_text(unit)}\n" \
           f"({figure(found.target.low)}-{figure(found.target.high)})"
    ax.annotate(
        told, (10**full.high, 0.04), xycoords=("data", "axes fraction"), textcoords="offset points", xytext=(6, 0),
        fontsize=9, color=MARKED, va="bottom", ha="left", bbox=PATCH, zorder=5,
    )
