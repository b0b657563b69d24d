"""`uvdose outlook` without a daemon, at a bench that has measured a June, and what it says where it knows nothing."""

from __future__ import annotations

import time
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from pathlib import Path

import pytest
from support.june import SETTINGS, at_us, measured

from uvdose.review.outlook_chart import LONGER, TALLEST
from uvdose.review.outlook_text import lasting_between

from .conftest import Homed


@pytest.fixture
def bench(home: Homed, monkeypatch: pytest.MonkeyPatch) -> Homed:
    """At 11:30 UTC of 23 June 2016, which was clear (BSRN Payerne)."""
    home.write(SETTINGS)
    measured(home.folder / "journal.sqlite3", 23 + 11.5 / 24).close()
    monkeypatch.setattr("uvdose.clock.host_wall_us", lambda: at_us(23 + 11.5 / 24))
    return home


@pytest.fixture(autouse=True)
def in_utc(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    monkeypatch.setenv("TZ", "UTC")
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


def test_the_table(bench: Homed) -> None:
    ran = bench.call("outlook", "blue", "--queue")
    assert ran.code == 0 and ran.err == "", ran
    lines = ran.out.splitlines()
    assert max(map(len, lines)) <= 100
    assert lines[0].startswith("2016-06-23, sill flat: sun from ") and "highest 67°" in lines[0]
    text = " ".join(ran.out.split())
    assert "as this sensor read it on" in text and "Like the last 14 days" in text
    assert [line.split()[0] for line in lines if line.startswith("  1") and "°" in line][:2] == ["12:00", "13:00"]
    for words in (
        "blue v1, 2565 mJ/cm²", "begun now: about 9 min", "four days of five", "last start that finishes: 17:",
        "prints that fit", "the queue, 3 prints", "The sun stands 67° high", "left out: Mia, under lamp",
    ):  # fmt: skip
        assert words in text, words
    assert "▇" in ran.out and "typical" in ran.out


def test_json_is_the_document(bench: Homed) -> None:
    told = bench.told("outlook", "blue", "brown", "--every", 30)
    assert told == bench.told("outlook", "blue", "brown", "--every", "30min", "--pause", "5min") == bench.told(
        "outlook", "blue", "brown", "--every", "30m", "--between", 5
    ), "a time as everywhere, and minutes alone as before"
    assert [t["target"] for t in told["targets"]] == ["blue", "brown"] and told["queue"] is None
    assert told["level"] == "measured" and told["targets"][0]["now"]["clear_s"] == pytest.approx(525, rel=0.05)
    assert len(told["targets"][0]["begun"]) > 8 and told["utc"] == "2016-06-23T11:30:00.000Z"


@pytest.mark.parametrize("end", ["svg", "png", "pdf"])
def test_the_chart(bench: Homed, tmp_path: Path, end: str) -> None:
    file = tmp_path / f"day.{end}"
    ran = bench.call("outlook", "blue", "--out", file)
    assert ran.code == 0 and str(file) in ran.err and "blue v1" in ran.out
    data = file.read_bytes()
    assert data.startswith({"svg": b"<?xml", "png": b"\x89PNG", "pdf": b"%PDF"}[end])
    if end == "svg":
        texts = {"".join(e.itertext()).strip() for e in ET.fromstring(data).iter() if e.tag.endswith("}text")}
        assert {"blue v1, 2565 mJ/cm²", "clear sky", "typical", "four days of five", "begun at", "12:00"} <= texts
        begun = bench.told("outlook", "blue")["targets"][0]["begun"]
        least = min(b["clear_s"] for b in begun if b["clear_s"] is not None)
        beyond = [b for b in begun for s in (b["clear_s"], b["typical_s"]) if s is not None and s > TALLEST * least]
        assert (LONGER in texts) == bool(beyond) and beyond, "what is cut is marked"
    file.write_bytes(b"something else")
    bench.call("outlook", "blue", "--out", file).refused(4, "is there already", "--force")
    assert file.read_bytes() == b"something else"
    assert bench.call("outlook", "blue", "--out", file, "--force").code == 0 and file.read_bytes()[:3] == data[:3]


def test_days_have_names(bench: Homed) -> None:
    """It is 23 June at the bench; `--date` says the same as `--day`."""
    for day, date in (("today", "2016-06-23"), ("yesterday", "2016-06-22"), ("2016-06-24", "2016-06-24")):
        assert bench.told("outlook", "blue", "--day", day)["date"] == date
        assert bench.told("outlook", "blue", "--date", day)["date"] == date
    assert bench.told("day", "yesterday")["date"] == "2016-06-22"
    bench.call("prints", "--from", "today", "--to", "yesterday").refused(2, "2016-06-23 lies after --to 2016-06-22")


@pytest.mark.parametrize(("low", "high", "words"), [
    (60, 100, "60-100 s"), (80, 300, "80 s - 5 min"), (300, 360, "5-6 min"), (6240, 7620, "1 h 44 - 2 h 07"),
    (1200, 7620, "20 min - 2 h 07"), (7300, 7620, "2 h 02 - 2 h 07"), (300, None, "5 min - not before dark"),
])  # fmt: skip
def test_a_range_has_one_measure(low: float, high: float | None, words: str) -> None:
    assert lasting_between(low, high) == words


@pytest.mark.parametrize(
    ("words", "code", "told"),
    [
        (("nobody",), 4, "no target 'nobody'"), (("under lamp",), 4, "proved under lamp"), (("old",), 4, "retired"),
        (("counted",), 4, "counts.s"), (("--date", "2031-01-01"), 2, "more than a year"),
        (("--date", "9999-12-31"), 2, "more than a year"), (("--date", "0001-01-01"), 2, "more than a year"),
        (("--date", "soon"), 2, "YYYY-MM-DD"), (("--every", "0"), 2, "from 5 to 240"), (("--every", "x"), 2, "every"),
        (("--between", "nan"), 2, "from 0 s"), (("--every", "90s"), 2, "whole minutes"),
        (("--pause", "9h"), 2, "from 0"), (("--sensor", "roof"), 2, "no sensor"),
        (("--out", "day.txt"), 2, "a chart ends with"), (("--out", "{home}/none/day.svg"), 4, "cannot be written"),
        (("--date", "2016-06-24", "--out", "{home}/journal.sqlite3"), 4, "the journal itself"),
    ],
)  # fmt: skip
def test_bad_input_is_one_line(bench: Homed, words: tuple[str, ...], code: int, told: str) -> None:
    bench.call("outlook", *(w.format(home=bench.folder) for w in words)).refused(code, told)


def test_homes_that_cannot_tell(bench: Homed) -> None:
    place = "latitude = 46.815\nlongitude = 6.944\nheight_m = 491\n"
    bench.write(SETTINGS.replace(place, "")).call("outlook").refused(4, "where does the bench stand?", "latitude = ")
    bench.write(SETTINGS.replace("latitude = 46.815\n", "")).call("outlook").refused(4, "bench.latitude")
    bench.write(SETTINGS.replace("46.815", "146.0")).call("outlook").refused(4, "bench.latitude", "-90 to 90")
    bench.write(SETTINGS.replace("46.815", "nan")).call("outlook").refused(4, "bench.latitude")
    bench.write(SETTINGS.replace("height_m = 491", 'facing = "up"')).call("outlook").refused(4, "flat, tilted, sun")
    bench.write(SETTINGS.replace("height_m = 491", 'facing = "tilted"')).call("outlook").refused(4, "bench.tilt_deg")
    bench.write(SETTINGS + '[[sensor]]\nname = "roof"\nlink = "recording"\nfile = "-"\nformat = "number"\n')
    bench.call("outlook", "blue").refused(2, "which sensor?", "sill, roof")
    assert bench.call("outlook", "blue", "--sensor", "sill").code == 0
    bench.write(SETTINGS.replace('unit = "W/m2"', 'unit = "W/m2"\nlight = "lamp"')).call("outlook", "blue").refused(
        4, "under lamp")  # fmt: skip


def test_a_home_without_a_journal_or_targets(home: Homed, tmp_path: Path) -> None:
    home.call("outlook").refused(4, "no settings")
    home.write(SETTINGS).call("outlook").refused(4, "journal")
    db = measured(home.folder / "journal.sqlite3", 1.0)
    db.execute("DELETE FROM target")
    db.close()
    home.call("outlook").refused(4, "no target is set yet")


def test_a_bench_that_has_measured_nothing_says_whose_level_it_takes(
    home: Homed, monkeypatch: pytest.MonkeyPatch
) -> None:
    home.write(SETTINGS)
    measured(home.folder / "journal.sqlite3", 1.0).close()
    monkeypatch.setattr("uvdose.clock.host_wall_us", lambda: at_us(23.0))
    ran = home.call("outlook", "blue")
    assert ran.code == 0 and "Clear sky: computed, within" in ran.out and "nothing is said of clouds" in ran.out
    assert "typical" not in ran.out and "begun now" not in ran.out


def test_polar_night_has_no_chart(bench: Homed, tmp_path: Path) -> None:
    bench.write(SETTINGS.replace("46.815", "78.2"))
    ran = bench.call("outlook", "blue", "--date", "2016-12-21")
    assert ran.code == 0 and "the sun does not rise" in ran.out and "no light on this day" in ran.out
    bench.call("outlook", "blue", "--date", "2016-12-21", "--out", tmp_path / "a.svg").refused(4, "no light on")


def test_with_a_daemon_now_is_the_daemons(serve) -> None:
    daemon = serve("paced", SETTINGS.replace('link = "recording"\nfile = "-"\nformat = "number"\nunit = "W/m2"',
                                             'link = "simulated"\nscale = 0.0125'), 2000)  # fmt: skip
    daemon.wait_live()
    assert daemon.call("target", "set", "blue", "--dose", 500).code == 0
    told, status = daemon.told("outlook"), daemon.told("status")
    assert told["utc"] <= status["utc"] and told["utc"][:4] == status["utc"][:4]
