"""[bench] of the settings: its name, and where it stands, for forecasts of the time left."""

from __future__ import annotations

from collections.abc import Callable

import msgspec

FACINGS = ("flat", "tilted", "sun")


class BenchSettings(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """[bench]: one daemon with its sensors and frames.

    latitude, longitude: degrees, north and east positive; both or neither. height_m: above the sea. facing: how sensor
    and frames lie: flat, tilted by tilt_deg from flat toward azimuth_deg (north over east), or held toward the sun.
    """

    name: str = "bench"
    latitude: float | None = None
    longitude: float | None = None
    height_m: float = 0.0
    facing: str = "flat"
    tilt_deg: float | None = None
    azimuth_deg: float | None = None


def check_place(bench: BenchSettings, refuse: Callable[[str, str], None]) -> None:
    """Calls `refuse` with a key and a line for the first thing that cannot be. What is not a number fails, too."""
    if (bench.latitude is None) != (bench.longitude is None):
        missing = "latitude" if bench.latitude is None else "longitude"
        refuse(f"bench.{missing}", "is missing; a place has a latitude and a longitude")
    for key, value, least, most, what in (
        ("latitude", bench.latitude, -90, 90, "degrees, north positive"),
        ("longitude", bench.longitude, -180, 180, "degrees, east positive"),
        ("height_m", bench.height_m, -500, 9000, "metres above the sea"),
        ("tilt_deg", bench.tilt_deg, 0, 90, "degrees from flat"),
        ("azimuth_deg", bench.azimuth_deg, 0, 360, "degrees from north over east, so that 180 is south"),
    ):
        if value is not None and not least <= value <= most:
            refuse(f"bench.{key}", f"{value:g} cannot be; {least} to {most}, {what}")
    if bench.facing not in FACINGS:
        refuse("bench.facing", f"{bench.facing!r} is not known; one of {', '.join(FACINGS)}")
    if bench.facing == "tilted" and (bench.tilt_deg is None or bench.azimuth_deg is None):
        refuse("bench.facing", 'is "tilted"; that needs tilt_deg and azimuth_deg')
    if bench.facing != "tilted" and (bench.tilt_deg is not None or bench.azimuth_deg is not None):
        refuse("bench.facing", f'is {bench.facing!r}; tilt_deg and azimuth_deg go with "tilted"')
