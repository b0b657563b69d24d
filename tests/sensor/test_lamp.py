"""`lamp warm` and `lamp evenness` beside a node on a real pty, whose lamp the test warms up and walks under."""

from __future__ import annotations

import json
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from cli.conftest import Daemon, argv, environment
from support.screentalk import ScreenTalk

from uvdose.config import Home
from uvdose.journal.schema import open_reading
from uvdose.journal.store import Store
from uvdose.light.evenness import evenness
from uvdose.notes import Bed

from .conftest import PACE, Quiet, settings


@pytest.fixture
def under(tmp_path: Path, lamp: Quiet) -> Iterator[Daemon]:
    """A daemon whose sensor stands under a lamp, its zero known."""
    text = settings(tmp_path, 'light = "lamp"').replace("zero = 0.0 ", "zero = 12.0 ")
    running = Daemon(tmp_path / "home", text, PACE)
    try:
        running.wait_live()
        yield running
    finally:
        running.stop()


def test_warm_once_it_has_been_steady(under: Daemon, lamp: Quiet) -> None:
    end = time.monotonic() + 30
    while (ran := under.run("lamp", "warm", "--json")).code:
        assert time.monotonic() < end, ran
        time.sleep(0.5)
    told = json.loads(ran.out)
    assert told["on_s"] is None and told["since_s"] >= 0 and told["now"]["steady"]
    assert "and steady since" in under.run("lamp", "warm").out
    lamp.counts = 700.0
    time.sleep(2.0)
    moved = under.run("lamp", "warm")
    assert moved.code == 4 and "not steady yet" in moved.out and "changed by +" in moved.out


def test_a_bed_walked_place_by_place(under: Daemon, lamp: Quiet) -> None:
    under.run("lamp", "evenness").refused(2, "at a terminal")
    under.call("lamp", "evenness", "--rows", 1, "--columns", 1).refused(2, "two places at least")
    bed = [[500.0, 600.0], [450.0, 550.0]]
    words = argv("lamp", "evenness", "--rows", 2, "--columns", 2, "--seconds", 2, "--home", under.folder)
    talk = ScreenTalk(words, environment(TERM="xterm"))
    try:
        talk.wait_for("Ultraviolet lamps burn eyes and skin")
        for row, places in enumerate(bed, 1):
            for place, counts in enumerate(places, 1):
                talk.wait_for(f"row {row}, place {place}: lay it there, and press Enter")
                lamp.counts = counts
                talk.send("\r")
        talk.wait_for("row 1, place 1 once more, and press Enter")
        lamp.counts = bed[0][0]
        talk.send("\r")
        talk.wait_for("per cent of the mean, row by row:")
        talk.wait_for(r"weakest 86 % of the mean \(row 2, place 1\), strongest 114 %: 0.4[12] stop between them")
        assert talk.wait() == 0
    finally:
        talk.close()
    note = Store(open_reading(Home(under.folder).journal_file)).notes(Bed)["sill"]
    expected = evenness(bed)
    assert note.stops == pytest.approx(expected.stops, abs=0.02) and abs(note.drift) < 0.01
    for found, wanted in zip(note.relative, expected.relative, strict=True):
        assert found == pytest.approx(wanted, abs=0.01)


def test_flicker_says_what_the_sampling_can_tell(under: Daemon) -> None:
    told = json.loads(under.call("lamp", "flicker", "--json").out)
    assert [r["ripple_hz"] for r in told["ripples"]] == [100.0, 120.0] and told["sample_hz"] == 100.0
    assert told["ripples"][0]["error"] == 1.0 and not told["ripples"][0]["shown"], "100 a second, in step"
    assert told["ripples"][1]["error"] < 0.01, "120 times a second, seen 100 times: 20 beats a second cancel out"
    words = under.run("lamp", "flicker", "--mains", 50).out
    assert "cannot show it" in " ".join(words.split()) and "as the wire format asks" in words and "60 Hz" not in words
    assert json.loads(under.call("lamp", "flicker", "--over", 100, "--json").out)["ripples"][0]["error"] < 1e-9
