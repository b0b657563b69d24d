"""What a clock would have done to prints through a measured month, imported by the real command.

Source of the light: BSRN station Payerne, June 2016, UVA one-minute means, read out of pvlib 0.11.2 (support.payerne).
Holding each mean for its minute makes the exact dose sum(mean x 60) J/m². Oracles: pandas for the sums of days; numpy's
interpolation of the cumulated means for each start; the project's own check values for the month.
"""

from __future__ import annotations

import time
from datetime import datetime, timedelta

import numpy as np
import pandas as pd
import pytest
from cli.conftest import Homed
from support.payerne import BEGIN, MINUTES, uva_w_m2, write_month

from uvdose.dose.response import identity_response
from uvdose.exposure.channel import Channel
from uvdose.exposure.exposure import Exposure
from uvdose.exposure.record import Plan
from uvdose.exposure.states import Act
from uvdose.exposure.target import Target
from uvdose.journal.judged import judged
from uvdose.journal.replay import replay
from uvdose.journal.schema import open_reading
from uvdose.journal.store import Store
from uvdose.model import Mark
from uvdose.review.suppose import bed_of

TARGET = 2565.0  # mJ/cm²: 9 min of clear noon light, 25.65 kJ/m²
NINE = 9 * 60.0


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Homed:
    """The month as a file, brought in; local time is UTC."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("TZ", "UTC")
        time.tzset()
        folder = tmp_path_factory.mktemp("month")
        write_month(folder / "payerne.csv")
        home = Homed(folder / "home")
        told = home.told("import", folder / "payerne.csv", "--means", "60s", "--stamped", "start")
        assert told["readings"] + told["left_out"]["no number"] == len(uva_w_m2())
        assert home.call("target", "set", "blue", "--dose", TARGET).code == 0
        yield home
    time.tzset()


def test_each_day_sums_to_what_pandas_says(home: Homed) -> None:
    series = pd.Series(uva_w_m2(), index=pd.date_range(BEGIN, periods=len(uva_w_m2()), freq="min"), dtype=float)
    sums = (series.resample("D").sum() * 60).tolist()
    assert 490e3 < min(sums) < 510e3 and 1470e3 < max(sums) < 1480e3  # 503 and 1473 kJ/m², the project's check values
    store = Store(open_reading(home.folder / "journal.sqlite3"))
    bed = bed_of(store, Target("blue", 1, TARGET), None)
    response = identity_response(bed.identities[0])
    days = []
    for i in range(len(sums)):
        begin_us = round((BEGIN + timedelta(days=i)).timestamp()) * 1_000_000
        exposure = Exposure(Plan(1, Target("blue", 1, TARGET), bed.sensor, "", response, begin_us))
        exposure.apply(Act.LIGHT, Mark(begin_us))
        exposure.apply(Act.FINISH, Mark(begin_us + 86_400_000_000))
        days.append(exposure)
    replay(Channel(bed.sensor, bed.identities[0], response), days, judged(store.db, bed.sensor, 0))
    figures = [day.account.figures() for day in days]
    assert [f.dose for f in figures] == pytest.approx(sums, rel=1e-12)
    lost = [f.missing_s + f.bridged_s for f in figures]
    assert sum(lost[1:-1]) == 0 and figures[15].measured_s == 86_400


def test_a_month_of_starts(home: Homed) -> None:
    told = home.told(
        "suppose", "blue", "--day", "2016-06", "--every", "1min", "--between", "09:33-13:33", "--clock", "9min"
    )
    starts = told["starts"]
    assert len(starts) == 30 * 241 and all(s["known"] for s in starts)
    # Every start against the cumulated means, straight between minutes.
    means = np.array([v or 0.0 for v in uva_w_m2()])
    edges = np.arange(len(means) + 1) * 60.0
    summed = np.concatenate([[0.0], np.cumsum(means * 60)])
    begin_s = np.array([(datetime.fromisoformat(s["begin_utc"]) - BEGIN).total_seconds() for s in starts])
    at_begin = np.interp(begin_s, edges, summed)
    by_clock = (np.interp(begin_s + NINE, edges, summed) - at_begin) / 10
    assert [s["clock_dose"] for s in starts] == pytest.approx(by_clock.tolist(), rel=1e-9)
    needed = np.interp(at_begin + TARGET * 10, summed, edges) - begin_s
    assert [s["needed_s"] for s in starts] == pytest.approx(needed.tolist(), abs=2e-3)
    # The month: fixed 9 min give 0.07 to 1.27, in the middle 0.71, 37 % within 10 %; needed 7.0, 12.7, 68.5 min.
    found = told["summary"]
    share, minutes = found["clock_share"], {k: v / 60 for k, v in found["needed_s"].items()}
    assert found["reached"] == len(starts)
    assert (round(share["least"], 2), round(share["median"], 2), round(share["most"], 2)) == (0.07, 0.71, 1.27)
    assert round(found["clock_within"], 2) == 0.37
    assert [round(minutes[k], 1) for k in ("least", "median", "most")] == [7.0, 12.7, 68.5]


def test_the_table_fits_a_screen(home: Homed) -> None:
    for words in (("--day", "2016-06-17", "--every", "10min"), ("--day", "2016-06", "--every", "1h")):
        ran = home.call("suppose", "blue", *words, "--clock", "9min")
        assert ran.code == 0 and all(len(line) <= 80 for line in ran.out.splitlines()), ran.out
        assert "within 10 % of it" in " ".join(ran.out.split())
    evening = home.told("suppose", "blue", "--at", "2016-06-11T18:00")["starts"][0]
    assert evening["needed_s"] is None and 0 < evening["dose"] < TARGET
    light = sum(v or 0.0 for v in uva_w_m2()[10 * MINUTES + 18 * 60 : 11 * MINUTES]) * 6
    assert evening["dose"] == pytest.approx(light, rel=0.05)  # mJ/cm²; the last glimmer is night by then


def test_what_is_refused(home: Homed) -> None:
    say = ("suppose", "blue")
    home.call(*say).refused(2, "--at TIME or --day")
    home.call(*say, "--at", "2016-06-17T10:00", "--every", "5min").refused(2, "go with --day")
    home.call(*say, "--at", "10:00").refused(2, "day and time")
    home.call(*say, "--day", "2016-6").refused(2, "YYYY-MM-DD")
    home.call(*say, "--day", "2016-06-17", "--every", "0").refused(2, "from 1 s")
    home.call(*say, "--day", "2016-06-17", "--between", "12-13").refused(2, "two times of day")
    home.call(*say, "--day", "2016-06-17", "--between", "13:00-12:00").refused(2, "after the second")
    home.call(*say, "--day", "2016-06", "--every", "1s").refused(2, "longer --every")
    home.call(*say, "--day", "2017-06-17").refused(4, "no readings of payerne", "2016-06-30")
    home.call(*say, "--sensor", "roof", "--day", "2016-06-17").refused(4, "no readings of 'roof'", "payerne")
    home.call("suppose", "green", "--day", "2016-06-17").refused(4, "no target 'green'")
    assert home.call("target", "set", "bare", "--dose", "9", "--unit", "counts.s").code == 0
    home.call("suppose", "bare", "--day", "2016-06-17", "--override").refused(4, "counts.s")
