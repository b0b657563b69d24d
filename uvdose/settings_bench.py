"""[bench] of the settings: its name, where it stands, and how sensor and frame lie."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import msgspec

from .settings_words import SENSOR_NAME
from .stamps import zone_fault

FACINGS = ("flat", "tilted", "sun")
PLACE_BOUNDS = (
    ("latitude", -90.0, 90.0, "degrees from -90 to 90, north positive"),
    ("longitude", -180.0, 180.0, "degrees from -180 to 180, east positive"),
    ("height_m", -450.0, 9000.0, "metres above the sea"),
    ("tilt_deg", 0.0, 90.0, "degrees from 0 (level) to 90 (upright)"),
    ("azimuth_deg", 0.0, 360.0, "degrees from 0 to 360, from north over east"),
)


class BenchSettings(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """[bench]: one daemon with its sensors and frames, and where they stand.

    latitude, longitude: degrees, north and east positive. facing: how sensor and frame lie, "flat", "tilted" (by
    tilt_deg from level, looking to azimuth_deg from north over east) or "sun", held square to it. timezone: IANA name;
    None: the machine's.
    """

    name: str = "bench"
    latitude: float | None = None
    longitude: float | None = None
    height_m: float = 0.0
    facing: str = "flat"
    tilt_deg: float | None = None
    azimuth_deg: float | None = None
    timezone: str | None = None


def timezone_in(settings_file: Path) -> str | None:
    """The time zone that settings name, whatever else may be wrong with them; None where they name none."""
    return _text_in(settings_file, "timezone")


def name_in(settings_file: Path) -> str:
    """The bench's name, whatever else may be wrong with the settings."""
    return _text_in(settings_file, "name") or BenchSettings().name


def sensors_in(settings_file: Path) -> list[str]:
    """The names of the sensors that settings set up, whatever else may be wrong with them."""
    blocks = _all_in(settings_file).get("sensor", [])
    names = [block.get("name") for block in blocks if isinstance(block, dict)] if isinstance(blocks, list) else []
    return [name for name in names if isinstance(name, str)]


def names_no_sensor(settings_file: Path) -> bool:
    """Whether settings can be read and set up no sensor, as in a home of recordings; True where there are none."""
    if not settings_file.exists():
        return True
    try:
        return settings_file.is_file() and "sensor" not in tomllib.loads(settings_file.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return False


def _all_in(settings_file: Path) -> dict[str, Any]:
    if not settings_file.is_file():  # a pipe that nobody writes would be waited for
        return {}
    try:
        return tomllib.loads(settings_file.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}


def _text_in(settings_file: Path, key: str) -> str | None:
    bench = _all_in(settings_file).get("bench", {})
    told = bench.get(key) if isinstance(bench, dict) else None
    return told if isinstance(told, str) else None


def check_bench(bench: BenchSettings, refuse: Any) -> None:
    """Calls refuse(key, line) for what cannot be meant."""
    if not SENSOR_NAME.match(bench.name):
        refuse("bench.name", f"{bench.name!r} is not a name; use letters, digits, . _ - (at most 40)")
    if (bench.latitude is None) != (bench.longitude is None):
        refuse("bench.latitude", "goes together with bench.longitude; give both in degrees, north and east positive")
    if bench.facing not in FACINGS:
        refuse("bench.facing", f"{bench.facing!r} is not known; one of {', '.join(FACINGS)}")
    if bench.facing == "tilted" and bench.tilt_deg is None:
        refuse("bench.tilt_deg", 'is missing; facing = "tilted" needs degrees from level')
    if bench.timezone is not None and (fault := zone_fault(bench.timezone)):
        refuse("bench.timezone", fault)
    for name, least, most, words in PLACE_BOUNDS:
        value = getattr(bench, name)
        if value is not None and not least <= value <= most:
            refuse(f"bench.{name}", f"{value:g} cannot be; {words}")
