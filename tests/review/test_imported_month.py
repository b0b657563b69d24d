"""A month of minute means brought in by the real command: what the minutes, the day and the days tell of it.

Source of the light: BSRN station Payerne, June 2016, UVA one-minute means, read out of pvlib 0.11.2 (support.payerne).
Oracle: pandas' sums of the means by days, each held for its 60 s; 1 W/m² for 1 s is 0.1 mJ/cm² (SI).
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from cli.conftest import Homed
from support.payerne import BEGIN, DAYS, MINUTES, uva_w_m2, write_month

from uvdose.config import SensorSettings
from uvdose.dose.integrator import Track
from uvdose.dose.response import identity_of, identity_response
from uvdose.exposure.document import document
from uvdose.exposure.exposure import Exposure
from uvdose.exposure.record import Plan
from uvdose.exposure.states import Act
from uvdose.exposure.target import Target
from uvdose.journal.blocks import marks
from uvdose.journal.recorder import Recorder
from uvdose.journal.schema import open_reading, open_writing
from uvdose.journal.store import Store
from uvdose.journal.summing import Summer
from uvdose.journal.writer import Writer
from uvdose.model import Mark, MomentReading
from uvdose.review import raw, recorded
from uvdose.review.minutes import light_minutes
from uvdose.stamps import day_bounds

DAY_US = 86_400_000_000


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Homed]:
    """Brought in, and no daemon ever runs; local time is UTC. On each day a print is begun, under its sensor."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("TZ", "UTC")
        time.tzset()
        folder = tmp_path_factory.mktemp("month")
        write_month(folder / "payerne.csv")
        home = Homed(folder / "home")
        home.told("import", folder / "payerne.csv", "--means", "60s", "--stamped", "start")
        with closing(open_writing(home.folder / "journal.sqlite3")) as db:
            recorder = Recorder(db, lambda t_us: t_us)
            [identity] = raw.identities(recorder.store)
            for day in range(DAYS):
                begin_us = round(BEGIN.timestamp()) * 1_000_000 + day * DAY_US + DAY_US // 2
                response = identity_response(identity)
                exposure = Exposure(Plan(day + 1, Target("blue", 1, 2565.0), identity.name, "1", response, begin_us))
                exposure.apply(Act.LIGHT, Mark(begin_us))
                exposure.apply(Act.FINISH, Mark(begin_us + 1_000_000))
                for sql, values in [
                    *recorder.sensor(identity),
                    recorder.exposure(exposure, document(exposure, Track(response), begin_us, [])),
                ]:
                    db.execute(sql, values)
                for r in exposure.acts:
                    db.execute(
                        "INSERT INTO act (exposure, number, act, t_us, wall_us, mark) VALUES (?, ?, ?, ?, ?, ?)",
                        (day + 1, r.number, str(r.act), r.t_us, r.t_us, recorder.json(r.mark)),
                    )
        yield home
    time.tzset()


@pytest.fixture(scope="module")
def sums() -> list[float]:
    """Of each day in mJ/cm2."""
    series = pd.Series(uva_w_m2(), index=pd.date_range(BEGIN, periods=len(uva_w_m2()), freq="min"), dtype=float)
    return [float(total) * 60 / 10 for total in series.resample("D").sum()]


def test_the_minutes_are_the_means(home: Homed, sums: list[float]) -> None:
    store = Store(open_reading(home.folder / "journal.sqlite3"))
    dates = [f"2016-06-{day:02d}" for day in range(1, DAYS + 1)]
    assert [light_minutes(store, *day_bounds(date))[0].dose for date in dates] == pytest.approx(sums, rel=1e-9)
    [month] = light_minutes(store, day_bounds(dates[0])[0], day_bounds(dates[-1])[1])
    means = pd.Series(uva_w_m2(), dtype=float).dropna()
    assert month.mean == pytest.approx((means / 10).to_numpy(), rel=1e-9)
    assert month.strongest == pytest.approx(month.mean, rel=1e-9) and month.bridged.sum() == 0
    assert set(month.readings) == {1} and set(month.measured_s) == {60.0}


def test_days_and_day_tell_them(home: Homed, sums: list[float]) -> None:
    told = home.told("days", "2016-06")["days"]
    assert [day["sensors"][0]["dose"] for day in told] == pytest.approx(sums, rel=1e-9) and len(told) == DAYS
    for day in (1, 17, 23, 30):
        [light] = home.told("day", f"2016-06-{day:02d}")["sensors"]
        read = [v for v in uva_w_m2()[(day - 1) * MINUTES : day * MINUTES] if v is not None]
        assert light["dose"] == pytest.approx(sums[day - 1], rel=1e-9) and light["readings"] == len(read)
        assert light["strongest"] == pytest.approx(max(read) / 10) == light["best"]["irradiance"]
        assert light["minutes"] == len(read)


def test_the_minutes_are_taken_out(home: Homed, sums: list[float], tmp_path: Path) -> None:
    def taken(*words: str) -> pd.DataFrame:
        file = tmp_path / f"{len(words)}.csv"
        ran = home.call("export", "--what", "minutes", "--format", "csv", "--out", file, *words)
        assert ran.code == 0, ran
        return pd.read_csv(file, parse_dates=["utc"])

    table = taken()
    days = table.groupby(table["utc"].dt.date)["measured_dose [mJ/cm2]"].sum()
    assert days.to_list() == pytest.approx(sums, rel=1e-9)
    kept = table[(table["utc"] >= "2016-06-09") & (table["utc"] < "2016-06-18")].reset_index(drop=True)
    pd.testing.assert_frame_equal(taken("--from", "2016-06-09", "--to", "2016-06-17"), kept)


def test_the_arrays_of_a_day_are_the_means(home: Homed, sums: list[float]) -> None:
    store = Store(open_reading(home.folder / "journal.sqlite3"))
    for day in (11, 17, 23):
        wall0_us, wall1_us = day_bounds(f"2016-06-{day:02d}")
        [read] = recorded.read(store, wall0_us - 120_000_000, wall1_us + 120_000_000)
        begin, end = read.dose_until(read.dose_time(np.array([wall0_us, wall1_us])))
        assert end - begin == pytest.approx(sums[day - 1], rel=1e-9)
        means = uva_w_m2()[(day - 1) * MINUTES : day * MINUTES]
        for minute in range(0, MINUTES, 97):
            at_us = wall0_us + minute * 60_000_000 + 13_000_000
            assert read.light_at(int(read.dose_time(np.array([at_us]))[0])) == pytest.approx(means[minute] / 10)
        assert len(read.holes(wall0_us, wall1_us)) == 0


def test_live_readings_after_it_are_summed(home: Homed) -> None:
    """As the daemon does: its writer sums what is final, the blocks of the import before it or not."""
    with closing(open_writing(home.folder / "journal.sqlite3")) as db:
        before = db.execute("SELECT count(*), sum(measured) FROM minute").fetchone()
        assert before[0] > 43_000
        recorder, writer = Recorder(db, lambda t_us: t_us), Writer(db, lambda line: None, summer=Summer(db))
        sill = identity_of(SensorSettings("sill", "serial", port="-", format="number", unit="W/m2"))
        begin_us = round(BEGIN.timestamp()) * 1_000_000 + 40 * DAY_US
        writer.commit(recorder.sensor(sill)).result()
        for k in range(0, 600, 10):
            live = [("sill", begin_us + i * 1_000_000, MomentReading(2.0)) for i in range(k, k + 10)]
            recorder.keep_readings(live)  # type: ignore[arg-type]
            writer.commit(recorder.flush()).result()
        assert writer.close()
        last = db.execute("SELECT max(c.id) FROM chunk c JOIN sensor s ON s.id = c.sensor WHERE s.name = 'sill'")
        assert marks(db)["sill"] == last.fetchone()[0] - 1, "all but the growing one"
        [light] = light_minutes(Store(db), begin_us, begin_us + DAY_US, "sill")
        assert light.dose == pytest.approx(599 * 0.2, rel=1e-9), "constant light times time, closed form"
        others = "SELECT id FROM sensor WHERE name != 'sill'"
        rest = db.execute(f"SELECT sum(measured) FROM minute WHERE sensor IN ({others})")
        assert rest.fetchone()[0] == pytest.approx(before[1], rel=1e-12)
        assert home.told("journal", "check")["problems"] == []
