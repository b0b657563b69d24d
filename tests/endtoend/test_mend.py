"""What the person repairs afterwards, on a real daemon: the dose is what it would have been, and stays so."""

from __future__ import annotations

import time
from pathlib import Path

import pytest
from support.bench import Refused, RunningBench
from support.ptynode import PtyNode
from support.textboard import TextBoard

from uvdose.review.recount import recount

PACE = 20.0
SENSOR = 'scale = 0.01\nfull_scale = 1000000\n'


def _settings(folder: Path) -> str:
    return (
        f'[[sensor]]\nname = "node"\nlink = "serial"\nport = "{folder}/node"\n{SENSOR}'
        f'[[sensor]]\nname = "board"\nlink = "serial"\nport = "{folder}/board"\nformat = "number"\nunit = "W/m2"\n'
    )


def test_forgotten_and_mistaken_acts(tmp_path: Path) -> None:
    with (
        PtyNode(tmp_path / "node", [50.0] * 600, pace=PACE),
        TextBoard(tmp_path / "board", lambda s: 50.0, pace=PACE),
        RunningBench(tmp_path / "home", _settings(tmp_path), PACE) as bench,
    ):
        bench.wait_live("node", "board")
        bench.target("long", 1e6, lead_s=0)
        time.sleep(2.0)  # 40 s of light in the journal

        for name in ("node", "board"):
            number = bench.expose("long", sensor=name, frame=name, when={"ago_s": 30})
            assert 5 * 29.5 < bench.exposure(number)["dose"] < 5 * 40, "it began 30 s ago"
            bench.act(number, "hold")
            time.sleep(1.0)
            undone = bench.act(number, "undo")["exposure"]
            assert undone["state"] == "counting" and undone["dose"] > 5 * 48, "as if it had never been held"
            held = bench.ask("POST", f"/exposures/{number}/hold", {"ago_s": 10})["exposure"]
            assert held["state"] == "held"
            before = held["dose"]
            moved = bench.ask("POST", f"/exposures/{number}/move", {"act": "hold", "when": {"ago_s": 20}})["exposure"]
            assert before - moved["dose"] == pytest.approx(5 * 10, rel=0.1)
            bench.act(number, "resume")
            time.sleep(0.5)
            done = bench.act(number, "finish")["exposure"]["dose"]
            bench.wait_for(lambda n=number: bench.exposure(n)["settled"], 5, "settled")
            back = bench.act(number, "undo")["exposure"]
            assert back["state"] == "counting" and back["dose"] >= done
            bench.act(number, "finish")
            bench.wait_for(lambda n=number: bench.exposure(n)["settled"], 5, "settled")
            settled = bench.exposure(number)["dose"]
            time.sleep(1.0)
            out_again = bench.act(number, "again")["exposure"]
            assert out_again["state"] == "counting" and settled <= out_again["dose"] < settled + 5 * 20, "in a second"
            time.sleep(1.0)
            bench.act(number, "finish")
            bench.wait_for(lambda n=number: bench.exposure(n)["settled"], 5, "settled")
            final = bench.exposure(number)
            assert final["dose"] - settled == pytest.approx(5 * 20, rel=0.15)
            shaded = bench.ask("POST", f"/exposures/{number}/shade", {"since": {"ago_s": 12}, "until": {"ago_s": 5}})
            assert shaded["exposure"]["bridged_s"] == pytest.approx(7, abs=0.1)
            assert shaded["exposure"]["dose"] == pytest.approx(final["dose"], rel=1e-2), "the light was the same"
            assert recount(bench.store(), number).same
            with pytest.raises(Refused, match="overlaps"):
                bench.ask("POST", f"/exposures/{number}/shade", {"since": {"ago_s": 11}})
            with pytest.raises(Refused, match="order"):
                bench.ask("POST", f"/exposures/{number}/move", {"act": "finish", "when": {"ago_s": 300}})

        mistaken = bench.expose("long", sensor="node", frame="node")
        assert bench.act(mistaken, "undo")["exposure"]["state"] == "void"
        told = [e["event"] for e in bench.events(mistaken) if e["event"] != "armed"]
        assert told == ["started", "voided"]

        # All of it is still so after a kill.
        documents = {n: bench.exposure(n) for n in (1, 2)}
        bench.kill()
        bench.start()
        for number, document in documents.items():
            assert bench.exposure(number)["dose"] == document["dose"]
            assert recount(bench.store(), number).same


def test_a_start_named_in_a_stretch_without_readings_is_missing_or_bridged(tmp_path: Path) -> None:
    """The daemon was down for longer than can be bridged; a node that counted on does not say when its light fell."""
    with (
        PtyNode(tmp_path / "node", [50.0] * 600, pace=PACE),
        TextBoard(tmp_path / "board", lambda s: 50.0, pace=PACE),
        RunningBench(tmp_path / "home", _settings(tmp_path), PACE) as bench,
    ):
        bench.wait_live("node", "board")
        bench.target("long", 1e6, lead_s=0)
        time.sleep(1.0)
        bench.kill()
        time.sleep(4.0)  # 80 s
        bench.start()
        bench.wait_live("node", "board")
        for name in ("node", "board"):
            number = bench.expose("long", sensor=name, frame=name, when={"ago_s": 40})
            shown = bench.exposure(number)
            assert shown["missing_s"] > 5 and shown["bridged_s"] == 0
            assert shown["measured_s"] + shown["missing_s"] == pytest.approx(40, abs=5)
            assert shown["dose"] + shown["missing_dose"] == pytest.approx(5 * 40, rel=0.15)
            bench.ask("POST", f"/exposures/{number}/move", {"act": "start", "when": {"ago_s": 70}})
            assert bench.exposure(number)["missing_s"] > shown["missing_s"] + 20
            bench.act(number, "finish")
            bench.wait_for(lambda n=number: bench.exposure(n)["settled"], 5, "settled")
            assert recount(bench.store(), number).same


def test_a_call_that_a_repair_takes_back_comes_again(tmp_path: Path) -> None:
    with (
        PtyNode(tmp_path / "node", [50.0] * 600, pace=PACE) as node,
        RunningBench(tmp_path / "home", _settings(tmp_path), PACE) as bench,
    ):
        bench.wait_live("node")
        bench.target("quick", 250.0, lead_s=0, overshoots=[])
        number = bench.expose("quick", sensor="node")
        bench.wait_for(lambda: bench.exposure(number)["state"] == "reached", 10, "reached")
        bench.wait_for(lambda: any(b.pattern == 4 for b in node.buzzes), 5, "the call")
        bench.ask("POST", f"/exposures/{number}/move", {"act": "start", "when": {"ago_s": 15}})
        assert bench.exposure(number)["state"] == "counting", "15 s of light are 75 of 250 mJ/cm²"
        assert bench.exposure(number)["calls"] == []
        bench.wait_for(lambda: bench.exposure(number)["state"] == "reached", 10, "reached once more")
        assert [e["event"] for e in bench.events(number)].count("reached") == 2


def test_what_was_taken_back_before_it_began_stays_so(tmp_path: Path) -> None:
    """Its beat has passed meanwhile: waiting again for it would begin in light that was not counted."""
    with (
        PtyNode(tmp_path / "node", [50.0] * 600, pace=PACE),
        RunningBench(tmp_path / "home", _settings(tmp_path), PACE) as bench,
    ):
        bench.wait_live("node")
        bench.target("blue", 1e6, lead_s=0)
        number = bench.expose("blue", sensor="node", count_in_s=60)
        assert bench.act(number, "finish")["exposure"]["state"] == "void"
        with pytest.raises(Refused, match="taken back before it began"):
            bench.act(number, "undo")
        assert bench.exposure(number)["state"] == "void"


def test_begun_and_held_by_the_light_itself(tmp_path: Path) -> None:
    """The sensor rides on the frame: dark indoors, light for a minute, dark for a minute, light again."""
    table = [0.2, 50.0, 0.2, 50.0, 50.0]
    with (
        PtyNode(tmp_path / "node", table, pace=PACE) as node,
        RunningBench(tmp_path / "home", _settings(tmp_path), PACE) as bench,
    ):
        bench.wait_live("node")
        bench.target("blue", 5000.0, lead_s=0)
        number = bench.expose("blue", sensor="node", by_light=True)
        assert bench.exposure(number)["state"] == "waiting"
        bench.wait_for(lambda: bench.exposure(number)["state"] == "counting", 10, "light")
        bench.wait_for(lambda: bench.exposure(number)["state"] == "held", 10, "dark")
        bench.wait_for(lambda: bench.exposure(number)["state"] == "counting", 10, "light again")
        time.sleep(1.0)
        bench.act(number, "finish")
        bench.wait_for(lambda: bench.exposure(number)["settled"], 5, "settled")
        told = [e for e in bench.events(number) if e["event"] != "armed"]
        assert [(e["event"], e.get("by")) for e in told] == [
            ("started", "light"), ("held", "light"), ("resumed", "light"), ("finished", None)
        ]
        acts = bench.store().acts(number)
        exact = sum(
            node.register_at(b.cut.uptime_ms or 0) - node.register_at(a.cut.uptime_ms or 0)
            for a, b in zip(acts[0::2], acts[1::2], strict=True)
        )
        assert bench.exposure(number)["dose"] == pytest.approx(exact / 1000 * 0.01, rel=1e-9), acts
        assert bench.exposure(number)["dose"] == pytest.approx((60 + (acts[3].t_us - acts[2].t_us) / 1e6) * 5, rel=0.05)
        assert recount(bench.store(), number).same


def test_fast_readings_are_on_disk_within_seconds(tmp_path: Path) -> None:
    """A sensor faster than the daemon's idle tick must not keep its readings from the disk."""
    with (
        TextBoard(tmp_path / "board", lambda s: 50.0, period_s=0.1),
        RunningBench(tmp_path / "home", _settings(tmp_path)) as bench,
    ):
        bench.wait_live("board")
        time.sleep(3.0)
        bench.kill()
        assert sum(1 for _ in bench.store().readings("board", 0)) >= 15


def test_a_node_that_ran_on_is_heard_before_anything_is_predicted(tmp_path: Path) -> None:
    """Bright until the daemon dies, dark while it is away: the target is not called on what might have been."""
    table = [50.0] + [2.0] * 60
    with PtyNode(tmp_path / "node", table, pace=PACE) as node:
        bench = RunningBench(tmp_path / "home", _settings(tmp_path), PACE)
        with bench:
            bench.wait_live("node")
            bench.target("quick", 400.0, lead_s=0)
            number = bench.expose("quick", sensor="node")
            bench.wait_for(lambda: node.now_ms() > 55_000, 10, "the light to go soon")
            bench.kill()
            time.sleep(5.0)  # 100 s
            bench.start()
            bench.wait_live("node")
            assert bench.exposure(number)["state"] == "counting"
            assert bench.exposure(number)["fraction"] < 0.95
            assert not any(b.pattern == 4 for b in node.buzzes)
