"""Measured UVA of a whole month, read out of an installed test dependency and never copied from it.

Source: BSRN station Payerne (Switzerland), June 2016, record LR0500, carried by the wheel of pvlib 0.11.2. The
record gives two lines a minute; the first begins with day, minute of the day and the mean of UVA in W/m².
"""

from __future__ import annotations

import gzip
import importlib.metadata
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path

from .needs import missing

BEGIN = datetime(2016, 6, 1, tzinfo=UTC)
DAYS = 30
MINUTES = 1440
_MISSING = -99.9
_MEND = "install the test extra, which pins pvlib==0.11.2"


def _file() -> Path:
    try:
        found = importlib.metadata.distribution("pvlib").locate_file("pvlib/data/bsrn-pay0616.dat.gz")
    except importlib.metadata.PackageNotFoundError:
        missing("pvlib", _MEND)
    path = Path(str(found))
    return path if path.is_file() else missing("the measured month in pvlib", _MEND)


@cache
def uva_w_m2() -> tuple[float | None, ...]:
    """43,200 one-minute means in W/m², UTC, from 1 June 00:00; None where the record marks a minute as missing."""
    means: list[float | None] = [None] * (DAYS * MINUTES)
    inside = False
    with gzip.open(_file(), "rt", encoding="ascii", errors="replace") as lines:
        for line in lines:
            if line.startswith("*"):
                inside = line[2:6] == "0500"
                continue
            if inside and line[:8].strip():
                value = float(line[8:14])
                minute = (int(line[:3]) - 1) * MINUTES + int(line[3:8])
                means[minute] = None if value == _MISSING else value
    return tuple(means)


def day_w_m2(day: int) -> list[float]:
    """The 1440 means of a day of June 2016, 1 to 30; a missing minute (both lie at midnight) as 0."""
    return [value or 0.0 for value in uva_w_m2()[(day - 1) * MINUTES : day * MINUTES]]


def write_month(path: Path) -> None:
    """The month as a table, each mean stamped with the begin of its minute as the record is; a missing one is empty."""
    rows = "".join(
        f"{(BEGIN + timedelta(minutes=i)).isoformat()},{'' if v is None else v}\n" for i, v in enumerate(uva_w_m2())
    )
    path.write_text(f"utc,uva [W/m2]\n{rows}", encoding="utf-8")
