"""A day ahead as plain text within 80 columns: the light through the day, and how long prints will take."""

from __future__ import annotations

from ..foretold import BeginDoc, FitDoc, OutlookDoc, PrintsAheadDoc, QueueAheadDoc
from ..stamps import from_iso, local_date, local_time
from .layout import columns, shorten, with_unit, wrap
from .text import spark

BARS = 66
HOURS_S = 119.5 * 60  # from here on times are told in hours
NAME = 12
NONE = "-"
NOT_DONE = "not before dark"
AFTER = 3  # so many of a queue that the day does not finish are named; of more, the first


def render(doc: OutlookDoc) -> str:
    """The whole outlook."""
    lines = [*wrap(f"{doc.date}, {doc.sensor} {doc.facing}: {_sun(doc)}"), *wrap(_sky(doc)), ""]
    lines += _chart(doc)
    for target in doc.targets:
        lines += ["", *_prints(target, doc.days > 0)]
    if doc.queue is not None:
        lines += ["", *queue_lines(doc.queue, doc.days > 0)]
    if doc.caution is not None:
        lines += ["", *wrap(doc.caution)]
    if doc.left_out:
        lines += ["", *(line for why in doc.left_out for line in wrap(f"left out: {why}"))]
    return "\n".join(lines) + "\n"


def clock_of(utc: str | None) -> str:
    """The local time of day in hours and minutes; `-` for None."""
    return NONE if utc is None else local_time(from_iso(utc))[:5]


def lasting(seconds: float | None) -> str:
    """How long a print takes: in seconds below two minutes, in minutes below two hours."""
    if seconds is None:
        return NOT_DONE
    if seconds < 119.5:
        return f"{round(seconds)} s"
    return f"{round(seconds / 60)} min" if seconds < HOURS_S else _hours(seconds)


def _hours(seconds: float) -> str:
    hours, rest = divmod(round(seconds / 60), 60)
    return f"{hours} h {rest:02d}"


def lasting_between(low: float | None, high: float | None) -> str:
    """A range of such times, the unit once where it is the same."""
    first, last = lasting(low), lasting(high)
    if first == last:
        return first
    if high is not None and high >= HOURS_S and low is not None and 3570 <= low < HOURS_S:
        first = _hours(low)  # both ends in one measure: 1 h 44 - 2 h 07
    number, _, unit = first.rpartition(" ")
    return f"{number}-{last}" if unit in ("s", "min") and last.endswith(f" {unit}") else f"{first} - {last}"


def _sun(doc: OutlookDoc) -> str:
    noon = f"highest {doc.highest_deg:.0f}° at {clock_of(doc.noon_utc)}"
    if doc.sun_always == "down":
        return "the sun does not rise"
    if doc.sun_always == "up":
        return f"the sun does not set, {noon}"
    return f"sun from {clock_of(doc.sunrise_utc)} to {clock_of(doc.sunset_utc)}, {noon}"


def _sky(doc: OutlookDoc) -> str:
    apart = f"{100 * (doc.level_high - doc.level_low) / 2:.0f} %"
    if doc.level == "measured":
        days = ", ".join(local_date(from_iso(day)) for day in doc.level_days)
        told = f"Clear sky: as this sensor read it on {days}, within {apart}."
    else:
        told = f"Clear sky: computed, within {apart}; the first clear half hour in the journal will tell it better."
    if doc.sky_typical is None or doc.sky_low is None or doc.sky_high is None:
        return f"{told} No day with an hour of light is in the journal yet: nothing is said of clouds."
    days = "the last day" if doc.days == 1 else f"the last {doc.days} days"
    return (
        f"{told} Like {days}: {100 * doc.sky_typical:.0f} % of it, {100 * doc.sky_low:.0f} to"
        f" {100 * doc.sky_high:.0f} % from day to day."
    )


def _chart(doc: OutlookDoc) -> list[str]:
    """The clear light, and that of the last days, in blocks from first to last light."""
    if not doc.light:
        return ["no light on this day"]
    top = max(point.clear for point in doc.light)
    places = [min(len(doc.light) - 1, i * len(doc.light) // BARS) for i in range(BARS)]
    rows: list[tuple[str, list[float | None]]] = [("clear", [doc.light[p].clear for p in places])]
    if doc.days:
        rows += [("typical", [doc.light[p].typical for p in places]), ("poor", [doc.light[p].low for p in places])]
    lines = [f"{name:<{NAME}} {spark(trace, top)}" for name, trace in rows]
    first, last = clock_of(doc.light[0].utc), clock_of(doc.light[-1].utc)
    return [
        *lines, f"{'':<{NAME}} {first}{last:>{BARS - len(first)}}", f"{'':<{NAME}} top {with_unit(top, doc.unit)}",
    ]  # fmt: skip


def _prints(target: PrintsAheadDoc, known: bool) -> list[str]:
    title = f"{shorten(target.target, 40)} v{target.version}"
    lines = [f"{title}, {with_unit(target.dose, target.unit)}"]
    if target.now is not None:
        lines.append(f"  begun now: {begun_words(target.now)}")
    if target.begun:
        head = ["  begun", "sun", "clear sky", "95 %"] + (["typical", "four days of five"] if known else [])
        table = [head, *(_row(b, known) for b in target.begun)]
        lines += columns(table, right=(1, 2, 4) if known else (1, 2))
    if target.last_clear_utc is None:
        return [*lines, "  not even a clear sky gives enough before the light goes"]
    last = f"  last start that finishes: {clock_of(target.last_clear_utc)} in a clear sky"
    if known:
        last += f", {clock_of(target.last_typical_utc)} in a typical one" if target.last_typical_utc is not None else (
            ", none in a typical one")
    lines += [last, f"  prints that fit, one after the other: {_fit(target.fit)}"]
    return lines + [line for why in target.beside for line in wrap(f"  {why}", "", "    ")]


def begun_words(begun: BeginDoc) -> str:
    """How long, in a few words: like the last days where they are known, else in a clear sky."""
    if begun.typical_s is not None:
        about, between = lasting(begun.typical_s), lasting_between(begun.low_s, begun.high_s)
        return f"about {about} ({between})" if between != about else f"about {about}"
    if begun.low_s is not None:
        return f"{lasting(begun.low_s)} at best, likelier {NOT_DONE}"
    clear = f"{lasting(begun.clear_s)} in a clear sky"
    if begun.clear_s is not None:
        clear += f" ({lasting_between(begun.clear_low_s, begun.clear_high_s)})"
    return clear


def _row(begun: BeginDoc, known: bool) -> list[str]:
    row = [f"  {clock_of(begun.utc)}", f"{begun.sun_deg:.0f}°", lasting(begun.clear_s),
           lasting_between(begun.clear_low_s, begun.clear_high_s)]  # fmt: skip
    return row + ([lasting(begun.typical_s), lasting_between(begun.low_s, begun.high_s)] if known else [])


def _fit(fit: FitDoc) -> str:
    told = f"{fit.clear} in a clear sky"
    if fit.typical is None:
        return told
    between = f" ({fit.poor}-{fit.good})" if fit.poor != fit.good else ""
    return f"{told}, {fit.typical}{between} in a typical one"


def queue_lines(queue: QueueAheadDoc, known: bool) -> list[str]:
    """When each of the queue would be done."""
    if not queue.waiting:
        return ["nobody waits in the queue"]
    count = len(queue.waiting)
    lines = [f"the queue, {count} {'print' if count == 1 else 'prints'}, {queue.between_s / 60:g} min between two:"]
    head = ["  ", "who", "clear sky", *(["typical"] if known else [])]
    table = [head]
    done = sum(entry.clear_utc is not None for entry in queue.waiting)  # one after the other: the rest comes after
    told = queue.waiting if count <= done + AFTER else queue.waiting[: done + 1]
    for number, entry in enumerate(told, 1):
        row = [f"  {number}", shorten(entry.label, 50), clock_of(entry.clear_utc)]
        table.append(row + ([clock_of(entry.typical_utc)] if known else []))
    lines += columns(table, right=(0,))
    if len(told) < count:
        lines.append(f"  and {count - len(told)} more, not that day either")
    return [*lines, f"  of these fit: {_fit(queue.fit)}"]
