"""A day ahead as a picture: the light, and how long a print takes by when it is begun. Readable in black and white."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO

from ..foretold import OutlookDoc, PrintsAheadDoc
from ..model import Refusal
from ..stamps import day_bounds, from_iso, iso_utc
from ..units import US_PER_S
from .layout import shorten, unit_text, with_unit
from .outlook_text import clock_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes

ENDS = (".svg", ".png", ".pdf")
INK, FAINT, BAND = "#1b1b1b", "#8a8a8a", "#dddddd"
MOST_TARGETS = 4
LONGER = "▲ takes longer"
# A print that takes more than four times the quickest one is no reason to flatten all others.
TALLEST = 4.0


def check_name(path: Path) -> None:
    """Raises `Refusal` (code 2) for a file that is no chart."""
    if path.suffix.lower() not in ENDS:
        raise Refusal(f"{path.name}: a chart ends with {', '.join(ENDS)}", 2)


def draw(doc: OutlookDoc, file: BinaryIO, end: str) -> None:
    """Draw the light, and each target's times below it, into a file of that end (`.svg`). Raises `Refusal`."""
    if not doc.light:
        raise Refusal(f"there is no light on {doc.date}: nothing to draw")
    import matplotlib as mpl
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    shown = [t for t in doc.targets if t.begun][:MOST_TARGETS]
    with mpl.rc_context({"svg.fonttype": "none", "font.size": 10, "axes.edgecolor": FAINT}):
        fig = Figure(figsize=(7.6, 2.6 + 2.2 * len(shown)), layout="constrained")
        FigureCanvasAgg(fig)
        axes = fig.subplots(1 + len(shown), 1, sharex=True, squeeze=False)[:, 0]
        _light(axes[0], doc)
        for ax, target in zip(axes[1:], shown, strict=True):
            _times(ax, target, doc.days > 0)
        for ax in axes:
            for side in ("top", "right"):
                ax.spines[side].set_visible(False)
        ticks = _hours(doc)
        axes[-1].set_xticks([_at(utc) for utc in ticks], [clock_of(utc) for utc in ticks])
        axes[-1].set_xlabel("begun at" if shown else "time of day")
        fig.suptitle(f"{doc.date}, {shorten(doc.sensor, 40)} {doc.facing}", x=0.01, ha="left", fontsize=12, color=INK)
        fig.savefig(file, dpi=150, format=end.lower().removeprefix("."))


def _at(utc: str) -> float:
    """Hours since 1970, so that a day with a change of clocks is drawn as long as it is."""
    return from_iso(utc) / US_PER_S / 3600


def _hours(doc: OutlookDoc) -> list[str]:
    """Each second hour by the local clock, within the light."""
    from_us, until_us = day_bounds(doc.date)
    step_us = 2 * 3600 * US_PER_S
    every = [iso_utc(at) for at in range(from_us, until_us + 1, step_us)]
    return [utc for utc in every if doc.light[0].utc <= utc <= doc.light[-1].utc] or [doc.light[0].utc]


def _light(ax: Axes, doc: OutlookDoc) -> None:
    times = [_at(p.utc) for p in doc.light]
    if doc.days:
        ax.fill_between(times, _gaps([p.low for p in doc.light]), _gaps([p.high for p in doc.light]), color=BAND, lw=0,
                        label="four days of five")  # fmt: skip
        ax.plot(times, _gaps([p.typical for p in doc.light]), color=INK, lw=1.2, ls="--", label="typical")
    ax.plot(times, [p.clear for p in doc.light], color=INK, lw=1.6, label="clear sky")
    ax.set_ylabel(unit_text(doc.unit))
    ax.set_ylim(bottom=0)
    ax.legend(frameon=False, fontsize=8, loc="lower center", bbox_to_anchor=(0.5, 1.0), ncols=3)


def _times(ax: Axes, target: PrintsAheadDoc, known: bool) -> None:
    times = [_at(b.utc) for b in target.begun]
    clear = _minutes([b.clear_s for b in target.begun])
    top = TALLEST * min(clear)
    if known:
        high = [2 * top if b.high_s is None else b.high_s / 60 for b in target.begun]
        ax.fill_between(times, _minutes([b.low_s for b in target.begun]), high, color=BAND, lw=0)
        ax.plot(times, _minutes([b.typical_s for b in target.begun]), color=INK, lw=1.2, ls="--", marker="o", ms=3,
                mfc="white")  # fmt: skip
    ax.plot(times, clear, color=INK, lw=1.6, marker="o", ms=3)
    ax.set_ylim(0, top)
    _beyond(ax, times, {"white": _minutes([b.typical_s for b in target.begun]) if known else [], INK: clear}, top)
    ax.set_ylabel("minutes")
    ax.set_title(f"{shorten(target.target, 40)} v{target.version}, {with_unit(target.dose, target.unit)}", loc="left",
                 fontsize=10, color=INK)  # fmt: skip
    if target.last_clear_utc is not None:
        last = _at(target.last_clear_utc)
        ax.axvline(last, color=INK, lw=1, ls=":")
        ax.annotate(f"last start {clock_of(target.last_clear_utc)} ", (last, 0.03), xycoords=("data", "axes fraction"),
                    fontsize=8, va="bottom", ha="right", color=INK,
                    bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.0})  # fmt: skip


def _beyond(ax: Axes, times: list[float], lines: dict[str, list[float]], top: float) -> None:
    """An arrow at the upper edge, filled as its line's dots, for each print that takes longer than is shown."""
    for fill, values in lines.items():
        longer = [at for at, value in zip(times, values, strict=False) if value > top]
        ax.plot(longer, [top] * len(longer), ls="", marker="^", ms=6, mfc=fill, mec=INK, clip_on=False, zorder=5)
    if any(value > top for values in lines.values() for value in values):
        ax.annotate(LONGER, (1.0, 1.0), xycoords="axes fraction", xytext=(0, 5), textcoords="offset points",
                    fontsize=8, ha="right", va="bottom", color=INK)  # fmt: skip


def _gaps(values: list[float | None]) -> list[float]:
    return [float("nan") if value is None else value for value in values]


def _minutes(seconds: list[float | None]) -> list[float]:
    return [value / 60 for value in _gaps(seconds)]
