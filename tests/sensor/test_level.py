"""`sensor level` with a person at a real terminal, beside a node on a real pty whose light the test tips."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from cli.conftest import Daemon, argv, environment
from support.screentalk import ScreenTalk

from uvdose.config import Home
from uvdose.journal.schema import open_reading
from uvdose.journal.store import Store
from uvdose.light.level import tipped
from uvdose.light.plane import HORIZONTAL
from uvdose.notes import Levelled

from .conftest import PACE, Quiet, settings

ZERO = 12.0


@pytest.fixture
def afternoon(tmp_path: object, lamp: Quiet) -> object:
    """A flat bench on the equator at about three by the sun; its sensor knows its zero."""
    now = datetime.now(UTC)
    longitude = ((15 - now.hour - now.minute / 60) * 15 + 180) % 360 - 180
    text = settings(tmp_path).replace("zero = 0.0 ", f"zero = {ZERO} ")  # type: ignore[arg-type]
    place = f"latitude = 0.0\nlongitude = {longitude:.2f}\n"
    running = Daemon(tmp_path / "home", text.replace('name = "bindery"\n', f'name = "bindery"\n{place}'), PACE)  # type: ignore[operator]
    try:
        running.wait_live()
        yield running
    finally:
        running.stop()


def _turned(bench: Daemon, lamp: Quiet, levels: tuple[float, float, float]) -> ScreenTalk:
    talk = ScreenTalk(argv("sensor", "level", "--home", bench.folder), environment(TERM="xterm"))
    prompts = ("as it does for a print, and press Enter", "half a turn on the spot, and press Enter", "turn it back")
    for prompt, level in zip(prompts, levels, strict=True):
        talk.wait_for(prompt)
        lamp.counts = level
        talk.send("\r")
    return talk


def test_a_lean_is_told_and_kept(afternoon: Daemon, lamp: Quiet) -> None:
    told = afternoon.told("sensor", "level")
    mass = told["air_mass"]
    (row,) = [r for r in told["costs"] if r["degrees"] == 10]
    assert row["toward"] == pytest.approx(tipped(mass, HORIZONTAL, 10.0).over) and row["toward"] > 0.05
    assert "next: call it in a terminal" in afternoon.call("sensor", "level").out
    shown = afternoon.call("sensor", "level", "--no-turn").out
    assert "next:" not in shown
    assert f"10 degrees off toward the sun: {100 * row['toward']:.0f} % too much; the other way:" in shown

    # A lean of 8 degrees, as the housing of a good diffuser sees it.
    toward, away = (400 * (1 + tipped(mass, HORIZONTAL, 8.0, way).over) for way in (0.0, 180.0))
    talk = _turned(afternoon, lamp, (toward, away, toward))
    try:
        talk.wait_for(r"sill leans [78].\d degrees toward the sun")
        talk.wait_for("which is steady enough")
        assert talk.wait() == 0
    finally:
        talk.close()
    note = Store(open_reading(Home(afternoon.folder).journal_file)).notes(Levelled)["sill"]
    assert note.low <= 8.0 <= note.high and note.degrees == pytest.approx(8.0, abs=0.5) and note.steady
    assert note.air_mass == pytest.approx(mass, rel=0.02) and 0 < note.over < 0.2


def test_a_sky_that_moved_says_nothing(afternoon: Daemon, lamp: Quiet) -> None:
    talk = _turned(afternoon, lamp, (400.0, 380.0, 450.0))
    try:
        talk.wait_for(r"the light itself changed by \+1[123] % meanwhile: too much")
        assert talk.wait() == 0
    finally:
        talk.close()


def test_what_it_needs(bench: Daemon) -> None:
    bench.call("sensor", "level").refused(4, "latitude and longitude")
    bench.call("sensor", "level", "--seconds", 0).refused(2, "--seconds 0")
    bench.call("sensor", "level", "roof").refused(2, "roof")
