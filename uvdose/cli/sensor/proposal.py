"""From what was heard at a place to a verdict and the settings that read it. Pure."""

from __future__ import annotations

import re
from typing import Any

import msgspec
import tomlkit

from ...catalogue import Part, catalogue, part_in
from ...decode.lines import visible
from ...decode.recognise import Finding
from ...exposure.pauses import READINGS_WANTED
from ...review.layout import figure, unit_text

SLOW_S = 10.0


class Place(msgspec.Struct, frozen=True):
    """A port or a topic, what was heard there, and what follows.

    verdict: found, unsure, refused (a part that no dose may rest on), known (in the settings already), held (by the
    daemon), fault (could not be listened to). settings: of the [[sensor]] block, None where none is proposed.
    """

    link: str
    where: str
    verdict: str
    line: str
    speed: int | None = None
    finding: Finding | None = None
    settings: dict[str, Any] | None = None
    notes: tuple[str, ...] = ()


def judged(link: str, where: str, finding: Finding, speed: int | None, taken: set[str]) -> Place:
    """The verdict on what was recognised. taken: names of sensors; the one that is given here is added."""
    if finding.form is None:
        told = f" (came: {finding.example!r})" if finding.example else ""
        return Place(link, where, "unsure", f"not sure: {finding.why}{told}", speed, finding)
    part = part_in(" ".join((finding.part or "", finding.field or "", where if link == "mqtt" else "")))
    if part is not None and part.refused is not None:
        return Place(link, where, "refused", f"{part.part}: {part.refused}; take another sensor", speed, finding)
    settings = _settings(link, where, finding, speed, part, taken)
    notes = (*finding.notes, *_more(finding, part))
    return Place(link, where, "found", _reads(finding, speed), speed, finding, settings, notes)


def _reads(finding: Finding, speed: int | None) -> str:
    at = f"{speed} baud, " if speed is not None else ""
    what = f"{finding.field!r}" if finding.field is not None else "a value"
    value = f"{figure(finding.value)} {unit_text(finding.unit)}" if finding.value is not None else "not heard yet"
    often = f", one each {finding.every_s:.2g} s" if finding.every_s is not None else ", heard once"
    return f"{at}{finding.form}: {what} is {value}{often} ({finding.read} of {finding.lines} lines read)"


def _settings(
    link: str, where: str, finding: Finding, speed: int | None, part: Part | None, taken: set[str]
) -> dict[str, Any]:
    name = _name(where if link == "mqtt" else "", finding, taken)
    taken.add(name)
    out: dict[str, Any] = {"name": name, "link": link}
    if link == "mqtt":
        out["topic"] = where
    else:
        out |= {"port": where, "baud": speed}
    out["format"] = finding.form
    if finding.field is not None:
        out["field"] = finding.field
    if finding.decimal_comma:
        out["decimal_comma"] = True
    out["unit"] = finding.unit
    zero = finding.zero if finding.zero is not None else 0.0
    if finding.zero is not None:
        out["zero"] = finding.zero
    if finding.full_scale is not None and finding.full_scale > zero:
        out["full_scale"] = finding.full_scale
    if part is not None:
        out["part"] = part.part
    return out


def _name(where: str, finding: Finding, taken: set[str]) -> str:
    """A name of its own: out of the topic, else the one by which a node calls itself, else `uv`."""
    given = where.split("/") if where else [finding.name or ""]
    words = [word for word in given if re.fullmatch(r"[A-Za-z][A-Za-z0-9_.-]{0,30}", word)]
    plain = [w for w in words if w.casefold() not in ("state", "sensor", "reading", "value", "uv", "tele", "stat")]
    base = plain[-1] if plain else "uv"
    number = 1
    while (name := base if number == 1 else f"{base}-{number}") in taken:
        number += 1
    return name


def _more(finding: Finding, part: Part | None) -> list[str]:
    notes = []
    if part is not None:
        notes += part_notes(part)
    if finding.form != "native" and finding.every_s is not None and finding.every_s > SLOW_S:
        least = finding.every_s * READINGS_WANTED / 60
        notes.append(f"a reading each {finding.every_s:.0f} s is good for prints of {least:.0f} minutes and longer")
    if finding.form != "native" and finding.full_scale is None:
        notes.append("set full_scale to what it says at most, and zero to what it says in the dark")
    return notes


def part_notes(part: Part) -> list[str]:
    """What a person should know of a part of the catalogue."""
    return [f"{part.part} is {catalogue().bands[part.band].words}", *(f"{part.part}: {p}" for p in part.pitfalls)]


def block(name: str, values: dict[str, Any], *, listed: bool) -> str:
    """A table as it stands in the settings; listed: one of several, as [[sensor]] is."""
    table = tomlkit.table()
    table.update(values)
    document = tomlkit.document()
    document.append(name, tomlkit.aot() if listed else table)
    if listed:
        document[name].append(table)
    return document.as_string()


def told(place: Place) -> list[str]:
    """What is said of a place, with its settings as they would stand in the file."""
    lines = [place.where, f"  {place.line}"]
    if place.finding is not None and place.settings is not None and place.finding.example:
        lines.append(f"  came: {place.finding.example!r}")
    lines += [f"  mind: {note}" for note in place.notes]
    if place.settings is not None:
        lines += ["", *(f"    {line}" for line in block("sensor", place.settings, listed=True).splitlines())]
    # Names and topics are whatever somebody publishes.
    return [*map(visible, lines), ""]
