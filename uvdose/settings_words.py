"""What is wrong with the settings, in plain words: the key first, then what would be right. Pure."""

from __future__ import annotations

import re
from typing import Any

INDEX_WORDS = (
    "a UV index weighs light by what burns skin, which says little about a print: it is no irradiance, and can only be"
    ' added up as it stands, with unit = "counts" and without scale'
)
_INDEX = re.compile(r"(?:uv|ultraviolet)[\s_/.-]*(?:i(?![a-z0-9])|i(?:nd(?:ex)?|dx)(?![a-z]))", re.IGNORECASE)

SENSOR_NAME = re.compile(r"^[A-Za-z0-9][A-Za-z0-9_.-]{0,39}$")

_KINDS = {"int": "a whole number", "float": "a number", "str": 'text in "quotes"', "bool": "true or false",
          "array": "a list, written [[sensor]]", "object": "a table"}


def says_index(name: str) -> bool:
    """Whether a name says that the number behind it is a UV index."""
    return _INDEX.search(name) is not None


def plain_fault(message: str, raw: dict[str, Any]) -> str:
    """A validation message in plain words: the key first, then what would be right."""
    what, _, path = message.partition(" - at `")
    key = _named(path.rstrip("`").removeprefix("$").lstrip("."), raw)
    unknown = re.match(r"Object contains unknown field `(.+)`", what)
    if unknown:
        place = f"{key}." if key else ""
        return f"{place}{unknown[1]}: no such key; remove it or check its spelling"
    missing = re.match(r"Object missing required field `(.+)`", what)
    if missing:
        return f"{key}.{missing[1]}: is missing; give it a value"
    wrong = re.match(r"Expected `(.+)`, got `(.+)`", what)
    if wrong:
        wanted = " or ".join(_KINDS.get(w.strip(), w.strip()) for w in wrong[1].split("|") if w.strip() != "null")
        return f"{key}: expected {wanted}, got {_KINDS.get(wrong[2], wrong[2])}"
    return f"{key}: {what}"


def _named(path: str, raw: dict[str, Any]) -> str:
    """A key's path with its sensor called by name, where it has one: `sensor sill.port`, else `sensor[0].port`."""
    found = re.match(r"sensor\[(\d+)\]", path)
    if found is None:
        return path
    name = raw["sensor"][int(found[1])]
    name = name.get("name") if isinstance(name, dict) else None
    return f"sensor {name}{path[found.end():]}" if isinstance(name, str) and SENSOR_NAME.match(name) else path
