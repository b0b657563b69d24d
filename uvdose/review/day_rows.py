"""The prints of a day as rows of text, each with its story beneath it: whole for a dozen, in one line for more."""

from __future__ import annotations

from collections.abc import Sequence

from ..messages import ExposureDoc
from ..stamps import from_iso, local_date
from ..units import minutes, percent, stops_between
from .day import Day, Print
from .layout import (
    LEAST_WIDTH,
    columns,
    figure,
    moment_of,
    screen_width,
    shorten,
    shorten_title,
    stops_text,
    time_of,
    unit_text,
    with_unit,
    wrap,
)
from .print_text import noted_told, verdict_words

MOST_TOLD = 12
WIDTH = 80


def fold(text: str, indent: str = "", rest: str | None = None) -> list[str]:
    """A sentence in lines as wide as the tables, or as the screen where that is narrower."""
    return wrap(text, indent, rest, max(LEAST_WIDTH, min(WIDTH, screen_width())))


def short(day: Day) -> bool:
    """Whether there are too many prints for a line of the timeline and a whole story each."""
    return len(day.prints) > MOST_TOLD


def counted_words(number: int, thing: str) -> str:
    """A number and its thing, one or several."""
    return f"{number} {thing}" if number == 1 else f"{number} {thing}s"


def print_rows(day: Day) -> list[str]:
    """The table of the day's prints. Where all doses have one unit it stands in the head."""
    units = {p.document.unit for p in day.prints}
    one = f", {unit_text(next(iter(units)))}" if len(units) == 1 else ""
    rows = [["id", "label", "frame", "target", "asked", "given" + one, "low-high", *([] if one else ["unit"]), "stops"]]
    for p in day.prints:
        d = p.document
        rows.append([
            str(d.id), shorten(d.label or "-", 10 if one else 8), shorten(d.frame, 6),
            shorten_title(d.title, 14 if one else 12), figure(d.target_dose), "void" if p.is_void else figure(d.dose),
            "-" if p.is_void else f"{figure(d.dose_low)}-{figure(d.dose_high)}",
            *([] if one else [unit_text(d.unit)]), stops_text(p.stops),
        ])  # fmt: skip
    table = columns(rows, right=(0, 4, 5, len(rows[0]) - 1))
    lines = [table[0]]
    for p, row in zip(day.prints, table[1:], strict=True):
        lines += [row, *(_short_story(day, p) if short(day) else _story(day, p))]
    return lines


def shared_rows(day: Day) -> list[str]:
    """Prints that began before the day and lay in the light on it: what of them belongs to it."""
    lines = []
    for p in day.from_before:
        d = p.document
        named = f"exposure {d.id}{f', {d.label}' if d.label else ''}, frame {d.frame}: {d.title}"
        whole = f"in all {with_unit(d.dose, d.unit)} of {figure(d.target_dose)}, {d.state}"
        lines += fold(f"{named}, begun {moment_of(d.started_utc)[:16]}; {share_told(p)}; {whole}", "  ", "    ")
    return lines


def known_times(prints: Sequence[Print]) -> list[tuple[Print, float]]:
    """Prints of which a clock's dose is known, each with its stops above the target."""
    found = []
    for p in prints:
        stops = stops_between(p.clock.dose, p.document.target_dose) if p.clock is not None else None
        if stops is not None:
            found.append((p, stops))
    return found


def share_told(p: Print) -> str:
    """How much of a print belongs to the day."""
    if p.share is None:
        return "all of it on this day"
    dose = "" if p.share.dose is None else f", about {with_unit(p.share.dose, p.document.unit)}"
    return f"on this day {minutes(p.share.lit_s)} in the light{dose}"


def at(day: Day, utc: str | None) -> str:
    """The time of day, with the date where it is another day's."""
    return time_of(utc) if utc is None or local_date(from_iso(utc)) == day.date else moment_of(utc)


def void_told(day: Day, p: Print) -> str:
    """When a void print was begun and taken back."""
    d = p.document
    started = f"started {at(day, d.started_utc)}, " if d.started_utc is not None else ""
    return f"void: {started}taken back {at(day, d.finished_utc)}"


def _story(day: Day, p: Print) -> list[str]:
    d = p.document
    known = [f"{k} {v}" for k, v in (("process", p.combination.process), ("paper", p.combination.paper)) if v]
    lines = fold(", ".join(known), "    ") if known else []
    if p.is_void:
        return [*lines, *fold(void_told(day, p), "    ")]
    light = f"light {minutes(d.measured_s)} measured, {minutes(d.bridged_s)} bridged, {minutes(d.missing_s)} missing"
    if (ends := ends_told(p)):
        light += f"; {ends}"
    parts = [f"{d.state}, started {at(day, d.started_utc)}"]
    parts += [f"{call_name(e.event, e.data)} {at(day, e.utc)}" for e in p.calls]
    if d.finished_utc is not None:
        parts.append(f"finished {at(day, d.finished_utc)}")
    if p.held_s:
        parts.append(f"held {minutes(p.held_s)}")
    parts += aim_told(d)
    more = [share_told(p)] if p.share is not None else []
    more += past_told(p)
    if (clock := clock_of(p)):
        more.append(clock)
    more += [told for told in (_said(p), noted_told(d.id, p.note)) if told]
    return [*lines, *fold(light, "    "), *fold(", ".join(parts), "    "),
            *(line for text in more for line in fold(text, "    "))]  # fmt: skip


def ends_told(p: Print) -> str:
    """The light as it came into it and left it; nothing where that was not read."""
    ends = [(value, when) for value, when in ((p.light_start, "start"), (p.light_end, "end")) if value is not None]
    told = ", ".join(f"{figure(value)} at the {when}" for value, when in ends)
    return f"{told}, {unit_text(p.light_unit)}" if told else ""


def aim_told(d: ExposureDoc) -> list[str]:
    """How its aim differed from the target's dose, and what its time asks by the exponent."""
    parts = []
    if d.correction_stops:
        own = with_unit(d.target_dose_raw, d.unit)
        parts.append(f"aimed {d.correction_stops:+.2f} stop from the target's {own}, for the light")
    if d.reciprocity_stops:
        parts.append(f"by its exponent p it would have needed {d.reciprocity_stops:+.2f} stop")
    return parts


def past_told(p: Print) -> list[str]:
    """How long it lay on after the target was reached."""
    if not p.past_s:
        return []
    past = f", {with_unit(p.past_dose, p.document.unit)}" if p.past_dose else ", reckoned with what is missing"
    return [f"past the target {minutes(p.past_s)} in the light{past}"]


def _short_story(day: Day, p: Print) -> list[str]:
    d = p.document
    if p.is_void:
        return fold(void_told(day, p), "    ")
    end = f"-{at(day, d.finished_utc)}" if d.finished_utc is not None else f", {d.state}"
    parts = [f"{at(day, d.started_utc)}{end}"]
    for what, seconds in (("held", p.held_s), ("bridged", d.bridged_s), ("missing", d.missing_s), ("past", p.past_s)):
        if seconds:
            parts.append(f"{what} {minutes(seconds)}")
    if p.share is not None:
        parts.append(share_told(p))
    parts += [text for text in (clock_of(p, short=True), _said(p), noted_told(d.id, p.note)) if text]
    return fold(", ".join(parts), "    ")


def clock_of(p: Print, short: bool = False) -> str:
    """What the clock would have made of a print; nothing where that is not known."""
    told = known_times([p])
    if not told or p.clock is None:
        return ""
    if short:
        return f"by the clock {stops_text(told[0][1])}"
    return (
        f"by the clock: {minutes(p.clock.clock_s)} in the light, about {with_unit(p.clock.dose, p.document.unit)},"
        f" {stops_text(told[0][1])} stops"
    )


def _said(p: Print) -> str:
    if p.verdict is None:
        return "waits for a verdict" if p.waits else ""
    return f"verdict: {verdict_words(p.verdict)}"


def call_name(event: str, data: dict[str, object]) -> str:
    """A call as a person says it: `look 70 %`, `overshoot +0.17 stops`."""
    key = str(data.get("key", event))
    kind, _, at = key.partition(":")
    if kind == "look" and at == "missing":
        return "look (may be enough)"
    if kind == "reminder":
        return "still held"
    try:
        share = float(at)
    except ValueError:
        return {"reached": "target", "lead": "lead"}.get(kind, kind)
    if kind in ("step", "ready"):
        return f"{'soon ' if kind == 'ready' else ''}{data.get('words', kind)}"
    return f"look {percent(share)}" if kind == "look" else f"{kind} {share:+.2f} stops"
