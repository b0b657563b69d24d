"""Strips and tablets without a terminal: everything by flags, every answer as JSON, plain lines while it lies there."""

from __future__ import annotations

import math
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from uvdose.calibrate.curve import SCurve
from uvdose.cli.calibration.run import _Screen
from uvdose.cli.calibration.sheets import Sheet
from uvdose.messages import ExposureDoc
from uvdose.notes import Calibration, StripPlan

from .conftest import SIMULATED, Daemon, argv, environment

RAW = SIMULATED.replace("scale = 0.0125\n", "")
PAPER = SCurve(0.08, 1.4, 2.5, 0.0)


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Daemon]:
    """A sensor without a scale: its doses are in counts.s, 400 a second."""
    daemon = Daemon(tmp_path_factory.mktemp("told") / "home", RAW, 60)
    try:
        daemon.wait_live()
        yield daemon
    finally:
        daemon.stop()


def test_a_strip_by_flags_alone(bench: Daemon) -> None:
    planned = bench.told("strip", "plan", "--first", 20_000, "--step", 1, "--count", 3, "--way", "cover", "--no-film",
                    "--film-base", "0,12", "--process", "iron blue", "--paper", "rag", "--coat", "rod",
                    "--film", "clear", "--humidity", "60 %", "--drying", "air", "--coating-age", "a day",
                    "--notes", "first try")  # fmt: skip
    note = planned["note"]
    assert (planned["kind"], planned["number"], planned["state"]) == ("strip", 1, "planned")
    assert note["plan"]["doses"] == [20_000.0, 40_000.0, 80_000.0] and note["unit"] == "counts.s"
    assert note["film_base"]["best"] == 0.12 and not note["through_film"] and len(note["noted"]) == 8
    bench.call("strip", "read", "--right", 1).refused(4, "no strip that is exposed or read")

    lying = subprocess.Popen(
        argv("strip", "run", "--count-in", 1, "--frame", "north", "--home", bench.folder), stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=environment(),
    )  # fmt: skip
    try:
        _until(bench, 1, 0.3)
        ran = bench.call("strip", "moved")
        assert ran.code == 0 and ran.out.startswith("strip 1: card moved at ") and "counts·s" in ran.out, ran
        assert bench.told("strip", "list")[0]["state"] == "in the light"
        _until(bench, 1, 0.6)
        assert bench.call("strip", "moved", 1, "--ago", "1s").out == "strip 1: card moved, taken for: cover step 2\n"
        _until(bench, 1, 1.0)
        assert bench.call("finish", 1).code == 0
        out, err = lying.communicate(timeout=20)
    finally:
        lying.kill()
    assert lying.returncode == 0 and err == "" and "\x1b" not in out and "\a" not in out
    assert "1 uncover now" in out and "next: cover step 1 at 20000" in out and "NOW: cover step 1" in out
    assert "strip 1: finished at" in out and "`uvdose strip read 1 --home " in out

    shown = bench.told("strip", "show")
    assert shown["state"] == "exposed" and shown["exposure"]["part"]["name"] == "1" and shown["found"] is None
    assert shown["exposure"]["frame"] == "north" and shown["exposure"]["target"] == "strip 1"
    found = bench.told("strip", "read", "--full", 2)
    doses = [step["dose"] for step in found["steps"]]
    assert 20_000 < doses[0] < 40_000 < doses[1] < 80_000 <= doses[2], "as told by `moved`"
    middle = math.sqrt(doses[0] * doses[1])
    assert found["target"]["best"] == pytest.approx(middle * 10**0.12)
    assert found["safe"] == pytest.approx(doses[1] * 10**0.12)
    made = bench.told("strip", "accept", "--name", "blue", "--safe", "--reason", "sure is sure")
    assert made["dose"] == pytest.approx(found["safe"]) and made["unit"] == "counts.s"
    assert made["reason"] == "sure is sure"
    assert made["combination"]["coating_age"] == "a day" and made["basis"] == "strip 1"
    day = bench.call("day").out
    assert "strip 1" in day and "reached the target" not in day and "than its target asks" not in day
    assert bench.told("strip", "list")[0]["note"]["accepted"] == "blue v1"
    assert "it made target blue v1" in bench.call("strip", "list").out


def test_a_tablet_read_in_every_way_gives_the_same(bench: Daemon) -> None:
    film = [w for r in ("4", "2.8", "4") for w in ("--reading", r)]
    assert bench.call("film", "measure", "clear", *film).code == 0
    planned = bench.told("tablet", "plan", "--around", 2000, "--tablet", "21x0.15", "--film-base", "clear")
    number = planned["number"]
    assert planned["note"]["plan"]["dose"] == pytest.approx(2000 * 10**0.5)
    assert planned["note"]["film_base"]["best"] == pytest.approx(-math.log10(0.7))
    ran = bench.call("tablet", "run", number, "--count-in", 0, "--no-wait")
    assert ran.code == 0 and "uncover the whole sheet" in ran.out
    exposure = bench.told("tablet", "show")["exposure"]["id"]
    _until(bench, exposure, 1.0)
    assert bench.call("finish", exposure).code == 0
    got = bench.told("tablet", "show")["exposure"]["dose"]
    x = [math.log10(got / 2000) - 0.05 - 0.15 * i + 0.2 for i in range(21)]
    densities = [float(PAPER.density(at)[0]) for at in x]
    lines = {
        "--densities": " ".join(f"{d:.4f}" for d in densities),
        "--reflectances": " ".join(f"{10**-d:.6f}" for d in densities),
        "--greys": "; ".join(f"{250 * 10 ** (-d / 2.2):.4f}" for d in densities),
    }
    more = ("--white", 250, "--black", 0, "--gamma", 2.2, "--paper-base", 229.9)
    found = [
        bench.told("tablet", "read", number, how, line, *(more if how == "--greys" else ()))
        for how, line in lines.items()
    ]
    percent = " ".join(f"{100 * 10**-d:.4f}" for d in densities)
    found.append(bench.told("tablet", "read", number, "--reflectances", percent))
    for other in found:
        assert other["target"]["best"] == pytest.approx(found[0]["target"]["best"], rel=0.01)
        assert other["target"]["low"] < other["target"]["best"] < other["target"]["high"] and other["how"] == "s-curve"
    assert any("per cent" in line for line in found[-1]["notes"])
    assert any("gamma 2.2" in line for line in found[2]["notes"])
    text = bench.call("tablet", "show", number).out
    for words in ("full tone", "target   ", "range    ", "ISO R ", "contrast ", "of the clear film is added", "accept"):
        assert words in text, text
    assert bench.call("tablet", "read", number, "--densities", lines["--densities"], "--accept", "brown").code == 0
    assert bench.told("target", "show", "brown")[0]["exposure_scale"] is not None
    svg = Path(bench.folder) / "curve.svg"
    assert bench.call("tablet", "show", number, "--chart", svg).code == 0 and b"full tone" in svg.read_bytes()
    svg.write_bytes(b"another's")
    bench.call("tablet", "show", number, "--chart", svg).refused(4, "there already", "--force")
    assert svg.read_bytes() == b"another's"
    assert bench.call("tablet", "show", number, "--chart", svg, "--force").code == 0 and b"full" in svg.read_bytes()


def test_one_given_up_is_kept_and_not_offered(bench: Daemon) -> None:
    number = bench.told("strip", "plan", "--around", 100)["number"]
    assert bench.call("strip", "drop", number).code == 0
    assert bench.told("strip", "show", number)["state"] == "dropped"
    bench.call("strip", "run").refused(4, "no strip that is planned or in the light")


@pytest.mark.parametrize("width", [60, 80, 120])
def test_the_drawn_line_stays_within_the_terminal(width: int) -> None:
    """A line that is broken could not be drawn over."""
    note = Calibration(StripPlan((318.2, 450.0, 900.0, 25_456.0), "uncover"), "mJ/cm2")
    screen = _Screen(Sheet("strip", "1", note, None, "in the light"), 1, 0)
    for share in (0.0, 0.5, 0.97, 0.999, 1.0, 40.0):
        for alarms in ([], ["silent: no reading for 12 s; look at the cable, and at `uvdose status`"]):
            doc = ExposureDoc(1, "strip 1", 0, "sill", "1", "counting", "mJ/cm2", 25_456.0, share * 25_456, 1, 1, share,
                              1, 0, 0, 0, 0, None, None, None, 83.0, alarms, [], False)  # fmt: skip
            hint = "  (Enter when done)" if "NOW: " in screen.line(doc) else ""
            line = screen.line(doc, width, hint)
            assert len(line) <= width
            if width >= 80:
                assert hint in line and ("NOW: " in line or "next: " in line)
                assert not alarms or "  si" in line


def _until(bench: Daemon, exposure: int, share: float) -> None:
    end = time.monotonic() + 30
    while True:
        found = [e for e in bench.told("status")["exposures"] if e["id"] == exposure]
        if found and found[0]["fraction"] >= share:
            return
        assert time.monotonic() < end
        time.sleep(0.02)
