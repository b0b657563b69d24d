"""A day as plain text within 100 columns: the light over time, the prints beneath it, and what each received."""

from __future__ import annotations

from ..clock import local_time
from ..exposure.document import settling
from ..units import minutes, percent
from .day import Day, Print
from .layout import (
    alarm_words,
    columns,
    figure,
    shorten,
    stops_text,
    time_of,
    unit_text,
    with_unit,
    wrap,
)
from .light import BINS, LightOfDay

SPARKS = "▁▂▃▄▅▆▇█"
NO_READING = "·"
IN_LIGHT, HELD = "█", "─"
NAME_WIDTH = 12
NOTICE_STOPS = 1 / 6
BAND = "Doses and irradiance are as this sensor sees them. low-high holds the dose 95 times in 100."


def render(day: Day) -> str:
    """The whole review of a day."""
    void = sum(p.is_void for p in day.prints)
    lines = [f"{day.date}: {_counted(len(day.prints), 'exposure')}{f', {void} of them void' if void else ''}", ""]
    lines += _timeline(day)
    lines += ["", *_light(day.sensors)]
    if day.prints:
        lines += ["", *_table(day.prints), "", *_totals(day.prints)]
        notices = [
            line for p in day.prints for text in notices_of(p)
            for line in wrap(f"exposure {p.document.id}: {text}", "  ")
        ]
        if notices:
            lines += ["", "Look at these with care:", *notices]
        lines += ["", *wrap(BAND, "", "")]
    return "\n".join(lines) + "\n"


def _counted(number: int, thing: str) -> str:
    return f"{number} {thing}" if number == 1 else f"{number} {thing}s"


# -- timeline ------------------------------------------------------------------------------------------------------


def _timeline(day: Day) -> list[str]:
    if not day.sensors and not day.prints:
        return ["no readings and no exposures are kept of this day"]
    lines = [f"{shorten(s.name, NAME_WIDTH):<{NAME_WIDTH}} {spark(s.trace, s.strongest)}" for s in day.sensors]
    lines += [_bar(day, p) for p in day.prints if p.in_light and not p.is_void]
    first, last = local_time(day.from_us), local_time(day.to_us)
    return [*lines, f"{'':<{NAME_WIDTH}} {first}{last:>{BINS - len(first)}}"]


def spark(trace: list[float | None], strongest: float | None) -> str:
    """A row of bars from 0 to the strongest light; a dot where there was no reading."""
    top = strongest or 0.0
    marks = []
    for value in trace:
        if value is None:
            marks.append(NO_READING)
        else:
            level = int(value / top * len(SPARKS)) if top > 0 else 0
            marks.append(SPARKS[min(len(SPARKS) - 1, max(0, level))])
    return "".join(marks)


def _bar(day: Day, p: Print) -> str:
    width_us = max(1, day.to_us - day.from_us)

    def place(wall_us: int) -> int:
        return min(BINS - 1, max(0, (wall_us - day.from_us) * BINS // width_us))

    marks = [" "] * BINS
    for i in range(place(p.in_light[0].start_us), place(p.in_light[-1].stop_us) + 1):
        marks[i] = HELD
    for stretch in p.in_light:
        for i in range(place(stretch.start_us), place(stretch.stop_us) + 1):
            marks[i] = IN_LIGHT
    for before, after in zip(p.in_light, p.in_light[1:], strict=False):
        # A hold is shown even where it is shorter than a column; the light before and after keeps its own.
        marks[min(place(before.stop_us) + 1, place(after.start_us))] = HELD
    return f"{f'exposure {p.document.id}':<{NAME_WIDTH}} {''.join(marks)}".rstrip()


# -- figures -------------------------------------------------------------------------------------------------------


def _light(sensors: list[LightOfDay]) -> list[str]:
    if not sensors:
        return []
    rows = [["sensor", "readings", "time", "strongest", "mean", "irradiance in"]]
    rows += [
        [s.name, str(s.readings), minutes(s.minutes * 60), figure(s.strongest), figure(s.mean), unit_text(s.unit)]
        for s in sensors
    ]
    return columns(rows, right=(1, 2, 3, 4))


def _table(prints: list[Print]) -> list[str]:
    head = ["id", "label", "frame", "target", "asked", "given", "low-high", "unit", "stops"]
    rows = [head]
    for p in prints:
        d = p.document
        rows.append([
            str(d.id), shorten(d.label or "-", 10), shorten(d.frame, 6),
            shorten(d.title, 20), figure(d.target_dose),
            "void" if p.is_void else figure(d.dose),
            "-" if p.is_void else f"{figure(d.dose_low)}-{figure(d.dose_high)}", unit_text(d.unit), stops_text(p.stops),
        ])
    table = columns(rows, right=(0, 4, 5, 8))
    lines = [table[0]]
    for p, row in zip(prints, table[1:], strict=True):
        lines += [row, *_story(p)]
    return lines


def _story(p: Print) -> list[str]:
    d = p.document
    known = [f"{k} {v}" for k, v in (("process", p.combination.process), ("paper", p.combination.paper)) if v]
    lines = wrap(", ".join(known), "    ") if known else []
    light = f"light {minutes(d.measured_s)} measured, {minutes(d.bridged_s)} bridged, {minutes(d.missing_s)} missing"
    if p.is_void:
        started = f"started {time_of(d.started_utc)}, " if d.started_utc is not None else ""
        return [*lines, *wrap(f"void: {started}taken back {time_of(d.finished_utc)}", "    ")]
    parts = [f"{d.state}, started {time_of(d.started_utc)}"]
    parts += [f"{call_name(e.event, e.data)} {time_of(e.utc)}" for e in p.calls]
    if d.finished_utc is not None:
        parts.append(f"finished {time_of(d.finished_utc)}")
    if p.held_s:
        parts.append(f"held {minutes(p.held_s)}")
    if d.correction_stops:
        own = with_unit(d.target_dose_raw, d.unit)
        parts.append(f"aimed {d.correction_stops:+.2f} stop from the target's {own}, for the light")
    if d.reciprocity_stops:
        parts.append(f"by its exponent p it would have needed {d.reciprocity_stops:+.2f} stop")
    return [*lines, *wrap(light, "    "), *wrap(", ".join(parts), "    ")]


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


def _totals(prints: list[Print]) -> list[str]:
    counted = [p.document for p in prints if not p.is_void]
    ended = [p for p in prints if p.document.state == "finished"]
    known_s, missing_s = sum(d.measured_s + d.bridged_s for d in counted), sum(d.missing_s for d in counted)
    lines = [f"{_counted(len(ended), 'exposure')} finished; {minutes(known_s)} in the light in all"]
    lines[0] += f", measured or bridged{f', and {minutes(missing_s)} missing' if missing_s else ''}"
    aimed = [p for p in ended if p.document.target_version]  # a strip or a tablet has no target yet
    reached = [p for p in aimed if p.document.reached_utc is not None]
    if aimed:
        lines[0] += f"; {len(reached)} of {len(aimed)} reached the target"
    return [part for line in lines for part in wrap(line, "", "  ")]


def notices_of(p: Print) -> list[str]:
    """What of a print is to be looked at with care, a sentence each."""
    d = p.document
    found: list[str] = []
    if p.is_void:
        return found
    if d.state != "finished":
        found.append(f"it is not finished ({d.state}); its figures run up to the last reading kept")
    if settling(d):
        found.append("it is settling: its light since the sensor's last reading is not known yet")
    if d.missing_s:
        found.append(
            f"{minutes(d.missing_s)} without any measurement: about {with_unit(d.missing_dose, d.unit)} more fell,"
            f" at most {with_unit(d.dose_high - d.dose, d.unit)}"
        )
    if d.bridged_s:
        found.append(f"{minutes(d.bridged_s)} bridged between readings")
    if d.saturated_s:
        found.append(f"{minutes(d.saturated_s)} at the sensor's full scale: the dose is a lower bound")
    if p.stops is not None and d.state == "finished" and abs(p.stops) > NOTICE_STOPS:
        more = "more" if p.stops > 0 else "less"
        found.append(f"{abs(p.stops):.2f} stops {more} than its target asks")
    if p.overridden:
        found.append(f"the target was proved with another sensor setting or light ({'; '.join(p.overridden)})")
    alarms = sorted({alarm_words(str(e.data.get("alarm"))) for e in p.alarms})
    if alarms:
        found.append(f"alarms while it lay out: {', '.join(alarms)}")
    return found
