"""Targets after they were set: compared, copied, retired, carried to another sensor; the exponent of reciprocity."""

from __future__ import annotations

import json
import math
import time
from collections.abc import Iterator
from typing import Any

import pytest

from .conftest import Daemon

SETTINGS = """\
[bench]
name = "bindery"
[web]
listen = "127.0.0.1:0"
""" + "".join(f"""\
[[sensor]]
name = "{name}"
link = "simulated"
profile = "clear"
full_scale = 1023
{more}
""" for name, more in {
    "sill": 'scale = 0.0125\nmount = "level"', "wall": 'scale = 0.0125\nmount = "upright"',
    "box": 'scale = 0.0125\nlight = "lamp"', "raw": "",
}.items())  # fmt: skip


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Daemon]:
    daemon = Daemon(tmp_path_factory.mktemp("targets") / "home", SETTINGS, 60)
    try:
        end = time.monotonic() + 20
        while daemon.call("status", "--json").out.count('"live"') < 4:
            assert time.monotonic() < end
        daemon.told("target", "set", "blue", "--dose", 60, "--sensor", "sill", "--paper", "rag", "--lead", 0)
        yield daemon
    finally:
        daemon.stop()


def test_a_target_is_bound_to_light_unit_and_mount(bench: Daemon) -> None:
    for more in ((), ("--override",)):
        bench.call("expose", "blue", "--sensor", "box", *more).refused(4, "never carries over", "lamp")
        bench.call("expose", "blue", "--sensor", "raw", *more).refused(4, "is in mJ/cm2", "counts.s")
    bench.call("expose", "blue", "--sensor", "wall").refused(4, "mount", "--override")
    assert bench.told("status")["exposures"] == [], "nothing was started"
    begun = bench.told("expose", "blue", "--sensor", "wall", "--override")
    import sqlite3

    db = sqlite3.connect(bench.folder / "journal.sqlite3")
    [plan] = [json.loads(p) for (p,) in db.execute("SELECT plan FROM exposure WHERE id = ?", (begun["id"],))]
    db.close()
    assert any("mount" in what for what in plan["overridden"])
    assert bench.call("finish", begun["id"]).code == 0
    ran = bench.call("verdict", begun["id"], "--tone", "dark", "--json")
    assert ran.code == 0 and json.loads(ran.out)["prints"] == [], "another mount's print says nothing of this target"


def test_diff_copy_and_retire(bench: Daemon) -> None:
    bench.call("target", "diff", "blue").refused(2, "one version")
    bench.told("target", "set", "blue", "--dose", 120, "--process", "iron blue", "--look", 0.5, "--reason", "paler")
    rows = {row["what"]: (row["first"], row["second"]) for row in bench.told("target", "diff", "blue")}
    assert set(rows) == {"dose", "process", "calls", "reason"}
    assert "+1.00 stop" in rows["dose"][1] and rows["process"] == ("-", "iron blue")
    assert bench.told("target", "diff", "blue:1", "blue:v1") == [] and "alike" in bench.call(
        "target", "diff", "blue:2", "blue").out
    bench.call("target", "diff", "blue:9").refused(2, "no version '9'", "1 to 2")
    bench.call("target", "diff", "blue", "green").refused(4, "no target", "green")

    made = bench.told("target", "copy", "blue", "fern", "--paper", "kozo")
    assert (made["version"], made["dose"], made["basis"]) == (1, 120.0, "copy of blue v2")
    assert made["combination"] == {**made["combination"], "paper": "kozo", "process": "iron blue"}
    assert made["calls"]["looks"] == [0.5] and made["identity"]["name"] == "sill" and "not proved" in made["reason"]
    assert made["low"] is None and made["proved_s"] is None
    before = bench.told("target", "list")
    bench.call("target", "copy", "blue", "fern").refused(2, "fern is there already")
    bench.call("target", "copy", "blue", "a b").refused(2, "letters")
    bench.call("target", "copy", "green", "moss").refused(4, "no target")
    bench.call("target", "copy", "blue", "moss", "--dose", "nan").refused(2, "above 0")
    bench.call("target", "copy", "blue", "moss", "--sensor", "roof").refused(4, "no sensor 'roof'")
    bench.call("target", "retire", "fern").refused(2, "--reason")
    assert bench.told("target", "list") == before

    assert bench.told("target", "retire", "fern", "--reason", "no kozo left")["retired"]
    bench.call("target", "retire", "fern", "--reason", "again").refused(4, "retired already (no kozo left)")
    bench.call("expose", "fern").refused(4, "retired (no kozo left)")
    assert "v2, retired" in bench.call("target", "list").out and "retired, 120.0 mJ/cm²" in bench.call(
        "target", "show", "fern").out
    copied = bench.told("target", "copy", "fern", "fern2")
    assert not copied["retired"]
    assert not bench.told("target", "set", "fern", "--dose", 100)["retired"], "in use again"


def test_reciprocity_is_told_in_target_exposure_and_day(bench: Daemon) -> None:
    bench.told("tablet", "plan", "--sensor", "sill", "--dose", 300, "--tablet", "13x0.15", "--paper", "rag")
    assert bench.call("tablet", "run", "--count-in", 0, "--no-wait", "--frame", "t").code == 0
    tablet = _finished(bench, bench.told("tablet", "show")["exposure"]["id"])
    assert bench.call("tablet", "read", "--full", 4, "--accept", "slow").code == 0
    [proved] = bench.told("target", "show", "slow")
    assert proved["proved_s"] == pytest.approx(tablet["measured_s"] + tablet["bridged_s"]) and proved["p"] == 1.0
    assert "calibration print" not in bench.call("target", "show", "slow").out, "nothing is said where p is 1"
    for wrong in ("nan", "0", "3"):
        bench.call("target", "set", "slow", "--dose", 30, "--p", wrong).refused(2, "0.5 to 1.5")
    made = bench.told("target", "set", "slow", "--dose", 30, "--p", 0.86)
    assert made["p"] == 0.86 and made["proved_s"] == proved["proved_s"], "the time it was proved at stays"
    shown = " ".join(bench.call("target", "show", "slow").out.split())
    for words in ("p 0.86, against the calibration print's", "would need -0.28 stop", "-0.14", "+0.14", "+0.28 stop"):
        assert words in shown, shown
    bench.told("target", "set", "blue", "--dose", 60, "--p", 0.86)
    assert "is not known, so its effect cannot be told" in bench.call("target", "show", "blue").out

    begun = bench.told("expose", "slow", "--frame", "s")
    done = _finished(bench, begun["id"])
    lit_s = done["measured_s"] + done["bridged_s"] + done["missing_s"]
    expected = 0.14 * math.log2(lit_s / proved["proved_s"])
    assert done["reciprocity_stops"] == pytest.approx(expected) and expected < -0.1
    assert tablet["reciprocity_stops"] == 0.0
    day = " ".join(bench.call("day").out.split())
    assert f"by its exponent p it would have needed {expected:+.2f} stop" in day, day
    held = next(e for e in bench.told("day")["exposures"] if e["id"] == done["id"])
    assert held["reciprocity_stops"] == done["reciprocity_stops"]


def _finished(bench: Daemon, number: int) -> dict[str, Any]:
    def now() -> dict[str, Any]:
        return next(dict(e) for e in bench.told("status")["exposures"] if e["id"] == number)

    end = time.monotonic() + 20
    while now()["state"] != "reached":
        assert time.monotonic() < end
    assert bench.call("finish", number).code == 0
    while not now()["settled"]:
        assert time.monotonic() < end
    return now()
