"""Settings that change under a running daemon, and a node that changes under its settings: real daemon, real ptys."""

from __future__ import annotations

import json
import signal
import time
from pathlib import Path

import pytest
from support.bench import Refused, RunningBench

from uvdose.settings_edit import edit_sensor

from .conftest import PACE, Quiet

ABOVE = 'scale = 0.0125\nfull_scale = 1023\nrepeat_u = 0.004\n'


@pytest.fixture
def node(tmp_path: Path) -> object:
    with Quiet(tmp_path / "node", pace=PACE, rate_hz=10.0, full_scale=1023, zero=3.0) as running:
        running.counts, running.sd = 500.0, 1.0
        yield running


def _bench(folder: Path, more: str = ABOVE) -> RunningBench:
    written = f'[[sensor]]\nname = "sill"\nlink = "serial"\nport = "{folder}/node"\n{more}'
    return RunningBench(folder / "home", written, PACE)


def _dose(bench: RunningBench, number: int) -> tuple[float, float, float]:
    kept = bench.store().exposure(number).document
    return kept.dose, kept.dose_low, kept.dose_high


def test_only_the_response_is_taken_and_the_rest_waits(tmp_path: Path, node: Quiet) -> None:
    with _bench(tmp_path) as bench:
        bench.wait_live("sill")
        assert bench.ask("POST", "/settings/reread") == {"taken": [], "later": [], "recorded": True}
        path = bench.home.settings_file
        path.write_text(path.read_text().replace("repeat_u = 0.004", "repeat_u = 0.01\nzero = 3.0\nbaud = 9600")
                        + '[[sensor]]\nname = "roof"\nlink = "simulated"\n[call]\ndesktop = true\n')
        told = bench.ask("POST", "/settings/reread")
        assert told["taken"] == ["sill: zero was 0, is 3, repeat_u was 0.004, is 0.01"]
        assert told["later"] == ["call", "sensor roof (new)", "sensor sill.baud"]
        assert bench.ask("POST", "/settings/reread") == {"taken": [], "later": told["later"], "recorded": True}
        (event,) = [e for e in bench.events() if e["event"] == "settings"]
        assert event["sensor"] == "sill" and event["what"] == told["taken"][0].removeprefix("sill: ")
        good = path.read_text()
        for wrong in (good.replace("zero = 3.0", "zero = 3000.0"), good + "[[sensor", ""):
            path.write_text(wrong)
            with pytest.raises(Refused, match="the daemon goes on with the settings that it has") as err:
                bench.ask("POST", "/settings/reread")
            assert err.value.status == 409
        path.unlink()
        with pytest.raises(Refused, match="no settings at"):
            bench.ask("POST", "/settings/reread")
        assert bench.sensor("sill")["irradiance"] == pytest.approx(500 * 0.0125, rel=0.02)


def test_a_unit_that_waits_holds_its_figures_back(tmp_path: Path, node: Quiet) -> None:
    with _bench(tmp_path) as bench:
        bench.wait_live("sill")
        path = bench.home.settings_file
        path.write_text(path.read_text().replace("scale = 0.0125\nfull_scale = 1023", 'unit = "V"\nzero = 0.003'))
        told = bench.ask("POST", "/settings/reread")
        waits = ["unit", "scale", "zero", "full_scale"]  # all that has changed, none of it silently
        assert told["taken"] == [] and sorted(told["later"]) == sorted(f"sensor sill.{key}" for key in waits)


def test_killed_after_it_live_restart_and_recount_agree(tmp_path: Path, node: Quiet) -> None:
    """The zero changes twice under a print: it ends with what it began with, as the node itself counted."""
    with _bench(tmp_path) as bench:
        bench.wait_live("sill")
        bench.target("blue", 1e6, lead_s=0)
        number = bench.expose("blue")
        for zero in (3.0, 1.0, 3.5):
            time.sleep(0.4)
            edit_sensor(bench.home, "sill", {"zero": zero, "zero_u": 0.2})
            assert bench.ask("POST", "/settings/reread")["taken"]
        bench.kill()
        bench.start()
        bench.wait_live("sill")
        time.sleep(0.5)
        second = bench.expose("blue", frame="2")  # 3.5 counts are less than 0.5 % of 1023: told, and not refused
        time.sleep(0.3)
        for one in (number, second):
            bench.act(one, "finish")
        time.sleep(1.2)
        store = bench.store()
        first, later = (store.exposure(n) for n in (number, second))
        assert (first.plan.response.zero, later.plan.response.zero) == (0.0, 3.5)
        assert (first.plan.response.zero_u, later.plan.response.zero_u) == (0.0, 0.2)
        truth = [node.register_at(m.cut.uptime_ms or 0) for m in store.acts(number)]
        assert first.document.dose == pytest.approx((truth[-1] - truth[0]) / 1000 * 0.0125, rel=1e-9)
        assert bench.stop() == 0
        from uvdose.review.recount import recount

        for one in (number, second):
            again = recount(store, one)
            assert again.same and (again.dose, again.dose_low, again.dose_high) == _dose(bench, one)


def test_a_zero_that_moved_a_little_is_told_at_the_start(tmp_path: Path, node: Quiet) -> None:
    with _bench(tmp_path) as bench:
        bench.wait_live("sill")
        bench.target("blue", 1e6, lead_s=0)
        edit_sensor(bench.home, "sill", {"zero": 4.0})
        bench.ask("POST", "/settings/reread")
        begun = bench.ask("POST", "/exposures", {"target": "blue"})
        assert begun["told"] == ["zero was 0, is 4: so little that doses still compare"]
        edit_sensor(bench.home, "sill", {"zero": 6.0})
        bench.ask("POST", "/settings/reread")
        with pytest.raises(Refused, match="zero was 0, is 6"):
            bench.ask("POST", "/exposures", {"target": "blue", "frame": "2"})


def test_another_gain_on_the_board_voids_what_was_proved(tmp_path: Path, node: Quiet) -> None:
    """What the node says of itself is part of the identity, with a daemon and after a restart; a target of a journal
    that never knew it is not void by that alone.
    """
    answer = node.node.command
    gain = ["1x"]

    def command(line: bytes, now_ms: int) -> list[bytes]:
        from uvdose.decode.native import frame_command

        if line.startswith(b"who"):
            return [frame_command(f"ok who sill 1.0 bare {gain[0]} 1023 3")]
        return answer(line, now_ms)

    node.node.command = command  # type: ignore[method-assign]
    with _bench(tmp_path) as bench:
        bench.wait_live("sill")
        bench.wait_for(lambda: len(_identities(bench)) == 2, 5, "who is answered")
        assert [i["node"] for i in _identities(bench)] == [None, {"sensor": "bare", "gain": "1x", "full_scale": "1023"}]
        bench.target("blue", 1e6, lead_s=0)
        bench.act(bench.expose("blue"), "finish")
        gain[0] = "4x"
        node.unplug()
        bench.wait_for(lambda: bench.sensor("sill")["state"] != "live", 20, "gone")
        node.plug()
        bench.wait_live("sill")
        bench.wait_for(lambda: len(_identities(bench)) == 3, 5, "who is answered anew")
        with pytest.raises(Refused, match=r"the node's gain was 1x, is 4x.*uvdose target confirm blue"):
            bench.expose("blue")
        assert bench.stop() == 0
        bench.start()
        bench.wait_live("sill")
        assert len(_identities(bench)) == 3  # known from the journal before the node has answered
        with pytest.raises(Refused, match="the node's gain was 1x, is 4x"):
            bench.expose("blue")
        bench.process.send_signal(signal.SIGTERM)  # type: ignore[union-attr]


def _identities(bench: RunningBench) -> list[dict[str, object]]:
    rows = bench.store().db.execute("SELECT identity FROM sensor ORDER BY id")
    return [json.loads(text) for (text,) in rows]
