"""Light for tests: tracks and accounts fed by hand."""

from __future__ import annotations

from collections.abc import Sequence

from uvdose.dose.account import Account
from uvdose.dose.integrator import Track
from uvdose.dose.response import Response
from uvdose.model import Mark, MomentReading, Reading, RegisterReading

WATTS = Response(1.0, 0.0, None, "mJ/cm2")


def us(seconds: float) -> int:
    return round(seconds * 1e6)


def count(
    readings: Sequence[tuple[float, Reading]], start_s: float, stop_s: float, response: Response = WATTS
) -> Account:
    """An account of one window, from readings at seconds."""
    track, account = Track(response), Account(response)
    account.open(Mark(us(start_s)))
    account.close(Mark(us(stop_s)))
    for t_s, reading in readings:
        for segment in track.feed(reading, us(t_s)):
            account.add(segment)
    return account


def moments(values: Sequence[tuple[float, float]]) -> list[tuple[float, Reading]]:
    return [(t, MomentReading(v)) for t, v in values]


def line(
    boot: int, seq: int, uptime_ms: int, register: int, level: float = 0.0, sat_ms: int = 0, flags: int = 0
) -> RegisterReading:
    return RegisterReading(boot, seq, uptime_ms, round(level * 1000), register, sat_ms, 0, flags)
