"""A daemon with a place whose journal knows clear days: what is told of the light at a start and at a press."""

from __future__ import annotations

import time
from pathlib import Path

from support.bench import RunningBench
from support.clearpast import PACE, SHARE, past_days, settings_at_noon
from support.ptynode import Lamp


def test_shade_is_asked_for_and_a_press_tells_what_the_light_asks_for(tmp_path: Path) -> None:
    bench = RunningBench(tmp_path / "home", settings_at_noon(tmp_path / "node"), PACE)
    lamp = Lamp(tmp_path / "node", pace=PACE)
    lamp.counts = SHARE * past_days(bench)

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
