"""`[bench] timezone`: what persons read goes by the bench's clocks, whatever the machine's are."""

from __future__ import annotations

import json
import re
from datetime import datetime
from zoneinfo import ZoneInfo

import pytest

from uvdose.stamps import use_zone

from .conftest import SIMULATED, Homed

TOKYO = SIMULATED.replace('name = "bindery"\n', 'name = "bindery"\ntimezone = "Asia/Tokyo"\n')


@pytest.fixture(autouse=True)
def machines_zone_after():
    yield
    use_zone(None)


def test_labels_go_by_the_bench_and_documents_by_utc(home: Homed) -> None:
    home.write(TOKYO)
    assert home.call("target", "set", "blue", "--dose", "100").code == 0
    made = home.told("target", "show", "blue")[0]["made_utc"]
    assert made.endswith("Z")
    at_bench = datetime.fromisoformat(made.replace("Z", "+00:00")).astimezone(ZoneInfo("Asia/Tokyo"))
    label = at_bench.strftime("%Y-%m-%d %H:%M:%S")
    for machine in ("UTC", "America/St_Johns"):
        assert label in home.run("target", "show", "blue", TZ=machine).out
    # The next home of the same process has none: the machine's holds again.
    home.write(SIMULATED)
    assert label not in home.call("target", "show", "blue").out


def test_prints_of_a_day_are_those_of_the_benchs_day(home: Homed) -> None:
    """Samoa left out 30 December 2011 when it crossed the date line (tz database)."""
    home.write(TOKYO.replace("Asia/Tokyo", "Pacific/Apia"))
    assert home.call("target", "set", "blue", "--dose", "100").code == 0
    use_zone(None)  # as a new process begins
    for words in (("prints", "--day"), ("export", "--from")):
        home.call(*words, "2011-12-30").refused(2, "Pacific/Apia left it out")
        use_zone(None)


def test_a_name_that_is_no_zone_is_one_clear_line(home: Homed) -> None:
    home.write(TOKYO)
    assert home.call("target", "set", "blue", "--dose", "100").code == 0
    home.write(TOKYO.replace("Asia/Tokyo", "Asia/Tokio"))
    shown = home.run("target", "show", "blue")
    assert shown.code == 0 and "100.0 mJ" in shown.out
    line, = shown.err.splitlines()
    assert "bench.timezone: 'Asia/Tokio' is not a time zone" in line and "this machine's" in line
    home.run("serve").refused(4, "bench.timezone", "'Asia/Tokio'", "IANA name such as Europe/Zurich")


def test_a_day_of_the_bench(home: Homed) -> None:
    """Which day it is, which one was left out, and what is no day."""
    home.write(TOKYO.replace("Asia/Tokyo", "Pacific/Apia"))
    assert home.call("target", "set", "blue", "--dose", "100").code == 0
    home.call("day", "2011-12-30").refused(2, "2011-12-30", "Pacific/Apia left it out")
    home.call("day", "2011-13-30").refused(2, "YYYY-MM-DD")
    empty = home.call("day", "2011-12-31")
    assert empty.code == 0 and re.match(r"2011-12-31, Pacific/Apia: 0 exposures\n", empty.out)
    document = json.loads(home.call("day", "2011-12-31", "--json").out)
    assert document["timezone"] == "Pacific/Apia" and document["trace_from_utc"] == "2011-12-30T10:00:00.000Z"
