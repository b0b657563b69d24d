"""What else a day tells as text: targets that were made, and how each sensor did."""

from __future__ import annotations

from ..units import minutes
from .day import Day, SensorHealth
from .day_rows import fold
from .layout import alarm_words, shorten, stops_text, time_of, with_unit


def target_lines(day: Day) -> list[str]:
    """Each version made on the day, from what to what."""
    lines = [line for told in targets_told(day) for line in fold(told, "  ", "      ")]
    return ["Targets made this day:", *lines] if lines else []


def targets_told(day: Day) -> list[str]:
    """The same, each in a sentence."""
    lines = []
    for t in day.targets:
        told = f"{time_of(t.utc)[:5]} {t.name} v{t.version}: {with_unit(t.dose, t.unit)}"
        if (t.dose, t.unit) == (t.before_dose, t.before_unit):
            told += f", the same dose as v{t.before_version}" + (f" ({shorten(t.reason, 80)})" if t.reason else "")
        elif t.before_dose is not None:
            told += f", was {with_unit(t.before_dose, t.before_unit)} (v{t.before_version})"
            told += "" if t.stops is None else f", {stops_text(t.stops)} stops"
        told += f"; by {t.basis}" if t.basis else ""
        told += "; retired" if t.retired else ""
        lines.append(told)
    return lines


def brought_told(day: Day) -> list[str]:
    """Which sensors' readings came from a file."""
    if not day.brought_in:
        return []
    names = ", ".join(shorten(name, 20) for name in day.brought_in)
    return [f"from a file, and not from this bench: the readings of {names}"]


def health_lines(day: Day) -> list[str]:
    """Sensors of which there is something to tell."""
    lines = [
        line for health in day.health if not health.is_well
        for line in fold(f"{health.name}: {'; '.join(health_told(health))}", "  ", "    ")
    ]
    return ["How the sensors did:", *lines] if lines else []


def health_told(health: SensorHealth) -> list[str]:
    """What befell one sensor; nothing where it is well."""
    told = []
    for alarm in health.alarms:
        times = f"{alarm.times} times, " if alarm.times > 1 else ""
        lasting = ", still on" if alarm.lasting else ""
        told.append(f"{alarm_words(alarm.alarm)} {times}{minutes(alarm.seconds)}{lasting}")
    if health.holes:
        pauses = "pause" if health.holes == 1 else "pauses"
        longest = f", the longest {minutes(health.longest_hole_s)}" if health.holes > 1 else ""
        told.append(f"{health.holes} {pauses} of more than 60 s, {minutes(health.holes_s)} in all{longest}")
    if health.saturated_s:
        told.append(f"{minutes(health.saturated_s)} at full scale")
    told += [f"{time_of(note.utc)[:5]} {note.line}" for note in health.notes]
    return told
