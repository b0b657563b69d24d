"""The words of a day's page, the same in HTML and PDF: what stands at its top, in a print's row, and below them."""

from __future__ import annotations

from datetime import date as Date

import msgspec

from ..stamps import from_iso, local_date
from ..units import minutes
from .day import Day, Print
from .day_health import brought_told, health_told, targets_told
from .day_rows import (
    aim_told,
    at,
    call_name,
    clock_of,
    ends_told,
    past_told,
    share_told,
    void_told,
)
from .layout import figure, moment_of, shorten, stops_text, time_of, unit_text, with_unit
from .print_text import noted_told, verdict_words
from .text import BAND, clock_told, counted_told, notices_of, totals_told

MONTHS = ("January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November",
          "December")  # fmt: skip
DAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
TICKS = ("light", "right", "dark")  # as a verdict says it
LIGHT_HEADS = ("sensor", "readings", "time", "strongest", "mean", "irradiance in", "best minute", "worst, printing")
KEY = "Thick: in the light. Thin: held. White notch: the target was reached. Hatched: no reading."
DOTS = "A dot is a print, its stroke where the dose lies 95 times in 100; an open dot is not finished."
STROKES = "A stroke is a print; the dot below is their mean, the line one standard deviation to either side."
MOST_WHOLE = 40  # prints; of more each has a line in a PDF
LINES = (
    f"There are more than {MOST_WHOLE}, so each has one line here. Intervals, calls, holds and notes stand in the"
    " page (uvdose day --out FILE.html)."
)
MOST_LABEL, MOST_FRAME, MOST_NOTED = 100, 24, 160  # letters; the whole text is in the journal, and in --json
_JOINERS = "\u200c\u200d"  # within words of some scripts, and within emoji


class Row(msgspec.Struct, frozen=True):
    """One print. begun, light: its time of day, and how long it lay in the light. dose, interval, stops: `-` where
    there is none. boxes: what may be ticked; todo: the command that its reading wants instead. story, care: sentences.
    """

    number: int
    label: str
    frame: str
    target: str
    noted: str
    asked: str
    dose: str
    interval: str
    stops: str
    begun: str
    light: str
    waits: bool
    boxes: tuple[str, ...]
    verdict: str
    story: list[str]
    care: list[str]


def plain(text: str) -> str:
    """The text without control characters and overrides of direction, which would break XML or turn a line around."""
    return "".join(c if c.isprintable() or c in _JOINERS else " " if c.isspace() else "\ufffd" for c in text)


def sentences(parts: list[str]) -> str:
    """Parts one after the other as sentences."""
    return " ".join(f"{part[0].upper()}{part[1:]}." for part in parts if part)


def weekday_and_day(date: str) -> tuple[str, str]:
    """`Sunday` and `21 June 2026`."""
    day = Date.fromisoformat(date)
    return DAYS[day.weekday()], f"{day.day} {MONTHS[day.month - 1]} {day.year}"


def summary(day: Day) -> list[str]:
    """What the day came to, a sentence each."""
    if not day.prints and not day.from_before:
        return ["no exposure on this day"] if day.sensors else ["no exposure and no reading is kept of this day"]
    return [counted_told(day), *totals_told(day), *clock_told(day)]


def rows(day: Day) -> tuple[list[Row], list[Row]]:
    """The prints that wait for a word, and all others."""
    todo = {w.exposure: w for w in day.waiting}
    every = [
        (p, _row(day, p, todo[p.document.id].type if p.document.id in todo else ""))
        for p in (*day.from_before, *day.prints)
    ]
    return [row for p, row in every if p.waits], [row for p, row in every if not p.waits]


def _row(day: Day, p: Print, command: str) -> Row:
    d = p.document
    noted = (p.combination.process, p.combination.paper, p.combination.coat, p.combination.film)
    judged = p.waits and d.target_version > 0
    said = command if p.waits and not judged else verdict_words(p.verdict) if p.verdict is not None else ""
    return Row(
        number=d.id,
        label=shorten(plain(d.label), MOST_LABEL),
        frame=shorten(plain(d.frame), MOST_FRAME),
        target=shorten(plain(d.title), MOST_LABEL),
        noted=shorten(plain(", ".join(n for n in noted if n)), MOST_NOTED),
        asked=figure(d.target_dose),
        dose="void" if p.is_void else with_unit(d.dose, d.unit),
        interval="" if p.is_void else f"{figure(d.dose_low)}-{figure(d.dose_high)}",
        stops=stops_text(p.stops),
        begun=_begun(day, p),
        light=minutes(p.lit_s),
        waits=p.waits,
        boxes=TICKS if judged else (),
        verdict=plain(said),
        story=_story(day, p),
        care=[plain(text) for text in notices_of(p)],
    )


def _begun(day: Day, p: Print) -> str:
    """To the minute; with its date where that is another day's."""
    utc = p.document.started_utc
    if utc is None:
        return "-"
    return time_of(utc)[:5] if local_date(from_iso(utc)) == day.date else moment_of(utc)[:16]


def _story(day: Day, p: Print) -> list[str]:
    d = p.document
    if p.is_void:
        return [void_told(day, p)]
    ends = at(day, d.finished_utc) if d.finished_utc is not None else f"now ({d.state})"
    lit = f"{at(day, d.started_utc)} to {ends}, {minutes(p.lit_s)} in the light"
    lines = [lit + (f", held {minutes(p.held_s)}" if p.held_s else "")]
    if p.share is not None:
        lines.append(share_told(p))
    if p.calls:
        lines.append("; ".join(f"{call_name(e.event, e.data)} {at(day, e.utc)}" for e in p.calls))
    if (ends := ends_told(p)):
        lines.append(f"light {ends}")
    return [plain(text) for text in (*lines, *past_told(p), clock_of(p), *aim_told(d), noted_told(d.id, p.note))]


def light_rows(day: Day) -> list[tuple[str, ...]]:
    """A row for each sensor, under LIGHT_HEADS."""
    return [
        (plain(s.name), str(s.readings), minutes(s.minutes * 60), figure(s.strongest), figure(s.mean),
         unit_text(s.unit),
         f"{figure(s.best.irradiance)} at {time_of(s.best.utc)[:5]}" if s.best is not None else "-",
         f"{figure(s.worst.irradiance)} at {time_of(s.worst.utc)[:5]}" if s.worst is not None else "-")
        for s in day.sensors
    ]  # fmt: skip


def sensor_lines(day: Day) -> list[str]:
    """How the sensors did, a line each."""
    sensors = [f"{h.name}: {'; '.join(health_told(h)) or 'no alarm and no gap'}" for h in day.health]
    return [plain(text) for text in (*sensors, *brought_told(day))]


def target_lines(day: Day) -> list[str]:
    """The versions of targets that were made, a sentence each."""
    return [plain(text) for text in targets_told(day)]


def closing(day: Day) -> str:
    """The last line."""
    zone = f" Times of {plain(day.zone)}." if day.zone else ""
    return f"{BAND}{zone}"
