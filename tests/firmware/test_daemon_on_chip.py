"""The daemon on the port of the real image: light that changes, a print to its target, the call on the buzzer's pin.

The oracle is the chip's own register, read from the lines that it put on its wire: the dose between two acts that are
fixed on lines is the difference of those two registers, exactly (wire format, "A reading").
"""

from __future__ import annotations

import time
from pathlib import Path

import pytest
from support.bench import RunningBench
from support.chip import FULL_SCALE, Chip, counts
from support.payerne import day_w_m2

from uvdose.model import RegisterReading
from uvdose.review.recount import recount

SCALE = 0.004  # mW/cm² a count
LATE_SAMPLES = 6  # see test_chip
PAUSE_S = 0.4  # so that no two acts lie within the quarter of a second in which `now` fixes one


def settings(port: Path) -> str:
    return (
        '[bench]\nname = "bindery"\n'
        f'[[sensor]]\nname = "sill"\nlink = "serial"\nport = "{port}"\nunit = "counts"\nscale = {SCALE}\n'
        f"full_scale = {FULL_SCALE}\n"
    )


def on_line(chip: Chip, boot: int, uptime_ms: int) -> RegisterReading:
    return next(r for r in chip.readings() if r.boot == boot and r.uptime_ms == uptime_ms)


@pytest.mark.timeout(120)
def test_a_print_on_the_real_image(tmp_path: Path) -> None:
    """UVA of 17 June 2016 at Payerne, a minute in 100 ms (see support.payerne)."""
    mv = [round(15 * mean) for mean in day_w_m2(17)[640:1000]]
    truth = sum(counts(v) for v in mv[:80]) * 0.1 * SCALE  # what the first eight seconds come to, mJ/cm²
    with Chip(tmp_path / "port") as chip, RunningBench(tmp_path / "home", settings(tmp_path / "port")) as bench:
        chip.table([(n * 100, v) for n, v in enumerate(mv)])
        bench.wait_live("sill")
        bench.target("endpaper", truth, lead_s=0)
        number = bench.expose("endpaper")
        time.sleep(2)
        bench.act(number, "hold")
        time.sleep(PAUSE_S)
        bench.act(number, "resume")
        edges = len(chip.edges)
        bench.wait_for(lambda: bench.exposure(number)["state"] == "reached", 40, "the target")
        edge = chip.wait_edge(1, 5, after=edges)
        time.sleep(PAUSE_S)
        bench.ask("POST", "/quiet")
        bench.wait_for(lambda: chip.tell().level == 0 and chip.readings()[-1].flags & 1 == 0, 5, "quiet")
        bench.act(number, "finish")
        bench.wait_for(lambda: bench.exposure(number)["settled"], 5, "settled")
        shown = bench.exposure(number)
        store = bench.store()
        acts = store.acts(number)
        assert all(a.refined is not None for a in acts), "acts are fixed on the line of `now`"
        cuts = [on_line(chip, a.cut.boot or 0, a.cut.uptime_ms or 0) for a in acts]
        start, hold, resume, finish = (line.register for line in cuts)
        counted = (hold - start + finish - resume) / 1000 * SCALE
        assert shown["dose"] == pytest.approx(counted, rel=1e-9)
        assert [a.cut.register for a in acts] == [start, hold, resume, finish]
        assert recount(store, number).same
        # The call: sounded while the dose passed its target, by the light of half a second (a busy machine).
        at_edge = (hold - start + edge.register - resume) / 1000 * SCALE
        assert at_edge == pytest.approx(truth, abs=0.5 * SCALE * FULL_SCALE)


@pytest.mark.timeout(60)
def test_a_reset_in_a_print_loses_nothing_but_its_own_time(tmp_path: Path) -> None:
    with Chip(tmp_path / "port") as chip, RunningBench(tmp_path / "home", settings(tmp_path / "port")) as bench:
        chip.light(400)
        bench.wait_live("sill")
        bench.target("endpaper", 1000)
        number = bench.expose("endpaper")
        time.sleep(1.5)
        chip.reset(400)
        time.sleep(2)
        bench.act(number, "finish")
        bench.wait_for(lambda: bench.exposure(number)["settled"], 5, "settled")
        shown = bench.exposure(number)
        start, finish = bench.store().acts(number)
        first, last = (on_line(chip, a.cut.boot or 0, a.cut.uptime_ms or 0) for a in (start, finish))
        assert first.boot == last.boot and last.flags & 8
        counted = (last.register - first.register) / 1000 * SCALE
        # What the chip did not see while it was held is told from the times of arrival, or left out: no more than that.
        lost = counts(400) * 1.0 * SCALE
        assert counted * (1 - 1e-9) <= shown["dose"] + shown.get("missing_dose", 0) <= counted + lost


@pytest.mark.timeout(60)
def test_the_call_comes_when_the_daemon_was_killed(tmp_path: Path) -> None:
    """The daemon arms the node with the register of the target; then there is nobody, and the pin goes high there."""
    light = 650
    seconds = 8.0
    target = counts(light) * seconds * SCALE
    with Chip(tmp_path / "port") as chip, RunningBench(tmp_path / "home", settings(tmp_path / "port")) as bench:
        chip.light(light)
        bench.wait_live("sill")
        bench.target("endpaper", target, lead_s=0)
        number = bench.expose("endpaper")
        chip.wait_for(lambda: any(line.startswith(b"ok arm ") for line in chip.said), 5, "the node is armed")
        bench.wait_for(lambda: bench.store().acts(number)[0].refined is not None, 2, "the start is fixed on a line")
        time.sleep(1.2)  # the arming that follows the fixed start
        start = bench.store().acts(number)[0].cut.register
        assert start is not None
        bench.kill()
        assert not chip.edges
        armed = [line.split() for line in chip.said if line.startswith(b"ok arm ")][-1]
        value = int(armed[3])
        edge = chip.wait_edge(1, 2 * seconds)
    assert 0 <= edge.register - value < LATE_SAMPLES * counts(light)
    # By how much the daemon lets an armed value lie off its target: less than a hundredth of it here.
    assert (edge.register - start) / 1000 * SCALE == pytest.approx(target, rel=0.01)


@pytest.mark.timeout(60)
def test_the_button_holds_and_resumes_the_print(tmp_path: Path) -> None:
    with Chip(tmp_path / "port") as chip, RunningBench(tmp_path / "home", settings(tmp_path / "port")) as bench:
        chip.light(300)
        bench.wait_live("sill")
        bench.target("endpaper", 1000)
        number = bench.expose("endpaper")
        time.sleep(1)
        for state in ("held", "counting"):
            chip.press()
            bench.wait_for(lambda s=state: bench.exposure(number)["state"] == s, 3, state)
            time.sleep(0.6)
        _, hold, resume = bench.store().acts(number)
        pressed = [next(r for r in chip.readings() if r.presses == n) for n in (1, 2)]
        assert [a.cut.register for a in (hold, resume)] == [r.register for r in pressed], "the line of the press itself"
