"""The words of a day's page, the same in HTML and PDF: what stands at its top, in a print's row, and below them."""

from __future__ import annotations

from datetime import date as Date

import msgspec

from ..clock import local_time
from ..notes import Verdict
from ..units import minutes, percent
from .day import Day, Print, SensorHealth, TargetChange
from .layout import alarm_words, figure, shorten, stops_text, time_of, unit_text, with_unit
from .text import BAND, call_name, notices_of

MONTHS = ("January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November",
          "December")  # fmt: skip
DAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
TICKS = ("light", "right", "dark")  # as a verdict says it
LIGHT_HEADS = ("sensor", "readings", "time", "strongest", "mean", "irradiance in", "best minute", "worst, printing")
KEY = "Thick: in the light. Thin: held. White notch: the target was reached. Hatched: no reading."
DOTS = "A dot is a print, its stroke where the dose lies 95 times in 100; an open dot is not finished."
STROKES = "A stroke is a print; the dot below is their mean, the line one standard deviation to either side."
MOST_LABEL, MOST_FRAME, MOST_NOTED = 100, 24, 160  # letters; the whole text is in the journal, and in --json
_JOINERS = "\u200c\u200d"  # within words of some scripts, and within emoji


class Row(msgspec.Struct, frozen=True):
    """One print. dose, interval, stops: `-` where there is none. boxes: what may be ticked; todo: the command that its
    reading wants instead. story, care: sentences."""

    number: int
    label: str
    frame: str
    target: str
    noted: str
    asked: str
    dose: str
    interval: str
    stops: str
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
    t = day.totals
    if not day.prints and not day.from_before:
        return ["no exposure on this day"] if day.sensors else ["no exposure and no reading is kept of this day"]
    counted = f"{t.begun} exposure{'' if t.begun == 1 else 's'}"
    more = [f"{t.finished} finished"] + ([f"{t.void} void"] if t.void else [])
    lines = [f"{counted}, {', '.join(more)}; {minutes(t.lit_s)} in the light"]
    lines[0] += f", {minutes(t.missing_s)} more not measured" if t.missing_s else ""
    if t.aimed:
        lines.append(f"{t.reached} of {t.aimed} reached the target, {t.near} lie within 1/6 stop of it")
    if t.stops_mean is not None and t.stops_low is not None and t.stops_high is not None and t.aimed > 1:
        spread = f", ±{t.stops_sd:.2f} from print to print" if t.stops_sd is not None else ""
        lines.append(
            f"stops from the target: {stops_text(t.stops_low)} to {stops_text(t.stops_high)},"
            f" mean {stops_text(t.stops_mean)}{spread}"
        )
    if t.received:
        lines.append("dose of all prints: " + ", ".join(with_unit(r.dose, r.unit) for r in t.received))
    return lines


def rows(day: Day) -> tuple[list[Row], list[Row]]:
    """The prints that wait for a word, and all others."""
    todo = {w.exposure: w for w in day.waiting}
    every = [
        (p, _row(p, todo[p.document.id].type if p.document.id in todo else ""))
        for p in (*day.from_before, *day.prints)
    ]
    return [row for p, row in every if p.waits], [row for p, row in every if not p.waits]


def _row(p: Print, command: str) -> Row:
    d = p.document
    noted = (p.combination.process, p.combination.paper, p.combination.coat, p.combination.film)
    judged = p.waits and d.target_version > 0
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
        waits=p.waits,
        boxes=TICKS if judged else (),
        verdict=plain(command) if p.waits and not judged else verdict_words(p.verdict) if p.verdict is not None else "",
        story=_story(p),
        care=[plain(text) for text in notices_of(p)],
    )


def verdict_words(verdict: Verdict) -> str:
    """What a person said of a print."""
    parts: list[str] = [verdict.tone or ""]
    if verdict.stops is not None:
        parts.append(f"{verdict.stops:+.2f} stop")
    if verdict.density is not None:
        parts.append(f"density {verdict.density:.2f}")
    if verdict.highlights is not None:
        parts.append(f"highlights {verdict.highlights}")
    return plain(", ".join(part for part in parts if part))


def _story(p: Print) -> list[str]:
    d = p.document
    begin = f"{p.began} " if p.share is not None else ""
    if p.is_void:
        return [f"void: started {begin}{time_of(d.started_utc)}, taken back {time_of(d.finished_utc)}"]
    ends = time_of(d.finished_utc) if d.finished_utc is not None else f"{d.state}"
    lit = f"{begin}{time_of(d.started_utc)} to {ends}, {minutes(p.lit_s)} in the light"
    lit += f", held {minutes(p.held_s)}" if p.held_s else ""
    lines = [lit]
    if p.share is not None:
        of_day = f", about {with_unit(p.share.dose, d.unit)}" if p.share.dose is not None else ""
        lines.append(f"on this day {minutes(p.share.lit_s)} in the light{of_day}")
    calls = [f"{call_name(e.event, e.data)} {time_of(e.utc)}" for e in p.calls]
    if calls:
        lines.append(plain("; ".join(calls)))
    if p.light_start is not None or p.light_end is not None:
        lines.append(f"light at the start {figure(p.light_start)}, at the end {with_unit(p.light_end, p.light_unit)}")
    if p.past_s >= 0.5:
        lines.append(f"{minutes(p.past_s)} past the target, {with_unit(p.past_dose, d.unit)} more")
    if p.saturated_share:
        lines.append(f"{percent(p.saturated_share)} of the time at the sensor's full scale")
    if p.clock is not None:
        c = p.clock
        lines.append(
            f"by a clock set in the day's clearest light ({minutes(c.clock_s)}) it would have got"
            f" {with_unit(c.dose, d.unit)}"
        )
    if d.correction_stops:
        own = with_unit(d.target_dose_raw, d.unit)
        lines.append(f"aimed {d.correction_stops:+.2f} stop from the target's {own}, for the light")
    if d.reciprocity_stops:
        lines.append(f"by its exponent p it would have needed {d.reciprocity_stops:+.2f} stop")
    return lines


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
    """How the sensors did, a sentence each."""
    return [plain(f"{h.name}: {part}") for h in day.health for part in _health(h)]


def _health(h: SensorHealth) -> list[str]:
    if h.is_well:
        return ["nothing to tell; no alarm, no gap"]
    parts = [
        f"{alarm_words(a.alarm)} {a.times} time{'' if a.times == 1 else 's'}, {minutes(a.seconds)} in all"
        f"{', still on at the end' if a.lasting else ''}" for a in h.alarms
    ]
    if h.holes:
        parts.append(
            f"{h.holes} gap{'' if h.holes == 1 else 's'} of more than a minute, {minutes(h.holes_s)} in all, the"
            f" longest {minutes(h.longest_hole_s)}"
        )
    if h.saturated_s:
        parts.append(f"{minutes(h.saturated_s)} at full scale")
    parts += [f"{time_of(n.utc)[:5]} {n.kind}: {n.line}" for n in h.notes]
    return parts


def target_lines(day: Day) -> list[str]:
    """The versions of targets that were made, a sentence each."""
    return [plain(_change(t)) for t in day.targets]


def _change(t: TargetChange) -> str:
    told = f"{time_of(t.utc)[:5]} {t.name} v{t.version}: "
    if t.retired:
        return told + "retired" + (f", {t.reason}" if t.reason else "")
    told += with_unit(t.dose, t.unit)
    if t.before_version and t.before_dose is not None:
        told += f", before {with_unit(t.before_dose, t.before_unit)} (v{t.before_version})"
        told += f", {stops_text(t.stops)} stops" if t.stops is not None else ""
    return told + (f"; from {t.basis}" if t.basis else "") + (f"; {t.reason}" if t.reason else "")


def closing(day: Day) -> str:
    """The last line."""
    zone = f" Times of {plain(day.zone)}." if day.zone else ""
    return f"{BAND}{zone}"


def span_words(day: Day) -> str:
    """From when to when the picture of the light runs."""
    return f"{local_time(day.from_us)[:5]} to {local_time(day.to_us)[:5]}"
