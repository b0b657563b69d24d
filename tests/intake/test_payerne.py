"""The measured month that the main job is run on, against figures computed from the same file by another reader.

Source of the figures: pvlib.iotools.read_bsrn on BSRN Payerne, June 2016, record LR0500.
"""

from __future__ import annotations

import statistics

from support.payerne import day_w_m2, uva_w_m2


def test_the_month_is_read_whole() -> None:
    means = uva_w_m2()
    assert len(means) == 43_200
    assert [minute for minute, value in enumerate(means) if value is None] == [0, 43_199]


def test_daily_doses() -> None:
    doses = [sum(day_w_m2(day)) * 60 / 1000 for day in range(1, 31)]
    assert (round(min(doses)), round(statistics.median(doses)), round(max(doses))) == (503, 1012, 1473)


def test_the_reader_that_comes_with_the_file_agrees() -> None:
    import datetime
    import importlib.metadata

    import pvlib.iotools

    path = importlib.metadata.distribution("pvlib").locate_file("pvlib/data/bsrn-pay0616.dat.gz")
    table, _ = pvlib.iotools.read_bsrn(path, logical_records=("0500",))
    noon = datetime.datetime(2016, 6, 23, 11, 33, tzinfo=datetime.UTC)
    assert day_w_m2(23)[11 * 60 + 33] == table["uva_global"][noon]
