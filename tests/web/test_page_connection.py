"""A connection that is lost is told loudly within five seconds, and comes back by itself with the right dose."""

from __future__ import annotations

import signal
import time
from itertools import pairwise

from support.bench import RunningBench
from support.phone import Phone

from .conftest import OpenPhone

LOST = {311, 233}
LATE_S = 8.0  # five are promised; a loaded machine may add some


def test_a_daemon_that_stands_still(bench: RunningBench, phone: OpenPhone) -> None:
    bench.target("blue", 9000)
    one = phone()
    one.tap("#main")
    one.kind("count")
    assert bench.process is not None
    bench.process.send_signal(signal.SIGSTOP)
    stopped_s = time.monotonic()
    try:
        one.kind("lost", LATE_S)
        told_s = time.monotonic() - stopped_s
        one.page.wait_for_selector("#sign .strike", timeout=2000, state="attached")
        assert "LOST" in one.text("#sign") and "s old" in one.text("#sign")
        assert "%" not in one.text("#facts").replace("95 %", "")
        shown = one.text("#facts").splitlines()
        assert all(after == "–" for name, after in pairwise(shown) if name in ("Time left", "Dose", "Light at sill"))
        one.page.wait_for_function("() => window.heard.some((t) => Math.round(t.hz) === 311)", timeout=4000)
        assert {round(t["hz"]) for t in one.tones()} >= LOST
        one.page.wait_for_function("() => document.getElementById('said').textContent.includes('lost')")
        one.tap("#quiet")
        before = len(one.tones())
        time.sleep(3.5)
        assert len(one.tones()) == before
    finally:
        bench.process.send_signal(signal.SIGCONT)
    one.kind("count", 10)
    assert one.page.locator("#sign .strike").count() == 0
    _same_dose(one, bench)
    print(f"\nlost told after {told_s:.1f} s")


def test_a_daemon_that_is_killed_and_begins_again(bench: RunningBench, phone: OpenPhone) -> None:
    bench.target("blue", 9000)
    one = phone()
    one.page.evaluate("window.sameDocument = true")
    one.tap("#main")
    one.kind("count")
    time.sleep(1.5)
    bench.kill()
    one.kind("lost", LATE_S)
    shown = one.percent_was()
    bench.start()
    one.let_in()
    one.kind("count", 12)
    assert one.page.evaluate("window.sameDocument") is True  # nobody loaded it anew
    _same_dose(one, bench)
    assert one.percent() >= shown
    one.tap("#main")
    one.kind("held")
    assert one.percent() == int(bench.exposure(1)["fraction"] * 100)


def test_a_network_that_is_cut(bench: RunningBench, phone: OpenPhone) -> None:
    """An act that cannot be sent says so, and is not taken for done."""
    bench.target("blue", 9000)
    one = phone()
    one.tap("#main")
    one.kind("count")
    one.context.set_offline(True)
    one.context.route("**/api/**", lambda route: route.abort())
    bench.kill()  # an open stream outlives the emulated cut: its other end goes
    one.kind("lost", LATE_S)
    one.tap("#main")
    one.page.wait_for_selector("#answer:not([hidden])")
    assert "not known" in one.text("#answer")
    bench.start()
    one.let_in()
    assert one.page.get_attribute("#sign", "data-kind") == "lost"
    one.context.unroute("**/api/**")
    one.context.set_offline(False)
    one.kind("count", 12)
    assert bench.exposure(1)["state"] == "counting"


def _same_dose(one: Phone, bench: RunningBench) -> None:
    """The page and the daemon agree, to what falls between two looks."""
    shown, told = one.percent(), bench.exposure(1)["fraction"] * 100
    assert -3 <= told - shown <= 6
