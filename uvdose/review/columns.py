"""What an export holds, column by column: name, type, unit, meaning. The one place that export and its page go by."""

from __future__ import annotations

from typing import NamedTuple

SCHEMA_VERSION = 1

TEXT, WHOLE, NUMBER, TRUTH, TIME, JSON = "text", "whole number", "number", "true or false", "time", "JSON"


class Column(NamedTuple):
    """unit: of a number, "1" for a share; `@name` where the column `name` tells it for each row; empty for none."""

    name: str
    kind: str
    unit: str
    meaning: str


_EXPOSURES = (
    Column("id", WHOLE, "", "The exposure's number, as pencilled on the sheet."),
    Column("label", TEXT, "", "What the person called it."),
    Column("frame", TEXT, "", "The frame it lay in."),
    Column("sensor", TEXT, "", "The sensor that its dose was counted by."),
    Column("target", TEXT, "", "The target's name; of a strip or a tablet, that."),
    Column("target_version", WHOLE, "", "The target's version; 0 for a strip or a tablet."),
    Column("process", TEXT, "", "What the target was proved with."),
    Column("paper", TEXT, "", "The same."),
    Column("coat", TEXT, "", "The same."),
    Column("film", TEXT, "", "The same."),
    Column("state", TEXT, "", "counting, held, reached, finished, void and the like."),
    Column("unit", TEXT, "", "The unit of every dose in the row: mJ/cm2, or such as counts.s."),
    Column("target_dose", NUMBER, "@unit", "The dose that was aimed for, a correction included."),
    Column("dose", NUMBER, "@unit", "The dose it got: measured and bridged."),
    Column("dose_low", NUMBER, "@unit", "Low end of the 95 % interval."),
    Column("dose_high", NUMBER, "@unit", "High end of it."),
    Column("fraction", NUMBER, "1", "dose over target_dose."),
    Column("stops", NUMBER, "stops", "How far dose lies above target_dose; empty for void, strip and tablet."),
    Column("measured_s", NUMBER, "s", "Time in the light that was measured."),
    Column("bridged_s", NUMBER, "s", "Time in holes of up to 60 s, bridged by a straight line."),
    Column("missing_s", NUMBER, "s", "Time in longer holes; not in dose."),
    Column("saturated_s", NUMBER, "s", "Time with the sensor at full scale; dose is a lower bound."),
    Column("missing_dose", NUMBER, "@unit", "Central estimate of what fell in missing_s; not in dose."),
    Column("started_utc", TIME, "", "When it was first uncovered."),
    Column("reached_utc", TIME, "", "When the target was reached."),
    Column("finished_utc", TIME, "", "When it was taken in."),
    Column("settled", TRUTH, "", "Whether all its light is known."),
    Column("target_dose_raw", NUMBER, "@unit", "The target's own dose, without a correction."),
    Column("correction_stops", NUMBER, "stops", "target_dose above target_dose_raw."),
)
_EVENTS = (
    Column("id", WHOLE, "", "Rises with each event."),
    Column("utc", TIME, "", "When it happened."),
    Column("event", TEXT, "", "What: started, held, reached, alarm and the like."),
    Column("exposure", WHOLE, "", "The exposure it belongs to, if any."),
    Column("sensor", TEXT, "", "The sensor it belongs to, if any."),
    Column("data", JSON, "", "What else is to be said of it."),
)
_READINGS = (
    Column("sensor", TEXT, "", "The sensor's name."),
    Column("utc", TIME, "", "Wall time, a label: no dose is counted by it."),
    Column("dose_time_s", NUMBER, "s", "The time that doses are counted by; to the microsecond."),
    Column("value", NUMBER, "@value_unit", "As the sensor said it, its zero not taken off."),
    Column("value_unit", TEXT, "", "counts, V, mW/cm2, W/m2 or uW/cm2."),
    Column("irradiance", NUMBER, "@irradiance_unit", "scale x (value - zero); without a scale, value - zero."),
    Column("irradiance_unit", TEXT, "", "mW/cm2; without a scale, that of the value."),
    Column("seq", WHOLE, "", "The source's own running number."),
    Column("boot", TEXT, "", "Native: the node's power-up, eight hexadecimal digits."),
    Column("uptime_ms", WHOLE, "ms", "Native: time since power-up, modulo 2^32."),
    Column("register", WHOLE, "counts.ms", "Native: running sum since power-up, in the value's unit x ms."),
    Column("sat_ms", WHOLE, "ms", "Native: time at full scale since power-up."),
    Column("presses", WHOLE, "", "Native: presses of the button since power-up."),
    Column("flags", TEXT, "", "Native: two hexadecimal digits, see the wire format."),
    Column("span_s", NUMBER, "s", "Of a mean that was brought in: it is that of so long, up to its time."),
    Column("format", TEXT, "", "How the sensor speaks: native, number, json and so on."),
    Column("scale", NUMBER, "mW/cm2 per value_unit", "As set when the reading came; empty for none."),
    Column("zero", NUMBER, "@value_unit", "As set then."),
    Column("zero_u", NUMBER, "@value_unit", "Standard uncertainty of zero."),
    Column("full_scale", NUMBER, "@value_unit", "At or above it the sensor is saturated; empty where not set."),
    Column("light", TEXT, "", "What the sensor stood under: sun, or a lamp."),
)
_MINUTES = (
    Column("sensor", TEXT, "", "The sensor's name."),
    Column("utc", TIME, "", "When the minute begins, by the wall's clock."),
    Column("irradiance", NUMBER, "@irradiance_unit", "Mean over measured_s and bridged_s; else of the readings."),
    Column("strongest", NUMBER, "@irradiance_unit", "The strongest reading; empty where none came in the minute."),
    Column("irradiance_unit", TEXT, "", "mW/cm2; without a scale, that of the value."),
    Column("measured_dose", NUMBER, "@dose_unit", "Dose over measured_s, the sensor's zero taken off."),
    Column("bridged_dose", NUMBER, "@dose_unit", "Dose over bridged_s."),
    Column("dose_unit", TEXT, "", "mJ/cm2; without a scale, such as counts.s."),
    Column("measured_s", NUMBER, "s", "Time that was measured."),
    Column("bridged_s", NUMBER, "s", "Time in holes of up to 60 s, bridged by a straight line."),
    Column("full_s", NUMBER, "s", "Time of both at full scale; dose is a lower bound."),
    Column("readings", WHOLE, "", "How many readings came in the minute."),
    Column("full_readings", WHOLE, "", "How many of them stood at full scale."),
)
_NOTES = (
    Column("id", WHOLE, "", "Rises with each note; of one kind and subject the newest holds."),
    Column("utc", TIME, "", "When it was said."),
    Column("kind", TEXT, "", "calibration, verdict, film, edition, print, zero, check, scale and others."),
    Column("subject", TEXT, "", "What it is about: a number or a name."),
    Column("data", JSON, "", "What was said."),
)
_TARGETS = (
    Column("name", TEXT, "", "The target's name."),
    Column("version", WHOLE, "", "From 1; the highest holds."),
    Column("unit", TEXT, "", "The unit of every dose in the row."),
    Column("dose", NUMBER, "@unit", "The dose."),
    Column("low", NUMBER, "@unit", "Low end of the 95 % interval; empty where it was typed without."),
    Column("high", NUMBER, "@unit", "High end of it."),
    Column("process", TEXT, "", "What it was proved with."),
    Column("paper", TEXT, "", "The same."),
    Column("coat", TEXT, "", "The same."),
    Column("film", TEXT, "", "The same."),
    Column("sensor", TEXT, "", "The sensor it is bound to; empty for none."),
    Column("light_in", TEXT, "", "open, shade or window; empty where nobody said it."),
    Column("looks", JSON, "1", "Shares of the dose at which a look is called."),
    Column("lead_s", NUMBER, "s", "How long before the target the lead call comes."),
    Column("overshoots", JSON, "stops", "Calls past the target."),
    Column("p", NUMBER, "1", "Exponent of reciprocity."),
    Column("proved_s", NUMBER, "s", "How long the calibration print lay in the light."),
    Column("exposure_scale", NUMBER, "log10", "Range of the paper."),
    Column("basis", TEXT, "", "What it rests on: a strip, a tablet, verdicts; empty: set by hand."),
    Column("reason", TEXT, "", "Why this version was made."),
    Column("made_utc", TIME, "", "When."),
    Column("retired", TRUTH, "", "Whether it is out of use."),
    Column("correct", TRUTH, "", "Whether prints aim for the same effect in the light of now."),
)

BENCH = Column("bench", TEXT, "", "Of several benches: which of them.")
TABLES: dict[str, tuple[Column, ...]] = {
    "exposures": _EXPOSURES, "events": _EVENTS, "readings": _READINGS, "minutes": _MINUTES, "notes": _NOTES,
    "targets": _TARGETS,
}
_SAYS = {
    "exposures": "Each exposure with the figures that hold now.",
    "events": "What happened, as `uvdose events` tells it.",
    "readings": "Raw readings, each with its sensor's settings of then. `uvdose import` brings them in as they were.",
    "minutes": "Light by minutes, also where readings were pruned; those without light and readings are left out.",
    "notes": "What persons said that is no act; all versions. A picture of a print is there by its SHA-256.",
    "targets": "Every version of every target.",
}


def header(column: Column, units: dict[str, list[str]]) -> str:
    """A column's head in CSV: `dose [mJ/cm2]`, or `dose [see unit]` where rows differ.

    units: what occurs in each column that names a unit.
    """
    unit = unit_of(column, units)
    return f"{column.name} [{unit}]" if unit else column.name


def unit_of(column: Column, units: dict[str, list[str]]) -> str:
    """Its unit, where all rows have the same; else which column tells it; empty for none."""
    if not column.unit.startswith("@"):
        return column.unit
    several = units.get(column.unit[1:], [])
    return several[0] if len(several) == 1 else f"see {column.unit[1:]}"


def page() -> str:
    """The page that describes every export, made of the tables above."""
    lines = [
        "# What an export holds", "",
        f"Schema version {SCHEMA_VERSION}. This page is made by `uvdose export --schema`.", "",
        "The same columns are written as CSV (RFC 4180, UTF-8; a unit stands in the header in brackets), as JSON",
        "lines and as Parquet. What is unknown is empty in CSV, `null` elsewhere; zero means zero. A time is UTC:",
        "ISO 8601 with `Z`, in Parquet a timestamp in microseconds. JSON in CSV and Parquet is text. In Parquet each",
        "column's metadata has `unit` and `meaning`, the file's `uvdose_schema`. \"see …\" names the column that tells",
        "each row's unit; where all rows agree the unit itself stands there. In CSV a text that begins like a formula",
        "has an apostrophe before it.", "",
        "`uvdose together export` writes the same of several benches, with the column `bench` before the others: an",
        "exposure's number, a sensor's name and dose time are each bench's own.",
    ]
    for what, table in TABLES.items():
        lines += ["", f"## {what}", "", _SAYS[what], "", "| column | type | unit | meaning |", "|---|---|---|---|"]
        lines += [f"| {c.name} | {c.kind} | {unit_of(c, {})} | {c.meaning} |" for c in table]
    return "\n".join(lines) + "\n"
