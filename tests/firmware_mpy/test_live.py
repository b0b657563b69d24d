"""The board's own main.py, unchanged, in MicroPython, on a real Mosquitto; light and orders are invented.

The oracle is the stood-in bus: it notes each result that was read and when, and the test adds them up itself. Both
sides take their own moment: in steady light they may differ by `SLACK_MS` of it, however long it lasts, and where it
changes by as much as a busy machine keeps the node waiting between its clock and the bus. What is exact is in `cases/`.
"""

from __future__ import annotations

import itertools
import json
import os
import signal
import ssl
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from support.bench import RunningBench
from support.broker import Broker, make_ca
from support.micronode import LAMP, ROOT, Ear, MicroNode

from uvdose.decode.native import frame_command
from uvdose.model import RegisterReading

wait_for = RunningBench.wait_for
TOPIC = "uv/sill"
SLACK_MS = 25
CHANGING_MS = 100
LATE_MS = 250  # what a busy machine may keep a process waiting
ARMED, REACHED, KEPT = 2, 4, 8


@pytest.fixture
def broker() -> Iterator[Broker]:
    with Broker() as running:
        yield running


@pytest.fixture
def ear(broker: Broker) -> Iterator[Ear]:
    with Ear(broker.port, TOPIC) as listening:
        yield listening


def agrees(node: MicroNode, reading: RegisterReading, first_ms: int, level: int, slack_ms: int = SLACK_MS) -> None:
    """A line's register is what the bus saw up to its moment. first_ms: when its boot's first result was read."""
    truth = node.total(first_ms, first_ms + reading.uptime_ms)
    assert abs(reading.register - truth) <= slack_ms * level, (reading, truth)


def one_boot(ear: Ear) -> None:
    """All lines are of one boot, each register at least the one before, and the numbers tell what was lost."""
    assert len({r.boot for r in ear.readings}) == 1
    for before, after in zip(ear.readings, ear.readings[1:], strict=False):
        assert after.register >= before.register and after.seq > before.seq and after.uptime_ms >= before.uptime_ms


@pytest.mark.parametrize("part, who", [
    ("ltr390", "ok who sill 1 ltr390 3x100ms 262143 0"), ("as7331", "ok who sill 1 as7331 32x64ms 65535 0"),
])  # fmt: skip
def test_counts_what_the_sensor_sees(broker: Broker, ear: Ear, tmp_path: Path, part: str, who: str) -> None:
    with MicroNode(tmp_path, broker.port, part=part) as node:
        node.light(700)
        ear.next()
        assert ear.online[-1] == b"1"
        assert ear.ask("who") == who
        node.light((0, 100), (700, 1000), (1100, 0), (1500, 300))
        presses = ear.readings[-1].presses
        node.press()
        time.sleep(1.6)
        seen = len(ear.readings)
        assert ear.ask("now") == "ok now"
        assert len(ear.readings) > seen
        last = ear.readings[-1]
        assert last.presses == presses + 1 and last.flags == 0 and last.sat_ms == 0
        agrees(node, last, node.readouts()[0][0], 1000, CHANGING_MS)
        one_boot(ear)
        node.light(1 << 22)
        wait_for(lambda: ear.readings[-1].sat_ms > 300, 5, "saturation told")
        assert ear.ask("rate 10") == "ok rate"
        after = ear.next(1)
        assert ear.next(10).uptime_ms - after.uptime_ms < 10 * 190
        assert node.edges(LAMP)[-1].level == 1  # steady: all is well
    wait_for(lambda: ear.online[-1] == b"0", 10, "the last will")


def test_broker_down_for_half_of_an_exposure(broker: Broker, ear: Ear, tmp_path: Path) -> None:
    """Nobody is there: it counts on, calls by itself at the armed value, and the next line tells the whole dose."""
    with MicroNode(tmp_path, broker.port) as node:
        node.light(400)
        start = ear.next(2)
        value = start.register + 400 * 3000
        assert ear.ask(f"arm 1 {value} 4") == f"ok arm 1 {value} 4"
        assert ear.next().flags == ARMED
        broker.kill()
        wait_for(lambda: node.edges(), 10, "the call without a broker")
        time.sleep(1)
        edge, first_ms = node.edges()[0], node.readouts()[0][0]
        truth = node.total(first_ms, edge.ms)
        assert value - 400 * SLACK_MS <= truth <= value + 400 * LATE_MS
        broker.start()
        there = ear.next(1, 20)
        assert there.register > value and there.flags == REACHED | 1
        agrees(node, there, first_ms, 400)
        one_boot(ear)
        assert ear.ask("quiet") == "ok quiet"
        quiet = len(node.edges())
        assert ear.next(3).flags == REACHED
        assert len(node.edges()) <= quiet + 1 and node.edges()[-1].level == 0
        assert ear.ask("disarm 1") == "ok disarm"
        assert ear.next().flags == 0


def test_broker_killed_and_started_again_and_again(broker: Broker, ear: Ear, tmp_path: Path) -> None:
    """And what it is asked in between it does once. Its sampling takes no notice."""
    with MicroNode(tmp_path, broker.port) as node:
        node.light(*((500 * i, 100 + 400 * (i % 2)) for i in range(60)))
        ear.next()
        for again in range(4):
            broker.kill()
            time.sleep(0.3 * again)
            broker.start()
            agrees(node, ear.next(2, 20), node.readouts()[0][0], 500, CHANGING_MS)
            assert ear.ask("lease 0") == "ok lease"
        one_boot(ear)
        assert ear.online.count(b"1") >= 5
        assert node.process is not None
        held = [os.readlink(p) for p in Path(f"/proc/{node.process.pid}/fd").iterdir()]
        assert sum(name.startswith("socket:") for name in held) == 1, "what was lost is closed"
        times = [ms for ms, _ in node.readouts()]
        assert max(b - a for a, b in itertools.pairwise(times)) < 100 + 2 * LATE_MS


def test_broker_that_stands_still(broker: Broker, ear: Ear, tmp_path: Path) -> None:
    """The connection stays open and takes nothing: neither sampling nor the call waits for it."""
    with MicroNode(tmp_path, broker.port) as node:
        node.light(1000)
        value = ear.next().register + 1000 * 2500
        assert ear.ask(f"arm 0 {value} 6") == f"ok arm 0 {value} 6"
        os.kill(broker.pid, signal.SIGSTOP)
        try:
            wait_for(lambda: len(node.edges()) > 4, 10, "the call while the broker stands still")
        finally:
            os.kill(broker.pid, signal.SIGCONT)
        first_ms = node.readouts()[0][0]
        truth = node.total(first_ms, node.edges()[0].ms)
        assert value - 1000 * SLACK_MS <= truth <= value + 1000 * LATE_MS
        agrees(node, ear.next(2, 20), first_ms, 1000)
        one_boot(ear)


def test_wifi_lost(broker: Broker, ear: Ear, tmp_path: Path) -> None:
    with MicroNode(tmp_path, broker.port) as node:
        node.light(250)
        ear.next()
        node.order("network 0")
        wait_for(lambda: "network is gone" in node.said, 5, "it is told")
        time.sleep(0.7)
        flashes = [e.level for e in node.edges(LAMP)][-3:]
        assert sorted(set(flashes)) == [0, 1]
        node.order("network 1")
        agrees(node, ear.next(2, 30), node.readouts()[0][0], 250)
        one_boot(ear)


def test_ticks_wrap_while_it_counts(broker: Broker, ear: Ear, tmp_path: Path) -> None:
    """A tick count of 30 bits, as boards have it, that wraps after 2.5 s."""
    with MicroNode(tmp_path, broker.port, ticks_left=2500) as node:
        node.light(600)
        last = ear.next(20, 20)
        assert last.uptime_ms > 3000
        agrees(node, last, node.readouts()[0][0], 600)
        one_boot(ear)


def test_resets(broker: Broker, ear: Ear, tmp_path: Path) -> None:
    """Without power loss, or by a fault of the program, all is kept and told; else it is a new boot from 0."""
    node = MicroNode(tmp_path / "a", broker.port)
    with node:
        node.light(800)
        ear.next(3)
        assert ear.ask("arm 3 9000000 4") == "ok arm 3 9000000 4"
        before = ear.next(2)
        node.kill(power=False)
        ear.readings.clear()
        node.start()
        after = ear.next(2, 20)
        assert after.boot == before.boot and after.flags == ARMED | KEPT
        for r in ear.readings:  # nothing falls back behind what was told
            assert r.seq > before.seq and r.uptime_ms >= before.uptime_ms and r.register >= before.register
        # And nothing of the time that the reset took is made up.
        assert after.register - before.register <= 800 * (after.uptime_ms - before.uptime_ms) + 800 * 200
        assert ear.ask("buzz 7 60") == "ok buzz"
        node.order("bug found")
        assert node.process is not None and node.process.wait(10) == 75, "it resets itself"
        assert "RuntimeError: found" in node.said and node.edges()[-1].level == 0, "told, and not left sounding"
        node.kill(power=False)
        ear.readings.clear()
        node.start()
        assert ear.next(1, 20).boot == before.boot
        node.kill(power=True)
        ear.readings.clear()
        node.start()
        new = ear.next(1, 20)
        assert new.boot != before.boot and new.flags == 0 and new.register <= 800 * (new.uptime_ms + SLACK_MS)
    plain = MicroNode(tmp_path / "b", broker.port, memory=False)
    with plain:
        plain.light(800)
        boot = ear.next(1, 20).boot
        plain.kill(power=False)
        ear.readings.clear()
        plain.start()
        assert ear.next(1, 20).boot != boot


def test_a_sensor_that_cannot_be_read(broker: Broker, ear: Ear, tmp_path: Path) -> None:
    """No line while the light is not known; console and lamp say it; then a new boot, armed for the rest."""
    with MicroNode(tmp_path, broker.port) as node:
        node.light(1000)
        ear.next(2)
        assert ear.ask("arm 0 50000000 4") == "ok arm 0 50000000 4"
        node.order("fail 2")  # disturbed once: tried again, nothing lost
        ear.next(4)
        one_boot(ear)
        node.order("fail -1")
        wait_for(lambda: "nothing answers at 0x53" in node.said, 5, "the fault is told")
        time.sleep(0.5)
        silent, flashes = len(ear.readings), len(node.edges(LAMP))
        last = ear.readings[-1]
        agrees(node, last, node.readouts()[0][0], 1000)
        assert ear.ask("now") == "err sensor" and ear.ask("who").startswith("ok who")
        time.sleep(1)
        assert len(ear.readings) == silent and len(node.edges(LAMP)) >= flashes + 6
        node.order("fail 0")
        ear.next(2, 10)
        first = next(r for r in ear.readings if r.boot != last.boot)
        assert (first.seq, first.uptime_ms, first.register, first.flags) == (0, 0, 0, ARMED)
        boots = {r.boot for r in ear.readings}
        node.order("part off")  # its supply was disturbed: it would answer, with settings that are not ours
        wait_for(lambda: len({r.boot for r in ear.readings} - boots) == 1, 10, "a new boot after lost power")
        assert "lost its power" in node.said
        boots = {r.boot for r in ear.readings}
        node.order("stall 2500")  # a board that stands still, as in looking up a name
        wait_for(lambda: len({r.boot for r in ear.readings} - boots) == 1, 10, "a new boot after standing still")


def test_what_else_comes_over_the_command_topic(broker: Broker, ear: Ear, tmp_path: Path) -> None:
    """Retained, too long, wrong, twice, several in one: nothing of it sounds unasked or ends the connection."""
    buzz = frame_command("buzz 7 60").strip()
    ear.send(buzz, retain=True)
    time.sleep(0.2)
    with MicroNode(tmp_path, broker.port, BUZZER_HZ=2700) as node:
        node.light(10)
        ear.next(3)
        assert node.edges() == [] and ear.answers.empty()
        for payload in (b"", b"\n", b"x" * 5000, bytes(range(256)) * 3, b"who*0000"):
            ear.send(payload)
        said = [ear.answers.get(timeout=5) for _ in range(1 + 4 + 1)]  # three line feeds cut the bytes in four
        assert set(said) == {"err checksum"}
        ear.send(buzz + b"\n" + buzz + b"\r\n")
        assert [ear.answers.get(timeout=5) for _ in range(2)] == ["ok buzz", "ok buzz"]
        wait_for(lambda: node.edges(), 5, "the buzzer")
        assert node.edges()[0].level == 2700  # the tone of a bare piezo
        assert ear.ask("quiet") == "ok quiet"
        wait_for(lambda: node.edges()[-1].level == 0, 5, "quiet")
        assert ear.online == [b"1"]


def test_password_tls_and_what_is_told(tmp_path: Path) -> None:
    """Wrong password, wrong CA: told in words, and not let in; with the right ones it is, encrypted."""
    with Broker(users={"sill": "glue"}, tls=True) as broker:
        assert broker.ca is not None
        for name, ca in (("right", broker.ca), ("wrong", make_ca(tmp_path, "another"))):
            (tmp_path / f"{name}.der").write_bytes(ssl.PEM_cert_to_DER_cert(ca.read_text()))
        tries = (("right", "paste", "user or password"), ("wrong", "glue", "cert"), ("right", "glue", ""))
        for name, password, told in tries:
            ca_file = str(tmp_path / f"{name}.der")
            more: dict[str, object] = {"TLS": True, "TLS_CA_FILE": ca_file, "BROKER_USER": "sill"}
            with MicroNode(tmp_path / f"{name}-{password}", broker.port, BROKER_PASSWORD=password, **more) as node:
                log = broker.folder / "log"
                if told:
                    wait_for(lambda n=node, t=told: t in n.said.lower(), 10, "it is told")
                    assert "New client connected" not in log.read_text(), node.said
                else:
                    wait_for(lambda f=log: "New client connected" in f.read_text(), 10, "let in")
                    wait_for(lambda n=node: n.edges(LAMP) and n.edges(LAMP)[-1].level == 1, 10, "all is well")


WORDS = sorted({json.loads(path.read_text())["sensor"] for path in (ROOT / "shared" / "parts").iterdir()})


@pytest.mark.parametrize("wrong, told", [
    ({"GAIN": 2}, "settings.py: GAIN of ltr390 must be one of 1, 3, 6, 9, 18"),
    ({"SENSOR": "uvx"}, f"settings.py: SENSOR must be one of {', '.join(WORDS)}\n"),
    ({"NAME": "a/b"}, "settings.py: NAME must be"), ({"RATE_HZ": 50}, "settings.py: RATE_HZ must be"),
    ({"INTEGRATION_MS": 64}, "settings.py: INTEGRATION_MS of ltr390 must be one of 25, 50, 100, 200, 400"),
])  # fmt: skip
def test_wrong_settings_are_told(tmp_path: Path, wrong: dict[str, object], told: str) -> None:
    with MicroNode(tmp_path, 1, **({"NAME": "sill"} | wrong)) as node:  # type: ignore[arg-type]
        assert node.process is not None
        assert node.process.wait(10) == 0
        assert node.said.startswith(told) and node.said.count("\n") == 1
