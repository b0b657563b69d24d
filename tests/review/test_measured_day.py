"""The figures of a day, on UV that was really measured, equal sums made with pandas from the source.

Source: BSRN station Payerne (Switzerland), June 2016, record LR0500, one-minute means of UVA in W/m², read out of the
installed pvlib 0.11.2 (`support/payerne.py`); summed by pandas, an independent library. The record is in UTC, and the
days here are those of Payerne, two hours ahead.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import msgspec
import pandas as pd
import pytest
from support.payerne import uva_w_m2

from uvdose.clock import FixedClock
from uvdose.config import SensorSettings
from uvdose.exposure.states import Act
from uvdose.model import RegisterReading
from uvdose.review.gather import gather
from uvdose.review.text import render
from uvdose.stamps import from_iso, use_zone

from .conftest import BLUE, Bindery

MINUTE_US = 60_000_000
MILLI = 1000  # counts for one W/m², so that the source's three figures stay whole
SENSOR = SensorSettings("sill", "simulated", scale=0.1 / MILLI)
CLOUDED, CLEAR, DARKENING = "2016-06-17", "2016-06-23", "2016-06-11"
STARTS = ("09:00", "11:20", "13:33", "16:10")


def month() -> pd.Series:
    """The source by its own time: W/m², each held for its minute; a minute that is marked as missing is NaN."""
    begin = pd.Timestamp("2016-06-01", tz="UTC")
    means = pd.Series(uva_w_m2(), dtype=float)
    means.index = pd.DatetimeIndex(begin + pd.to_timedelta(means.index, unit="min"))
    return means


@pytest.fixture
def in_payerne(tmp_path: Path) -> Iterator[Bindery]:
    use_zone("Europe/Zurich")
    yield Bindery(tmp_path / "journal.sqlite3", [SENSOR])
    use_zone(None)


def play(b: Bindery, day: pd.Series, target: float) -> None:
    """A node's line at the end of each minute, and four prints, each finished at the first line past its target."""
    register = 0
    wanted = [day.index[0].normalize() + pd.Timedelta(f"{at}:00") for at in STARTS]
    running: int | None = None
    for sent, (begin, w_m2) in enumerate(day.items(), 1):
        if wanted and begin >= wanted[0] and running is None:
            wanted.pop(0)
            running = b.start(msgspec.structs.replace(BLUE, dose=target), "sill", "north")
        b.clock.advance(60)
        counts = round(w_m2 * MILLI)
        register += counts * 60_000
        line = RegisterReading(7, sent, sent * 60_000, counts * 1000, register, 0, 0, 0)
        b.settle(b.bench.take("sill", [line], b.clock.dose_us()))
        b.settle(b.bench.tick(b.clock.dose_us()))
        if running is not None and b.bench.exposures[running].reached_us is not None:
            b.act(running, Act.FINISH)
            running = None


@pytest.mark.parametrize("date", [CLOUDED, CLEAR, DARKENING])
def test_the_days_figures_are_pandas_sums(in_payerne: Bindery, date: str) -> None:
    local = month().tz_convert("Europe/Zurich").loc[date]
    assert len(local) == 1440 and local.notna().all()
    begin_us = int(local.index[0].value // 1000)
    assert begin_us == from_iso(local.index[0].tz_convert("UTC").strftime("%Y-%m-%dT%H:%M:%SZ"))
    in_payerne.clock = FixedClock(5_000_000_000, begin_us)
    lit = local.clip(lower=0)  # the night reads a little below zero
    target = 900.0  # mJ/cm²
    # A line at midnight itself, so that the first minute of the day lies between two readings.
    in_payerne.settle(in_payerne.bench.take("sill", [RegisterReading(7, 0, 0, 0, 0, 0, 0, 0)], 5_000_000_000))
    play(in_payerne, lit, target)
    day = gather(in_payerne.store, date)
    light, = day.sensors

    per_minute = lit * 60 / 10  # mJ/cm²: 1 W/m² for a minute is 60 J/m², and 10 J/m² are 1 mJ/cm²
    last_us = from_iso(light.last_utc)
    within = per_minute[per_minute.index + pd.Timedelta(minutes=1) <= pd.Timestamp(last_us, unit="us", tz="UTC")]
    assert len(within) == 1439, "the line of the last minute is the next day's"
    assert light.dose == pytest.approx(within.sum(), rel=1e-9) and light.dose_unit == "mJ/cm2"
    assert light.best is not None
    strongest = pd.Timestamp(light.best.utc)
    assert strongest == lit.idxmax().tz_convert("UTC")
    assert light.best.irradiance == pytest.approx(lit.max() / 10, rel=1e-9)

    assert len(day.prints) == len(STARTS)
    under = pd.Series(False, index=lit.index)
    for p in day.prints:
        first, last = (pd.Timestamp(t) for t in (p.document.started_utc, p.document.finished_utc))
        mine = per_minute[(per_minute.index >= first) & (per_minute.index < last)]
        assert p.document.dose == pytest.approx(mine.sum(), rel=1e-9)
        assert target <= mine.sum() and mine.iloc[:-1].sum() < target
        assert p.lit_s == 60 * len(mine)
        under |= (lit.index >= first) & (lit.index < last)
        # By the clock: so many minutes of the day's clearest light, from the same start on, whatever fell.
        assert p.clock is not None
        whole, part = divmod(target / (lit.max() / 10) / 60, 1)
        after = per_minute[per_minute.index >= first]
        assert p.clock.clock_s == pytest.approx(60 * (whole + part), rel=1e-9)
        assert p.clock.dose == pytest.approx(
            after.iloc[: int(whole)].sum() + part * after.iloc[int(whole)], rel=1e-6
        )
    assert light.worst is not None
    assert light.worst.irradiance == pytest.approx(lit[under].min() / 10, rel=1e-9)
    assert day.totals.received[0].dose == pytest.approx(sum(p.document.dose for p in day.prints))
    assert f"{date}, Europe/Zurich: 4 exposures" in render(day)
