"""A target whose sensor has changed: told where it is shown, refused at the frame, taken on by the person alone."""

from __future__ import annotations

import json
from pathlib import Path

from .conftest import SIMULATED, Daemon, Homed

AT_NOON = "--reason", "same print, same day"


def _change(home: Homed, was: str, now: str) -> None:
    path = home.folder / "uvdose.toml"
    text = path.read_text()
    assert was in text
    path.write_text(text.replace(was, now))


def test_without_a_daemon(home: Homed) -> None:
    home.write(SIMULATED)
    home.call("target", "set", "blue", "--dose", 800, "--process", "iron blue", "--look", "0.5")
    assert "void" not in home.call("target", "show", "blue").out
    home.call("target", "confirm", "blue", *AT_NOON).refused(4, "nothing to confirm")
    _change(home, "full_scale = 1023", "full_scale = 4095")
    shown = home.call("target", "show", "blue").out
    assert "void for the sensor as it is now: full_scale was 1023.0, is 4095.0" in shown
    assert f"`uvdose target confirm blue --home {home.folder}`" in shown
    assert "v1, void" in home.call("target", "list").out
    assert home.told("target", "show", "blue")[-1]["void"] == ["full_scale was 1023.0, is 4095.0"]
    home.call("target", "confirm", "blue").refused(2, "--reason")
    assert home.call("target", "confirm", "blue", *AT_NOON).out == (
        "target blue v2: 800.0 mJ/cm², the same dose, for sensor sill as it is now\n"
    )
    versions = home.told("target", "show", "blue")
    assert versions[0]["identity"]["full_scale"] == 1023.0 and versions[1]["identity"]["full_scale"] == 4095.0
    assert versions[1]["reason"] == (
        "confirmed for sensor sill as it is now (full_scale was 1023.0, is 4095.0): same print, same day"
    )
    assert versions[1]["void"] == [] and versions[1]["calls"] == versions[0]["calls"]
    assert versions[1]["combination"] == versions[0]["combination"] and versions[1]["made_utc"]


def test_a_scale_that_changed_asks_what_is_meant(home: Homed) -> None:
    """The same light reads more under a larger scale: a dose keeps its meaning when it is multiplied by their ratio."""
    home.write(SIMULATED)
    home.call("target", "set", "blue", "--dose", 800)
    home.call("target", "set", "brown", "--dose", 300)
    home.call("target", "confirm", "blue", *AT_NOON, "--convert").refused(4, "nothing to confirm")
    _change(home, "scale = 0.0125", "scale = 0.015")
    home.call("target", "confirm", "blue", *AT_NOON).refused(4, "--convert", "--same-dose")
    assert "960.0 mJ/cm², carried over from 800.0" in home.call("target", "confirm", "blue", *AT_NOON, "--convert").out
    assert home.told("target", "confirm", "brown", *AT_NOON, "--same-dose")["dose"] == 300
    _change(home, "scale = 0.015\n", "")
    home.call("target", "confirm", "blue", *AT_NOON, "--same-dose").refused(4, "another unit")
    made = home.told("target", "confirm", "blue", *AT_NOON, "--convert")
    assert made["unit"] == "counts.s" and abs(made["dose"] - 64000) < 1e-6


def test_what_nothing_confirms(home: Homed) -> None:
    home.write(SIMULATED)
    home.call("target", "confirm", "grey", *AT_NOON).refused(4, "no journal")
    home.call("target", "set", "blue", "--dose", 800)
    home.call("target", "confirm", "grey", *AT_NOON).refused(4, "no target 'grey'")
    settings = (home.folder / "uvdose.toml").read_text()
    home.write("[[sensor")
    assert "v1" in home.call("target", "list").out and "v1" in home.call("target", "show", "blue").out
    home.write(settings)
    _change(home, "scale = 0.0125", 'scale = 0.0125\nlight = "lamp"')
    home.call("target", "confirm", "blue", *AT_NOON).refused(4, "light was sun, is lamp", "calibration print")
    _change(home, 'name = "sill"', 'name = "porch"')
    home.call("target", "confirm", "blue", *AT_NOON).refused(4, "sensor sill", "not in the settings")
    assert "no sensor sill is set up" in home.call("target", "show", "blue").out
    home.call("target", "retire", "blue", "--reason", "old paper")
    home.call("target", "confirm", "blue", *AT_NOON).refused(4, "is retired (old paper)")


def test_at_the_frame(tmp_path: Path, serve: object) -> None:
    """A gain that was changed on the board voids what was proved with it, until the person says otherwise."""
    daemon: Daemon = serve("bench")  # type: ignore[operator]
    daemon.wait_live()
    daemon.run("target", "set", "blue", "--dose", 5000)
    assert daemon.call("expose", "blue").code == 0
    daemon.run("finish", 1)
    assert daemon.stop().code == 0
    _change(daemon, "scale = 0.0125", "scale = 0.02")
    daemon = serve("bench", (daemon.folder / "uvdose.toml").read_text())  # type: ignore[operator]
    daemon.wait_live()
    daemon.run("expose", "blue").refused(4, "scale was 0.0125, is 0.02", "`uvdose target confirm blue --home")
    assert daemon.call("target", "confirm", "blue", *AT_NOON, "--convert").code == 0
    begun = json.loads(daemon.call("expose", "blue", "--json").out)
    assert begun["target_version"] == 2 and begun["target_dose"] == 8000
    _change(daemon, "scale = 0.02", 'scale = 0.02\nmount = "upright"')  # the daemon takes that at its next start alone
    daemon.run("target", "confirm", "blue", *AT_NOON, "--same-dose").refused(4, "sensor sill.mount", "start it again")
    assert len(daemon.told("target", "show", "blue")) == 2
