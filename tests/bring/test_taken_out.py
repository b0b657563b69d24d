"""What was brought in is shown as that, and can be taken out again. All recordings are invented."""

from __future__ import annotations

from contextlib import closing
from pathlib import Path

import pytest
from cli.conftest import SIMULATED, Homed

from uvdose.journal.schema import open_reading
from uvdose.stamps import local_date

from .test_whole_or_not import BEGIN_S, REFUSED, UNIT, recording, rows

TABLES = ("chunk", "minute", "summed", "sensor", "meta", "exposure", "event")


def contents(home: Homed) -> dict[str, list[tuple[object, ...]]]:
    with closing(open_reading(home.folder / "journal.sqlite3")) as db:
        return {table: db.execute(f"SELECT * FROM {table}").fetchall() for table in TABLES}


@pytest.fixture
def filled(tmp_path: Path) -> Homed:
    home = Homed(tmp_path / "home")
    assert home.call("import", recording(tmp_path / "roof.csv", 300), *UNIT).code == 0
    return home


def test_the_newest_day_with_light_is_shown(filled: Homed, tmp_path: Path) -> None:
    """A night that was recorded after it is no light, though it has readings."""
    night = tmp_path / "night.csv"
    begin_s = BEGIN_S + 40 * 3600
    night.write_text("unix,uva\n" + "".join(f"{begin_s + i},0.0{i % 2}\n" for i in range(100)))
    assert filled.call("import", night, *UNIT, "--sensor", "roof").code == 0
    day = filled.told("day")
    assert day["date"] == local_date(BEGIN_S * 1_000_000) != local_date(begin_s * 1_000_000)
    assert day["brought_in"] == ["roof"] and day["sensors"][0]["readings"] == 300
    shown = filled.call("day")
    assert shown.code == 0 and "from a file" in shown.out
    page = tmp_path / "day.html"
    assert filled.call("day", "--out", page).code == 0 and "from a file" in page.read_text()


def test_taken_out_all_is_as_if_it_never_had_been(filled: Homed, tmp_path: Path) -> None:
    before = contents(filled)
    other = recording(tmp_path / "other.csv", 200, 5)
    assert filled.call("import", other, *UNIT).code == 0
    assert filled.told("import", "--take-out", "other") == {"sensor": "other", "readings_taken_out": 200}
    after = contents(filled)
    assert {k: v for k, v in after.items() if k != "meta"} == {k: v for k, v in before.items() if k != "meta"}
    assert dict(after["meta"])["imported"] == dict(before["meta"])["imported"]
    assert filled.call("import", other, *UNIT).code == 0, "the same file may come in anew"
    assert rows(filled, "other") == 200 and rows(filled, "roof") == 300
    check = filled.told("journal", "check", "--all")
    assert check["ok"] and check["readings"] == 500


def test_its_name_may_then_be_a_sensor_of_the_bench(filled: Homed) -> None:
    filled.write(SIMULATED.replace('"sill"', '"roof"'))
    filled.run("serve").refused(REFUSED, "sensor roof")
    assert filled.call("import", "--take-out", "roof").code == 0
    filled.call("import", "--take-out", "roof").refused(REFUSED, "nothing was brought in as 'roof'")


def test_what_is_asked_wrongly(filled: Homed, tmp_path: Path) -> None:
    filled.call("import").refused(2, "which file?")
    filled.call("import", tmp_path / "roof.csv", "--take-out", "roof").refused(2, "--take-out goes without FILE")
    Homed(tmp_path / "none").call("import", "--take-out", "roof").refused(REFUSED, "no journal")
    assert rows(filled, "roof") == 300


@pytest.mark.parametrize("settings", ["", '[bench]\ntimezone = "UTC"\n', None])
def test_a_target_in_a_home_of_recordings(filled: Homed, settings: str | None) -> None:
    """Bound to a recording where that is said, else to none: then it may be imagined on each."""
    if settings is not None:
        filled.write(settings)
    assert filled.told("target", "set", "any", "--dose", 5)["identity"] is None
    bound = filled.told("target", "set", "blue", "--dose", 5, "--sensor", "roof")
    assert bound["identity"]["name"] == "roof" and bound["identity"]["unit"] == "W/m2"
    filled.call("target", "set", "blue", "--dose", 5, "--sensor", "attic").refused(4, "one of roof")
    for name in ("any", "blue"):
        shown = filled.call("suppose", name, "--sensor", "roof", "--day", local_date(BEGIN_S * 1_000_000))
        assert shown.code == 0, shown
    assert filled.call("target", "list").code == filled.call("target", "show", "blue").code == 0


def test_settings_that_are_broken_are_told(filled: Homed) -> None:
    filled.write("[[sensor]\n")
    filled.call("target", "set", "any", "--dose", 5).refused(REFUSED, "uvdose.toml")
