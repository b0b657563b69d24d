"""A day as one HTML file that needs nothing else: to be printed and pinned up, or looked at on a phone."""

from __future__ import annotations

import base64
import hashlib
from functools import cache
from pathlib import Path

import msgspec

from .day import Day
from .day_charts import (
    draw_light,
    draw_spread,
    draw_stops,
    light_height,
    spread_height,
    stops_height,
)
from .day_curve import Curve
from .day_svg import Draw, inline_svg
from .day_told import told_of_light, told_of_spread, told_of_stops
from .day_words import (
    DOTS,
    KEY,
    LIGHT_HEADS,
    STROKES,
    Row,
    closing,
    light_rows,
    plain,
    rows,
    sensor_lines,
    sentences,
    summary,
    target_lines,
    weekday_and_day,
)
from .markup import Safe, joined, tag

WIDTH_IN = 6.9
PENCIL_LINES, REMARK_LINES = 3, 4
RIGHT_ALIGNED = range(1, 5)


class Links(msgspec.Struct, frozen=True):
    """Where the page leads when a daemon shows it: the printing days before and after, None where there is none."""

    before: str | None
    after: str | None


def styles(paper: str | None) -> str:
    """What the page looks like. paper: A4 or Letter, None for whatever the printer has."""
    size = f"@page {{ size: {paper}; }}\n" if paper is not None else ""
    return size + _sheet()


@cache
def _sheet() -> str:
    return Path(__file__).with_name("day_page.css").read_text(encoding="utf-8")


def style_hash(paper: str | None) -> str:
    """The hash of these styles, as a Content-Security-Policy names it."""
    return "sha256-" + base64.b64encode(hashlib.sha256(styles(paper).encode()).digest()).decode()


def page(day: Day, curves: list[Curve], bench: str, paper: str | None = None, links: Links | None = None) -> str:
    """The whole page. Without links nothing in it leads outside."""
    weekday, date = weekday_and_day(day.date)
    waiting, others = rows(day)
    head = tag("head", tag("meta", charset="utf-8"),
               tag("meta", name="viewport", content="width=device-width, initial-scale=1"),
               tag("title", f"{day.date} {plain(bench)}"), tag("style", Safe(styles(paper))))  # fmt: skip
    body = [
        *([_ways(links)] if links is not None else []),
        tag("header", tag("div", tag("span", weekday), tag("b", plain(bench)), cls="top"), tag("h1", date),
            tag("p", sentences(summary(day)), cls="sum")),
        _chart("Light and prints", "light", light_height(day, curves), told_of_light(day, curves),
               lambda fig, at: draw_light(fig, at, day, curves), KEY),
        _prints("Waiting for a verdict", waiting),
        _prints("Prints" if not waiting else "Other prints", others),
        _chart("Dose against target", "stops", stops_height(day), told_of_stops(day),
               lambda fig, at: draw_stops(fig, at, day), DOTS),
        _chart("Spread", "spread", spread_height(day), told_of_spread(day),
               lambda fig, at: draw_spread(fig, at, day),
               STROKES),
        _light(day),
        _list("Targets changed", target_lines(day)),
        tag("section", tag("h2", "Remarks"), *[tag("i")] * REMARK_LINES, cls="lines"),
        tag("footer", tag("p", closing(day), cls="small")),
    ]
    return f"<!DOCTYPE html>\n{tag('html', head, tag('body', *body), lang='en')}\n"


def _ways(links: Links) -> Safe:
    """Ways on, for the screen alone."""
    found = [("/", "the frames now")]
    found += [(f"/day/{links.before}", f"‹ {links.before}")] if links.before is not None else []
    found += [(f"/day/{links.after}", f"{links.after} ›")] if links.after is not None else []
    return tag("nav", *(tag("a", words, href=where) for where, words in found), aria_label="days")


def _chart(title: str, name: str, height: float, told: str, draw: Draw, key: str) -> Safe:
    if not height:
        return Safe("")
    picture = Safe(inline_svg(name, WIDTH_IN, height, told, draw))
    return tag("section", tag("h2", title), tag("figure", picture, tag("figcaption", key), cls="wide"))


def _prints(title: str, found: list[Row]) -> Safe:
    if not found:
        return Safe("")
    names = ("id", "what", "dose", "stops", "boxes", "pencil")
    heads = ("no.", "print, target", "dose asked, given", "stops", "verdict", "pencil")
    columns = tag("thead", tag("tr", *(tag("th", h, scope="col", cls=f"{n}{' num' if n in ('dose', 'stops') else ''}")
                                       for n, h in zip(names, heads, strict=True))))  # fmt: skip
    table = tag("table", columns, *(_print(row) for row in found), cls="prints")
    return tag("section", tag("h2", title), table)


def _print(row: Row) -> Safe:
    what = [tag("span", tag("bdi", row.label), cls="label"), " "] if row.label else []
    what += [tag("span", "frame ", tag("bdi", row.frame), cls="small"), tag("br"), tag("bdi", row.target)]
    what += [tag("br"), tag("span", tag("bdi", row.noted), cls="small")] if row.noted else []
    dose = [f"{row.asked} → ", tag("b", row.dose)]
    dose += [tag("br"), tag("span", row.interval, cls="small")] if row.interval else []
    boxes = [tag("span", words, cls="tick") for words in row.boxes] or [tag("bdi", row.verdict)]
    first = tag("tr", tag("td", str(row.number), cls="id"), tag("td", *what, cls="what"),
                tag("td", *dose, cls="dose num"), tag("td", row.stops, cls="stops num"), tag("td", *boxes, cls="boxes"),
                tag("td", *[tag("i")] * PENCIL_LINES, cls="pencil", rowspan=2))  # fmt: skip
    care = [tag("ul", *(tag("li", line) for line in row.care), cls="care")] if row.care else []
    story = tag("tr", tag("td", cls="id"), tag("td", sentences(row.story), *care, colspan=4), cls="story")
    return tag("tbody", first, story)


def _light(day: Day) -> Safe:
    if not day.sensors:
        return Safe("")
    side = ["num" if k in RIGHT_ALIGNED else None for k in range(len(LIGHT_HEADS))]
    heads = (tag("th", h, scope="col", cls=c) for h, c in zip(LIGHT_HEADS, side, strict=True))
    lines = (tag("tr", *(tag("td", cell, cls=c) for cell, c in zip(row, side, strict=True))) for row in light_rows(day))
    told = [tag("p", line, cls="small") for line in sensor_lines(day)]
    table = tag("table", tag("thead", tag("tr", *heads)), tag("tbody", *lines), cls="plain")
    return tag("section", tag("h2", "Sensors"), table, *told)


def _list(title: str, lines: list[str]) -> Safe:
    if not lines:
        return Safe("")
    return tag("section", tag("h2", title), joined(*(tag("p", line) for line in lines)))
