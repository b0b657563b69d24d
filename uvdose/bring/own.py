"""What `uvdose export --what readings` wrote as CSV, read back as it was."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from functools import lru_cache

from ..cells import from_cell
from ..config import MOST_VALUE, UNITS, SensorSettings, check_response
from ..dose.response import Identity, identity_of
from ..model import MeanReading, MomentReading, Reading, Refusal, RegisterReading
from ..stamps import from_iso
from ..units import US_PER_S
from .lines import Table, bare
from .times import LAST_US

NEEDED = (
    "sensor", "utc", "dose_time_s", "value", "value_unit", "seq", "boot", "uptime_ms", "register", "sat_ms", "presses",
    "flags", "span_s", "format", "scale", "zero", "zero_u", "full_scale", "light",
)  # fmt: skip
_MOST = 1 << 62


def is_own(names: Sequence[str]) -> bool:
    """Whether a header is that of exported readings; of which version does not matter, as long as all is there."""
    return {bare(name) for name in names} >= set(NEEDED)


Row = tuple[int, int, Identity, Reading]


def own_rows(table: Table, sensor: str, of: str | None, found: Callable[[str], None]) -> Iterator[Row]:
    """Dose time, wall label, settings and reading of each row. Raises `Refusal`.

    of: the sensor whose rows are wanted, None where the file holds one alone; `found` is told which that is. In a file
    of several benches it is `bench.sensor`, since sensors of two benches may have one name, and never one dose time.
    """
    place = {bare(name): i for i, name in enumerate(table.names)}
    where = [place[name] for name in NEEDED]
    bench = place.get("bench")
    only = of
    for row in table.rows():
        if len(row) != len(table.names):
            raise Refusal(f"line {table.line}: it has {len(row)} columns, the header {len(table.names)}")
        cells = [row[i] for i in where]
        if bench is not None:
            cells[0] = f"{row[bench]}.{cells[0]}"
        if only is None:
            only = cells[0]
            found(only)
        if cells[0] != only:
            if of is None:
                raise Refusal(f"the file holds readings of {only} and {cells[0]}: say with --of which is wanted", 2)
            continue
        try:
            yield _row(cells, sensor)
        except (ValueError, OverflowError):
            raise Refusal(f"line {table.line} is not as `uvdose export` writes it: export it again") from None


def _row(cells: list[str], sensor: str) -> Row:
    _, utc, at, value, unit, seq, boot, uptime, register, sat, presses, flags, span, *settings = cells
    *settings, light = settings
    identity = _identity(sensor, unit, *settings, from_cell(light))
    number, t_us, wall_us = float(value), round(float(at) * US_PER_S), from_iso(utc)
    # A bench whose clock was not set yet labels by 1970.
    if not abs(number) <= MOST_VALUE or not (0 <= t_us <= LAST_US and 0 <= wall_us <= LAST_US):
        raise ValueError(value)
    reading: Reading
    if register:
        reading = RegisterReading(
            _whole(boot, 16), _whole(seq), _whole(uptime), round(number * 1000), _whole(register), _whole(sat),
            _whole(presses), _whole(flags, 16),
        )
    elif span:
        span_us = round(float(span) * US_PER_S)
        if not 0 < span_us < _MOST:
            raise ValueError(span)
        reading = MeanReading(number, None, int(seq) if seq else None, span_us)
    else:
        reading = MomentReading(number, None, int(seq) if seq else None)
    return t_us, wall_us, identity, reading


def _whole(text: str, base: int = 10) -> int:
    number = int(text, base)
    if not 0 <= number < _MOST:
        raise ValueError(text)
    return number


@lru_cache(64)
def _identity(
    sensor: str, unit: str, form: str, scale: str, zero: str, zero_u: str, full_scale: str, light: str
) -> Identity:
    def number(text: str) -> float | None:
        found = float(text) if text else None
        if found is not None and not math.isfinite(found):
            raise ValueError(text)
        return found

    if unit not in UNITS:
        raise ValueError(unit)
    return checked_identity(SensorSettings(
        name=sensor, link="recording", file="-", format=form, unit=unit, scale=number(scale), zero=number(zero) or 0.0,
        full_scale=number(full_scale), zero_u=number(zero_u) or 0.0, light=light,
    ), 4)  # fmt: skip


def checked_identity(sensor: SensorSettings, code: int) -> Identity:
    """The identity of a sensor whose figures can be meant. Raises `Refusal`."""

    def refuse(key: str, line: str) -> None:
        raise Refusal(f"{key.removeprefix('it.').replace('_', ' ')}: {line}", code)

    figures = (sensor.scale, sensor.zero, sensor.full_scale, sensor.zero_u)
    if not all(f is None or math.isfinite(f) for f in figures):
        raise Refusal("scale, zero and full scale: give finite numbers", code)
    check_response(sensor, "it", refuse)
    return identity_of(sensor)
