"""A daemon with a place whose journal knows clear days: what is told of the light at a start and at a press.

The light is invented: past days are the model's clear sky, the sensor's now is steady at a share of it.
"""

from __future__ import annotations

import time
from pathlib import Path

import msgspec
import numpy as np
from support.bench import RunningBench
from support.ptynode import Lamp

from uvdose.clock import Epoch
from uvdose.config import load_settings
from uvdose.dose.response import identity_of, response_of
from uvdose.journal.pack import pack
from uvdose.journal.recorder import Recorder
from uvdose.journal.schema import open_writing
from uvdose.light.outlook import clear_light
from uvdose.model import MomentReading
from uvdose.placed import band_of, spot_of

PACE = 60.0
LEVEL = 0.8  # of the model's clear sky: what this sensor reads
SHARE = 0.3  # out of the beam: a third of a clear sky is scattered under a high sun (check values: .35 at air mass 1)


def _settings(node: Path) -> str:
    longitude = (12.0 - time.time() % 86400 / 3600) * 15.0
    return (
        f'[bench]\nname = "bindery"\nlatitude = 0.0\nlongitude = {(longitude + 180) % 360 - 180:.2f}\n[[sensor]]\n'
        f'name = "sill"\nlink = "serial"\nport = "{node}"\nscale = 0.01\nfull_scale = 1000000\npart = "GUVA-S12SD"\n'
    )


def _past_days(bench: RunningBench, days: int = 2) -> float:
    """Writes clear days into the journal; returns what the sensor would say of the clear sky of now, in counts."""
    settings = load_settings(bench.home)
    sensor, spot, now_s = settings.sensor[0], spot_of(settings.bench), time.time()
    times = now_s - 3600.0 - days * 86400.0 + 60.0 * np.arange(days * 1440)
    clear = LEVEL * clear_light(spot, np.append(times, now_s), band_of(sensor)) / response_of(sensor).factor
    db = open_writing(bench.home.journal_file)
    t_us = [60_000_000 * k for k in range(len(times))]
    rows = [(at, MomentReading(value)) for at, value in zip(t_us, clear[:-1].tolist(), strict=True)]
    wall_us = int(times[0] * 1e6)
    statements = Recorder(db, lambda at: wall_us + at).sensor(identity_of(sensor))
    for number, first in enumerate(range(0, len(rows), 60), 1):
        part = rows[first : first + 60]
        values = (number, 1, 2, part[0][0], part[-1][0], wall_us + part[0][0], len(part), pack(part))
        statements.append(("INSERT INTO chunk VALUES (?, ?, ?, ?, ?, ?, ?, ?)", values))
    then = Epoch("another boot", 1.0, 0, 0, wall_us)
    statements.append(("INSERT INTO epoch (epoch) VALUES (?)", (msgspec.json.encode(then).decode(),)))
    db.execute("BEGIN")
    for sql, bound in statements:
        db.execute(sql, bound)
    db.execute("COMMIT")
    db.close()
    return float(clear[-1])


def test_shade_is_asked_for_and_a_press_tells_what_the_light_asks_for(tmp_path: Path) -> None:
    bench = RunningBench(tmp_path / "home", _settings(tmp_path / "node"), PACE)
    lamp = Lamp(tmp_path / "node", pace=PACE)
    lamp.counts = SHARE * _past_days(bench)

    def told(number: int) -> list[str]:
        return [e["line"] for e in bench.events(number) if e["event"] == "light"]

    with lamp, bench:
        bench.wait_live("sill")
        bench.target("blue", 1000.0, proved_light={"air_mass": 3.0}, overshoots=[])
        numbers: list[int] = []

        def asks() -> bool:
            taken = bench.ask("POST", "/exposures", {"target": "blue", "frame": "1"})
            numbers.append(taken["exposure"]["id"])
            seems = taken["seems"]
            if seems is None:
                bench.act(numbers[-1], "finish")
                time.sleep(0.5)
                return False
            assert seems["light_in"] == "shade" and abs(seems["share"] - SHARE) < 0.01
            assert "30 % of a clear sky's though it is steady" in seems["words"]
            assert taken["exposure"]["state"] == "counting", "it asks, and decides nothing"
            return True

        bench.wait_for(asks, 40, "five steady minutes, and the clear sky of the days before")
        assert len(numbers) > 1, "without five minutes nothing is guessed"
        bench.wait_for(lambda: len(told(numbers[-1])) == 2, 5, "both are events")
        assert "`--correct` aims for it" in told(numbers[-1])[0] and "in the shade?" in told(numbers[-1])[1]
        bench.act(numbers[-1], "finish")
        said = bench.ask("POST", "/exposures", {"target": "blue", "frame": "1", "light_in": "shade"})
        assert said["seems"] is None, "it is as was said"
        bench.act(said["exposure"]["id"], "finish")
        bench.target("blue", 1000.0, correct=True, proved_light={"air_mass": 3.0}, overshoots=[])
        time.sleep(0.5)  # a press at the moment of an act might be meant for the act
        lamp.press()
        number = said["exposure"]["id"] + 1
        bench.wait_for(lambda: len(told(number)) == 2, 8, "the press began it, and the light is told")
        begun = bench.exposure(number)
        assert begun["correction_stops"] > 0.03 and "it is corrected" in told(number)[0], "as the target says"
    assert bench.process is not None and bench.process.returncode == 0
