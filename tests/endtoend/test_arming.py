"""A node that calls by itself, and its button: real daemon, real pty, the simulated node as the far end."""

from __future__ import annotations

import time
from pathlib import Path

import pytest
from support.bench import RunningBench
from support.ptynode import Lamp

SENSOR = '[[sensor]]\nname = "sill"\nlink = "serial"\nport = "{port}"\nscale = 0.01\nfull_scale = 1000000\n'


def _lamp(folder: Path, counts: float = 400.0, **more: object) -> Lamp:
    lamp = Lamp(folder / "node", rate_hz=5.0, **more)
    lamp.counts = counts
    return lamp


def _bench(folder: Path, more: str = "") -> RunningBench:
    return RunningBench(folder / "home", SENSOR.format(port=folder / "node") + more)


def _armed(lamp: Lamp) -> list[tuple[int, int]]:
    """Slot and register of each `arm` that was heard."""
    said = [line.partition(b"*")[0].split() for line in lamp.heard]
    return [(int(words[1]), int(words[2])) for words in said if words and words[0] == b"arm"]


def _pressed(bench: RunningBench) -> list[str]:
    """What each press did, or why it did nothing."""
    return [e.get("what") or e["line"] for e in bench.events() if e["event"] == "pressed"]


def _wait_told(bench: RunningBench, event: str, number: int) -> None:
    bench.wait_for(lambda: any(e["event"] == event for e in bench.events(number)), 8, event)


def _register_of(bench: RunningBench, number: int, target_mj_cm2: float) -> float:
    """By hand: the register at the start, and the target in counts x ms at 0.01 mW/cm² a count."""
    start = bench.store().acts(number)[0].cut.register
    assert start is not None
    return start + target_mj_cm2 / 0.01 * 1000


def test_killed_in_mid_exposure_the_node_calls_at_the_right_register(tmp_path: Path) -> None:
    with _lamp(tmp_path) as lamp, _bench(tmp_path) as bench:
        bench.wait_live("sill")
        bench.target("blue", 16.0, lead_s=0)  # 4 s at 4 mW/cm²
        number = bench.expose("blue")
        bench.wait_for(lambda: bench.exposure(number)["armed"], 3, "armed")
        time.sleep(0.5)
        bench.kill()
        lamp.counts = 700.0  # a dose is not a time
        bench.wait_for(lambda: lamp.buzzes, 8, "the node calls")
        time.sleep(1.2)
        sounded = lamp.buzzes[0]
        assert sounded.pattern == 4
        bench.start()
        aim = _register_of(bench, number, 16.0)
        assert aim - 80 <= sounded.register <= aim + 80 + 700, "at the first ms that reaches it"
        bench.wait_for(lambda: bench.exposure(number)["state"] == "reached", 5, "found reached")
        bench.wait_for(lambda: len(lamp.buzzes) > 1, 5, "the daemon calls, too")
        bench.ask("POST", "/quiet", {})
        bench.wait_for(lambda: lamp.node.flags == 0, 3, "disarmed and quiet")
        bench.act(number, "finish")
        bench.wait_for(lambda: bench.exposure(number)["settled"], 3, "settled")
        bench.wait_for(lambda: all(a.refined for a in bench.store().acts(number)), 3, "both fixed on a line")
        acts = bench.store().acts(number)
        begin, end = acts[0].cut.register, acts[-1].cut.register
        assert begin is not None and end is not None
        assert bench.exposure(number)["dose"] == pytest.approx((end - begin) / 1000 * 0.01, rel=1e-9)
        assert bench.exposure(number)["missing_s"] == bench.exposure(number)["bridged_s"] == 0
        events = {e["event"]: e for e in bench.events(number)}
        assert {"armed", "self-call", "reached"} <= set(events), "the journal tells both moments"
        # When it called is the node's own word, though nobody listened: its uptime, carried over to dose time.
        finish = bench.store().acts(number)[-1].cut
        at_s = (finish.t_us / 1e6) - (finish.uptime_ms - sounded.at_ms) / 1000
        told = next(t for t, in bench.store().db.execute("SELECT t_us FROM event WHERE event = 'self-call'"))
        assert told / 1e6 == pytest.approx(at_s, abs=0.05)
        assert events["armed"]["register"] == pytest.approx(aim, abs=16 / 0.01 * 1000 / 20_000)


def test_hold_resume_zero_and_finish_move_what_is_armed(tmp_path: Path) -> None:
    with _lamp(tmp_path, zero=20.0) as lamp, _bench(tmp_path, "zero = 20.0\n") as bench:
        bench.wait_live("sill")
        bench.target("blue", 400.0, lead_s=0)  # 100 s
        number = bench.expose("blue")
        bench.wait_for(lambda: bench.exposure(number)["armed"], 3, "armed")
        start = bench.store().acts(number)[0].cut.register
        assert start is not None
        # 400 mJ/cm² at 0.01 a count and 400 net counts: 100 s, in which 20 counts of dark are read as well.
        assert _armed(lamp)[-1][1] - start == pytest.approx(100_000 * 420, rel=2e-3)
        lamp.counts = 200.0
        bench.wait_for(lambda: len(_armed(lamp)) > 1, 5, "armed anew for darker light")
        bench.act(number, "hold")
        bench.wait_for(lambda: lamp.node.flags & 6 == 0, 3, "disarmed")
        bench.wait_for(lambda: not bench.exposure(number)["armed"], 3, "its answer heard")
        time.sleep(1.0)
        bench.act(number, "resume")
        bench.wait_for(lambda: lamp.node.flags & 6 == 2, 3, "armed again")
        held = bench.store().acts(number)
        a, b, c = (act.cut.register for act in held)
        assert a is not None and b is not None and c is not None
        whole_ms = 400 / 0.01 / 200 * 1000  # at the light of now, were it all done in it
        counted = (b - a) - 20 * ((held[1].cut.uptime_ms or 0) - (held[0].cut.uptime_ms or 0))
        left_ms = whole_ms - counted / 200
        aim = c + left_ms * 220
        bench.wait_for(lambda: abs(_armed(lamp)[-1][1] - aim) < 3e-3 * (aim - c), 4, "at the right value")
        bench.act(number, "finish")
        bench.wait_for(lambda: lamp.node.flags & 6 == 0, 3, "disarmed")


def test_five_prints_on_one_sensor_have_four_slots(tmp_path: Path) -> None:
    with _lamp(tmp_path) as lamp, _bench(tmp_path) as bench:
        bench.wait_live("sill")
        bench.target("blue", 1e6, lead_s=0)
        ids = [bench.expose("blue", frame=f"f{i}") for i in range(5)]
        bench.wait_for(lambda: sum(bench.exposure(i)["armed"] for i in ids) == 4, 5, "four armed")
        assert {slot for slot, _ in _armed(lamp)} == {0, 1, 2, 3}
        assert "4 of 5" in bench.sensor("sill")["unarmed"]
        bench.act(ids[0], "finish")
        bench.wait_for(lambda: all(bench.exposure(i)["armed"] for i in ids[1:]), 5, "the fifth has the free slot")
        assert bench.sensor("sill")["unarmed"] == ""


def test_two_prints_that_reach_one_after_the_other_are_both_told(tmp_path: Path) -> None:
    with _lamp(tmp_path), _bench(tmp_path) as bench:
        bench.wait_live("sill")
        bench.target("first", 8.0, lead_s=0)
        bench.target("second", 14.0, lead_s=0)
        ids = [bench.expose(name, frame=name) for name in ("first", "second")]
        for number in ids:
            _wait_told(bench, "self-call", number)
        time.sleep(1.0)
        told = [e["exposure"] for e in bench.events() if e["event"] == "self-call"]
        assert told == ids, "each once"
        for number in ids:
            at_us = dict(bench.store().db.execute(
                "SELECT event, t_us FROM event WHERE exposure = ? AND event IN ('self-call', 'reached')", (number,)
            ))  # fmt: skip
            assert abs(at_us["self-call"] - at_us["reached"]) < 100_000, "node and daemon see it at the same moment"


@pytest.mark.parametrize("power", [True, False])
def test_a_node_that_lost_its_slots_is_armed_again(tmp_path: Path, power: bool) -> None:
    with _lamp(tmp_path) as lamp, _bench(tmp_path) as bench:
        bench.wait_live("sill")
        bench.target("blue", 1e6, lead_s=0)
        number = bench.expose("blue")
        bench.wait_for(lambda: bench.exposure(number)["armed"], 3, "armed")
        first = len(_armed(lamp))
        if power:
            lamp.unplug()
            time.sleep(0.3)
            lamp.plug()
        else:
            time.sleep(3.2)
            lamp.node.command(b"disarm 0*555E\n", lamp.now_ms())  # as if it had forgotten
        bench.wait_for(lambda: len(_armed(lamp)) > first, 8, "armed again")


def test_the_button_holds_resumes_quiets_and_begins(tmp_path: Path) -> None:
    with _lamp(tmp_path) as lamp, _bench(tmp_path) as bench:
        bench.wait_live("sill")
        bench.target("blue", 12.0, lead_s=0)
        number = bench.expose("blue", frame="north")

        def state() -> str:
            return str(bench.exposure(number)["state"])

        time.sleep(0.3)  # a press at the moment of a start might be meant for the start
        lamp.press()
        bench.wait_for(lambda: state() == "held", 4, lambda: f"held; {_pressed(bench)}")
        line = next(s for s in lamp.sent if s.line.split(b",")[7] == b"1")
        bench.wait_for(lambda: len(bench.store().acts(number)) == 2, 2, "written")
        assert bench.store().acts(number)[1].cut.register == line.register, "the hold lies on the press's own line"
        lamp.press()
        bench.wait_for(lambda: state() == "counting", 2, "resumed")
        bench.wait_for(lambda: state() == "reached", 6, "reached")
        lamp.press()
        bench.wait_for(lambda: any(e["event"] == "quieted" for e in bench.events(number)), 3, "quieted")
        assert state() == "reached", "the press that ends the call does nothing else"
        lamp.press()
        bench.wait_for(lambda: state() == "held", 4, lambda: f"held; {_pressed(bench)}")
        bench.act(number, "finish")
        lamp.press()
        bench.wait_for(lambda: any(e["id"] != number for e in bench.ask("GET", "/status")["exposures"]), 3, "begun")
        again = next(e for e in bench.ask("GET", "/status")["exposures"] if e["id"] != number)
        assert (again["target"], again["frame"], again["state"]) == ("blue", "north", "counting")
        bench.wait_for(lambda: len(_pressed(bench)) == 5, 3, "each press told")
        assert _pressed(bench) == ["hold", "resume", "quiet", "hold", "start"]


def test_a_press_that_can_mean_nothing_is_told_and_sounds(tmp_path: Path) -> None:
    with _lamp(tmp_path) as lamp, _bench(tmp_path) as bench:
        bench.wait_live("sill")
        lamp.press()
        bench.wait_for(lambda: any(b.pattern == 6 for b in lamp.buzzes), 3, "it sounds that nothing was done")
        bench.target("blue", 1e6, lead_s=0)
        ids = [bench.expose("blue", frame=f) for f in ("a", "b")]
        lamp.press()
        bench.wait_for(lambda: sum(b.pattern == 6 for b in lamp.buzzes) == 2, 3, "and once more")
        lines = [e["line"] for e in bench.events() if e["event"] == "pressed"]
        assert "nothing was printed lately" in lines[0] and "several prints" in lines[1]
        assert all(bench.exposure(i)["state"] == "counting" for i in ids)


def test_a_press_while_the_daemon_was_away_acts_on_nothing(tmp_path: Path) -> None:
    with _lamp(tmp_path) as lamp, _bench(tmp_path) as bench:
        bench.wait_live("sill")
        bench.target("blue", 1e6, lead_s=0)
        number = bench.expose("blue")
        time.sleep(1.2)
        bench.kill()
        time.sleep(1.0)
        lamp.press()
        time.sleep(1.5)
        bench.start()
        bench.wait_for(lambda: any(e["event"] == "pressed" for e in bench.events()), 5, "told")
        assert "nobody knows when" in next(e["line"] for e in bench.events() if e["event"] == "pressed")
        assert bench.exposure(number)["state"] == "counting"


