"""The light of now against that of the proof, with a real daemon: told at a start, aimed for where it is wanted, and
found again in all that looks back. The place is chosen so that the sun stands there as it should at the test's hour.
"""

from __future__ import annotations

import json
import math
import time
from datetime import UTC, datetime

import pytest

from uvdose.light.airmass import air_mass
from uvdose.light.sun import position
from uvdose.stamps import from_iso

from .conftest import SIMULATED, Daemon, Homed


def _bench(hours_after_noon: float) -> tuple[str, float]:
    """Settings of a bench on the equator, held to the sun, at which it is so late by the sun; and its longitude."""
    now = datetime.now(UTC)
    longitude = ((12 + hours_after_noon - now.hour - now.minute / 60) * 15 + 180) % 360 - 180
    place = f'latitude = 0.0\nlongitude = {longitude:.3f}\nfacing = "sun"\n'
    named = SIMULATED.replace('name = "bindery"\n', f'name = "bindery"\n{place}')
    return named.replace("scale = 0.0125\n", 'scale = 0.0125\npart = "GUVA-S12SD"\n'), longitude


def _until(daemon: Daemon, number: int, state: str) -> None:
    end = time.monotonic() + 20
    while next(e for e in daemon.told("status")["exposures"] if e["id"] == number)["state"] != state:
        assert time.monotonic() < end
        time.sleep(0.05)


def test_told_and_corrected(serve: object) -> None:
    daemon: Daemon = serve("low", _bench(4.5)[0])  # type: ignore[operator]
    daemon.wait_live()
    made = daemon.told("target", "set", "blue", "--dose", 300, "--air-mass", 1.0, "--lead", 0, "--no-overshoot")
    assert made["proved_light"]["air_mass"] == 1.0 and made["proved_light"]["toward_sun"]
    shown = " ".join(daemon.call("target", "show", "blue").out.split())
    assert "in the sun at air mass 1.00, held to the sun" in shown
    assert "now the sun stands lower than when blue was proved" in shown and "too little against the paper" in shown

    begun = daemon.call("expose", "blue")
    said = " ".join(begun.out.split())
    assert begun.code == 0 and "light the sun stands lower than when blue was proved" in said
    assert f"`--correct` aims for it, `uvdose target correct blue on --home {daemon.folder}` always" in said
    assert "aims at" not in said and "target blue v1, 300.0 mJ/cm²" in said

    corrected = " ".join(daemon.call("expose", "blue", "--correct", "--frame", 2).out.split())
    assert "target blue v1, 300.0 mJ/cm²; it aims at" in corrected and "it is corrected" in corrected
    _until(daemon, 1, "reached")
    plain, aimed = daemon.told("status")["exposures"]
    assert (plain["target_dose"], plain["target_dose_raw"], plain["correction_stops"]) == (300.0, 300.0, 0.0)
    assert aimed["target_dose_raw"] == 300.0 and aimed["correction_stops"] < -0.1
    assert aimed["target_dose"] == pytest.approx(300.0 * 2 ** aimed["correction_stops"])
    called = _reached(daemon)
    assert called[2] == pytest.approx(aimed["target_dose"]) and called[1] == pytest.approx(300.0)
    for number in (1, 2):
        assert daemon.call("finish", number).code == 0

    assert daemon.call("target", "correct", "blue", "on").out == (
        "target blue v2: its prints aim for the same effect in the light of their time\n"
    )
    daemon.call("target", "correct", "blue", "on").refused(4, "corrected already")
    again = daemon.told("expose", "blue")
    assert again["target_version"] == 2
    assert again["correction_stops"] == pytest.approx(aimed["correction_stops"], abs=0.02)
    out = " ".join(daemon.call("expose", "blue", "--no-correct", "--frame", 2).out.split())
    assert "not corrected: `--correct` aims for it" in out
    for number in (3, 4):
        assert daemon.call("finish", number).code == 0
    _settled(daemon)

    day = " ".join(daemon.call("day").out.split())
    assert f"aimed {aimed['correction_stops']:+.2f} stop from the target's 300.0 mJ/cm², for the light" in day
    for number in (1, 2, 3, 4):
        assert daemon.told("recount", number)["same"], number
    rows = daemon.run("export", "--what", "exposures", "--format", "csv").out.splitlines()
    assert "target_dose_raw [mJ/cm2]" in rows[0] and "correction_stops [stops]" in rows[0]
    differ = daemon.call("target", "diff", "blue").out
    assert "corrected" in differ and "yes" in differ


def _reached(daemon: Daemon) -> dict[int, float]:
    found = [json.loads(line) for line in daemon.run("events", "--json").out.splitlines()]
    return {e["exposure"]: e["dose"] for e in found if e["event"] == "reached"}


def _settled(daemon: Daemon) -> None:
    end = time.monotonic() + 20
    while not all(e["settled"] for e in daemon.told("status")["exposures"]):
        assert time.monotonic() < end
        time.sleep(0.05)


def test_a_strip_s_target_remembers_the_light_of_its_middle(serve: object) -> None:
    settings, longitude = _bench(1.0)
    daemon: Daemon = serve("strip", settings)  # type: ignore[operator]
    daemon.wait_live()
    daemon.told("strip", "plan", "--first", 100, "--step", 1, "--count", 2, "--through-film")
    assert daemon.call("strip", "run", "1", "--no-wait", "--count-in", "0", "--light-in", "shade").code == 0
    _until(daemon, 1, "reached")
    assert daemon.call("finish", 1).code == 0
    _settled(daemon)
    daemon.told("strip", "read", 1, "--right", 2)
    made = daemon.told("strip", "accept", 1, "--name", "blue")
    shown = daemon.told("strip", "show", 1)["exposure"]
    middle_s = (from_iso(shown["started_utc"]) + from_iso(shown["finished_utc"])) / 2e6
    sun = position(middle_s, 0.0, longitude)
    light = made["proved_light"]
    assert light["air_mass"] == pytest.approx(float(air_mass(sun.apparent_zenith_deg)), rel=1e-4)
    assert from_iso(light["utc"]) / 1e6 == pytest.approx(middle_s, abs=0.01)
    assert made["light_in"] == "shade"
    other = daemon.call("expose", "blue", "--light-in", "open")
    other.refused(4, "proved in shade", "printed in open light", "--override")
    daemon.call("expose", "blue", "--light-in", "cellar").refused(2, "open, shade, window")
    assert "sun" not in daemon.call("expose", "blue").out, "the same light: not a word"
    told = daemon.call("expose", "blue", "--light-in", "open", "--override", "--frame", 2)
    assert "the frame lies in the sun, and did not when blue was proved" in " ".join(told.out.split())
    assert "setting or light (proved in shade, printed in open light)" in " ".join(daemon.call("day").out.split())


def test_without_a_daemon_and_where_it_is_not_known(home: Homed) -> None:
    home.write(SIMULATED)
    blue = "target", "set", "blue", "--dose", 800
    home.call(*blue, "--proved-at", "2026-06-21T12:30").refused(4, "where the bench stands")
    for wrong in (0.4, 10.5, "nan"):
        home.call(*blue, "--air-mass", wrong).refused(2, "air mass")
    home.call(*blue, "--air-mass", 1, "--proved-at", "12:30").refused(2, "leave one out")
    assert home.told("target", "set", "blue", "--dose", 800)["proved_light"] is None
    on = home.call("target", "correct", "blue", "on", "--reason", "the window bench")
    assert on.code == 0 and "v2" in on.out and "nothing is corrected yet" in on.err
    shown = " ".join(home.call("target", "show", "blue").out.split())
    assert "not corrected: the settings do not say where the bench stands" in shown and "the window bench" in shown
    home.write(_bench(0.0)[0])
    for wrong, code in (("yesterday", 2), ("2999-06-21T12:30", 2)):
        home.call("target", "correct", "blue", "on", "--proved-at", wrong).refused(code, wrong)
    at = datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    made = home.told("target", "correct", "blue", "on", "--proved-at", at)
    assert made["version"] == 3 and made["dose"] == 800 and made["proved_light"]["utc"].startswith(at[:-1])
    # Noon on the equator: the sun stands no lower than the tropics are away.
    assert 1.0 <= made["proved_light"]["air_mass"] + 1e-3 <= 1 / math.cos(math.radians(24.5))
    off = home.call("target", "correct", "blue", "off")
    assert off.out == "target blue v4: its prints aim at its dose as it stands\n"
    assert home.told("target", "show", "blue")[-1]["proved_light"] == made["proved_light"]
    assert home.told("target", "set", "blue", "--dose", 810)["proved_light"] is None
