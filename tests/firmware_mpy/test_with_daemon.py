"""The reference firmware and `uvdose serve`, each in its own process, on a real broker. The light is invented."""

from __future__ import annotations

from pathlib import Path

from support.bench import RunningBench
from support.broker import Broker
from support.micronode import Ear, MicroNode

ARMED = 2
SLACK_MS, CHANGING_MS, LATE_MS = 25, 100, 250  # see test_live

SETTINGS = """
[bench]
name = "bindery"

[[sensor]]
name = "sill"
link = "mqtt"
topic = "uv/sill"
format = "native"
unit = "counts"
full_scale = 65535

[mqtt]
port = {port}
"""


def test_a_print_by_a_board(tmp_path: Path) -> None:
    """Light falls between two dark stretches, so that any cut in the dark gives the same: the difference of registers.

    The buzz of the daemon comes out of the board's pin. In between the broker is gone for a while: nothing is lost.
    """
    with Broker() as broker, Ear(broker.port, "uv/sill") as ear, MicroNode(
        tmp_path / "node", broker.port, part="as7331"
    ) as node, RunningBench(tmp_path / "home", SETTINGS.format(port=broker.port)) as bench:  # fmt: skip
        bench.wait_live("sill")
        bench.target("endpaper", 1000, unit="counts.s", lead_s=0)
        before = ear.next()
        number = bench.expose("endpaper")
        assert ear.next().register == before.register
        assert node.edges() == []
        node.light((0, 500), (4000, 0))
        ear.next(3)
        broker.kill()
        broker.start()
        bench.wait_for(lambda: bench.exposure(number)["state"] == "reached", 20, "the target")
        bench.wait_for(lambda: len(node.edges()) > 2, 10, "the daemon's call on the board's pin")
        bench.wait_for(lambda: ear.readings[-1].flags & 1, 5, "the board says that it sounds")
        bench.ask("POST", "/quiet")
        bench.wait_for(lambda: not ear.readings[-1].flags & 1, 5, "quiet on the board")
        bench.wait_for(lambda: ear.readings[-1].level_milli == 0 and ear.next().level_milli == 0, 10, "dark again")
        after = ear.next()
        bench.act(number, "finish")
        bench.wait_for(lambda: bench.exposure(number)["state"] == "finished", 10, "finished")
        found = bench.exposure(number)
        given = (after.register - before.register) / 1000
        assert found["unit"] == "counts.s" and abs(found["dose"] - given) < 1e-9 * given
        assert found["missing_s"] == 0 and given > 1000
        assert {r.boot for r in ear.readings} == {before.boot}
        first_ms = node.readouts()[0][0]
        truth = node.total(first_ms, first_ms + after.uptime_ms) / 1000
        assert abs(given - truth) < 0.5 * CHANGING_MS


def test_a_print_while_the_sensor_is_lost(tmp_path: Path) -> None:
    """A board that cannot read its sensor says nothing, and begins anew: the hole is bridged, and said to be so.

    What was counted on both sides of it is measured, and no zero is counted in between.
    """
    with Broker() as broker, Ear(broker.port, "uv/sill") as ear, MicroNode(
        tmp_path / "node", broker.port, part="as7331"
    ) as node, RunningBench(tmp_path / "home", SETTINGS.format(port=broker.port)) as bench:  # fmt: skip
        node.light(500)
        bench.wait_live("sill")
        bench.target("endpaper", 90_000, unit="counts.s", lead_s=0)
        number = bench.expose("endpaper")
        ear.next(4)
        node.order("fail -1")
        bench.wait_for(lambda: "nothing answers" in node.said, 10, "the fault")
        boot = ear.readings[-1].boot
        bench.wait_for(lambda: bench.sensor("sill")["state"] == "silent", 30, "the daemon's alarm of silence")
        node.order("fail 0")
        bench.wait_live("sill")
        ear.next(4)
        bench.act(number, "finish")
        bench.wait_for(lambda: bench.exposure(number)["state"] == "finished", 10, "finished")
        found = bench.exposure(number)
        assert next(r for r in ear.readings if r.boot != boot).register == 0
        assert found["bridged_s"] + found["missing_s"] > 2 and found["measured_s"] > 1
        # The light never changed: any zero in it would show.
        assert abs(found["dose"] - 500 * (found["measured_s"] + found["bridged_s"])) < 500 * 0.2
        told = [(e["event"], e.get("sensor")) for e in bench.events()]
        assert ("alarm", "sill") in told and ("gap", "sill") in told, told


def test_the_daemon_is_killed_and_the_board_calls(tmp_path: Path) -> None:
    """Armed by the daemon over the broker; the call comes at the target's register, and is found later."""
    with Broker() as broker, Ear(broker.port, "uv/sill") as ear, MicroNode(
        tmp_path / "node", broker.port
    ) as node, RunningBench(tmp_path / "home", SETTINGS.format(port=broker.port)) as bench:  # fmt: skip
        bench.wait_live("sill")
        bench.target("endpaper", 1200, unit="counts.s", lead_s=0)
        before = ear.next()
        number = bench.expose("endpaper")
        bench.wait_for(lambda: ear.readings[-1].flags & ARMED, 10, "armed")
        node.light(500)
        bench.wait_for(lambda: ear.readings[-1].level_milli == 500_000, 10, "light")
        bench.kill()
        bench.wait_for(lambda: len(node.edges()) > 1, 20, "the board's own call")
        first_ms, edge = node.readouts()[0][0], node.edges()[0]
        given = node.total(first_ms, edge.ms) - before.register
        assert 1200_000 - 500 * SLACK_MS <= given <= 1200_000 + 500 * LATE_MS
        bench.start()
        bench.wait_for(lambda: bench.exposure(number)["state"] == "reached", 20, "the daemon sees that it was reached")
        bench.ask("POST", "/quiet")
        bench.wait_for(lambda: not ear.readings[-1].flags & 1, 10, "quiet on the board")
        bench.act(number, "finish")
        bench.wait_for(lambda: not ear.readings[-1].flags, 10, "disarmed")
        assert {r.boot for r in ear.readings} == {before.boot}


def test_the_broker_is_down_for_half_of_a_print(tmp_path: Path) -> None:
    """Armed by the daemon, the board calls with the network gone; then the dose is whole, and both moments are told."""
    with Broker() as broker, Ear(broker.port, "uv/sill") as ear, MicroNode(
        tmp_path / "node", broker.port
    ) as node, RunningBench(tmp_path / "home", SETTINGS.format(port=broker.port)) as bench:  # fmt: skip
        bench.wait_live("sill")
        bench.target("endpaper", 2500, unit="counts.s", lead_s=0)
        before = ear.next()
        number = bench.expose("endpaper")
        bench.wait_for(lambda: bench.exposure(number)["armed"], 10, "armed")
        node.light(500)
        bench.wait_for(lambda: bench.exposure(number)["fraction"] > 0.5, 20, "half of it")
        broker.kill()
        bench.wait_for(lambda: node.edges(), 20, "the board's own call")
        node.light(0)
        first_ms, edge = node.readouts()[0][0], node.edges()[0]
        broker.start()
        bench.wait_for(lambda: any(e["event"] == "self-call" for e in bench.events(number)), 20, "told")
        bench.wait_for(lambda: ear.readings[-1].level_milli == 0, 10, "dark")
        after = ear.next()
        bench.act(number, "finish")
        bench.wait_for(lambda: bench.exposure(number)["settled"], 10, "settled")
        found = bench.exposure(number)
        given = (after.register - before.register) / 1000
        assert abs(found["dose"] - given) < 1e-9 * given and found["missing_s"] == found["bridged_s"] == 0
        assert {"armed", "self-call", "reached", "finished"} <= {e["event"] for e in bench.events(number)}
        # The board says at what uptime it was: at the edge of its pin, as far as both clocks are read.
        told_us, line = (
            bench.store().db.execute("SELECT t_us FROM event WHERE event = 'self-call'").fetchone()[0],
            bench.store().acts(number)[-1].cut,
        )
        assert line.uptime_ms is not None
        assert abs((line.t_us - told_us) / 1000 - (line.uptime_ms - (edge.ms - first_ms))) < 2 * LATE_MS
