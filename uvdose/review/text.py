"""A day as plain text: what waits, the light over time with the prints beneath it, what each received, what to mind.

Lines are 80 wide where the figures let them.
"""

from __future__ import annotations

from itertools import pairwise

from ..exposure.states import settling
from ..stamps import local_time
from ..units import minutes, percent
from .day import NEAR_STOPS, Day, Print
from .day_health import brought_told, health_lines, target_lines
from .day_rows import counted_words, fold, known_times, print_rows, shared_rows, short
from .layout import alarm_words, columns, figure, shorten, stops_text, sum_with_unit, time_of, unit_text, with_unit
from .light import BINS, LightOfDay, Minute

SPARKS = "▁▂▃▄▅▆▇█"
NO_READING = "·"
IN_LIGHT, NEXT, HELD = "█", "▓", "─"
COLUMNS = 66
NAME_WIDTH = 12
LEAST_HOLD = 3  # a print of fewer columns shows no hold that is shorter than one
MOST_WAITING = 8
BAND = "Doses and irradiance are as this sensor sees them. low-high holds the dose 95 times in 100."


def render(day: Day) -> str:
    """The whole review of a day."""
    where = f", {day.zone}" if day.zone else ""
    lines = [f"{day.date}{where}: {counted_told(day)}", *_waiting(day), "", *_timeline(day)]
    lines += _block([*_light(day.sensors), *_in_lines(brought_told(day))])
    if day.from_before:
        lines += ["", "Still in the light from before:", *shared_rows(day)]
    if day.prints:
        lines += ["", *print_rows(day), "", *_in_lines(totals_told(day))]
    lines += _block(_in_lines(clock_told(day))) + _block(target_lines(day)) + _block(health_lines(day))
    notices = [
        line for p in (*day.from_before, *day.prints) for text in notices_of(p)
        for line in fold(f"exposure {p.document.id}: {text}", "  ")
    ]
    if notices:
        lines += ["", "Look at these with care:", *notices]
    if day.prints or day.from_before:
        lines += ["", *fold(BAND, "", "")]
    return "\n".join(lines) + "\n"


def _block(lines: list[str]) -> list[str]:
    return ["", *lines] if lines else []


def _waiting(day: Day) -> list[str]:
    """The oldest first, as `verdict` asks for them."""
    if not day.waiting:
        return []
    rows = [["  " + shorten(w.what, 42), w.type] for w in day.waiting[:MOST_WAITING]]
    more = len(day.waiting) - MOST_WAITING
    rest = [f"  and {more} more: `uvdose verdict` takes the oldest"] if more > 0 else []
    return ["", "What waits, when it is washed and dry:", *columns(rows), *rest]


# -- timeline ------------------------------------------------------------------------------------------------------


def _timeline(day: Day) -> list[str]:
    if not day.sensors and not day.prints and not day.from_before:
        return ["no readings and no exposures are kept of this day"]
    lines = [f"{shorten(s.name, NAME_WIDTH):<{NAME_WIDTH}} {spark(_folded(s.trace), s.strongest)}" for s in day.sensors]
    shown = [p for p in (*day.from_before, *day.prints) if p.in_light and not p.is_void]
    if short(day):
        frames = dict.fromkeys(p.document.frame for p in shown)
        rows = [(f"frame {frame}", [p for p in shown if p.document.frame == frame]) for frame in frames]
    else:
        rows = [(f"exposure {p.document.id}", [p]) for p in shown]
    lines += [f"{shorten(name, NAME_WIDTH):<{NAME_WIDTH}} {_bars(day, prints)}".rstrip() for name, prints in rows]
    first, last = local_time(day.from_us), local_time(day.to_us)
    return [*lines, f"{'':<{NAME_WIDTH}} {first}{last:>{COLUMNS - len(first)}}"]


def _folded(trace: list[float | None]) -> list[float | None]:
    """A trace in as many columns as the text has."""
    each = BINS // COLUMNS
    parts = ([v for v in trace[i : i + each] if v is not None] for i in range(0, BINS, each))
    return [sum(part) / len(part) if part else None for part in parts]


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


def _bars(day: Day, prints: list[Print]) -> str:
    """Prints that lay one after the other, in two greys by turns so that they are told apart."""
    width_us = max(1, day.to_us - day.from_us)

    def place(wall_us: int) -> int:
        return min(COLUMNS - 1, max(0, (wall_us - day.from_us) * COLUMNS // width_us))

    marks = [" "] * COLUMNS
    for number, p in enumerate(prints):
        lit = [s for s in p.in_light if s.stop_us >= day.from_us and s.start_us <= day.to_us]
        if not lit:
            continue
        for i in range(place(lit[0].start_us), place(lit[-1].stop_us) + 1):
            marks[i] = HELD
        for stretch in lit:
            for i in range(place(stretch.start_us), place(stretch.stop_us) + 1):
                marks[i] = NEXT if number % 2 else IN_LIGHT
        if place(lit[-1].stop_us) - place(lit[0].start_us) < LEAST_HOLD:
            continue
        for before, after in pairwise(lit):
            # A hold is shown even where it is shorter than a column; the light before and after keeps its own.
            marks[min(place(before.stop_us) + 1, place(after.start_us))] = HELD
    return "".join(marks)


# -- figures -------------------------------------------------------------------------------------------------------


def _light(sensors: list[LightOfDay]) -> list[str]:
    if not sensors:
        return []
    rows = [["sensor", "readings", "time", "strongest", "mean", "irradiance in", "dose of the day"]]
    rows += [
        [shorten(s.name, NAME_WIDTH), str(s.readings), minutes(s.minutes * 60), figure(s.strongest), figure(s.mean),
         unit_text(s.unit), sum_with_unit(s.dose, s.dose_unit)]
        for s in sensors
    ]
    lines = columns(rows, right=(1, 2, 3, 4))
    for s in sensors:
        told = []
        if s.best is not None:
            told.append(f"its strongest minute was {_minute(s.best)} with {with_unit(s.best.irradiance, s.unit)}")
        if s.worst is not None and s.worst != s.best:
            told.append(f"the weakest with a print in it {_minute(s.worst)} with {figure(s.worst.irradiance)}")
        if told:
            lines += fold(f"{shorten(s.name, NAME_WIDTH)}: {', '.join(told)}")
    return lines


def _minute(minute: Minute) -> str:
    """The time of a minute without its seconds, which are zero; the offset of one that clocks show twice stays."""
    told = time_of(minute.utc)
    return told[:5] + told[8:]


def _in_lines(sentences: list[str]) -> list[str]:
    return [line for text in sentences for line in fold(text, "", "  ")]


def counted_told(day: Day) -> str:
    """How many prints the day had."""
    void = f", {day.totals.void} of them void" if day.totals.void else ""
    before = f", and {len(day.from_before)} from before" if day.from_before else ""
    return f"{counted_words(len(day.prints), 'exposure')}{void}{before}"


def totals_told(day: Day) -> list[str]:
    """What the prints of the day come to, in sentences."""
    t = day.totals
    lines = [f"{counted_words(t.finished, 'exposure')} finished; {minutes(t.lit_s)} in the light in all"]
    lines[0] += f", measured or bridged{f', and {minutes(t.missing_s)} missing' if t.missing_s else ''}"
    if t.aimed:
        lines[0] += f"; {t.reached} of {t.aimed} reached the target"
    received = [sum_with_unit(r.dose, r.unit) for r in t.received]
    if received:
        lines.append(f"light received: {', '.join(received)}{f'; held {minutes(t.held_s)}' if t.held_s else ''}")
    if t.aimed and t.stops_mean is not None:
        told = f"{t.near} of {t.aimed} within 1/6 stop of the target"
        if t.stops_sd is not None:
            told += f"; from {stops_text(t.stops_low)} to {stops_text(t.stops_high)} stops,"
            told += f" mean {stops_text(t.stops_mean)}, standard deviation {t.stops_sd:.2f}"
        lines.append(told)
    return lines


def clock_told(day: Day) -> list[str]:
    """What the time that the day's clearest light asks would have made of the finished prints."""
    told = known_times([p for p in day.prints if p.document.state == "finished"])
    if not told:
        return []
    near = sum(abs(stops) <= NEAR_STOPS for _, stops in told)
    low, high = min(stops for _, stops in told), max(stops for _, stops in told)
    by_dose = [p.stops for p, _ in told if p.stops is not None]
    mine = sum(abs(stops) <= NEAR_STOPS for stops in by_dose)
    span = f"from {stops_text(low)} to {stops_text(high)} stops" if len(told) > 1 else f"at {stops_text(low)} stops"
    return [
        f"By the clock instead, set by the day's clearest light: {near} of {len(told)} within 1/6 stop, {span} (about);"
        f" by the dose {mine} of {len(told)}"
    ]


def notices_of(p: Print) -> list[str]:
    """What of a print is to be looked at with care, in sentences."""
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
        found.append(
            f"{minutes(d.saturated_s)} at the sensor's full scale, {percent(p.saturated_share)} of its time:"
            " the dose is a lower bound"
        )
    if p.stops is not None and d.state == "finished" and abs(p.stops) > NEAR_STOPS:
        more = "more" if p.stops > 0 else "less"
        found.append(f"{abs(p.stops):.2f} stops {more} than its target asks")
    if p.overridden:
        found.append(f"the target was proved with another sensor setting or light ({'; '.join(p.overridden)})")
    found += [str(e.data["line"]) for e in p.events if e.event == "light" and "line" in e.data]
    alarms = sorted({alarm_words(str(e.data.get("alarm"))) for e in p.alarms})
    if alarms:
        found.append(f"alarms while it lay out: {', '.join(alarms)}")
    return found
