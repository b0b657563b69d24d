"""A serial port, on real pseudo-terminals."""

from __future__ import annotations

import os
import socket
import tempfile
import termios
import threading
import time
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path

import pytest
from support.ptynode import PtyNode
from support.sink import Gathered

from uvdose.clock import FixedClock
from uvdose.config import SensorSettings
from uvdose.decode.native import NativeDecoder, frame_command
from uvdose.intake import serial_port
from uvdose.intake.node_words import frame
from uvdose.intake.pty_wire import PtyWire
from uvdose.intake.serial_port import SerialLink
from uvdose.intake.serial_words import words_for
from uvdose.model import Answer, RegisterReading


def link(path: str | Path, clock=None, baud: int = 115200) -> SerialLink:
    return SerialLink(SensorSettings("sill", "serial", port=str(path), baud=baud), clock or FixedClock(77))


def three_more(gathered: Gathered) -> None:
    already = len(gathered.chunks)
    assert gathered.wait_for(lambda: len(gathered.chunks) >= already + 3)


def decoded(gathered: Gathered) -> list:
    return NativeDecoder().feed(gathered.data)


@pytest.fixture(autouse=True)
def no_thread_dies_or_stays():
    before = set(threading.enumerate())
    died = []
    old, threading.excepthook = threading.excepthook, died.append
    yield
    threading.excepthook = old
    assert not died
    assert set(threading.enumerate()) <= before


def test_reads_lines_and_stamps_their_arrival(tmp_path: Path, gathered: Gathered) -> None:
    with PtyNode(tmp_path / "port", [40.0], rate_hz=50) as node:
        reading = link(node.path)
        reading.start(gathered)
        assert gathered.wait_state(True).sensor == "sill"
        assert gathered.wait_for(lambda: gathered.data.count(b"\n") >= 20)
        reading.stop()
    sent = {s.uptime_ms: s.register for s in node.sent}
    got = [r for r in decoded(gathered) if isinstance(r, RegisterReading)]
    assert len(got) >= 18
    assert all(sent[r.uptime_ms] == r.register == node.register_at(r.uptime_ms) for r in got)
    assert {c.arrival_us for c in gathered.chunks} == {77}
    assert len(gathered.states) == 1, "stopping is nothing to report"


def test_send_reaches_the_node(tmp_path: Path, gathered: Gathered) -> None:
    with PtyNode(tmp_path / "port", [40.0]) as node:
        reading = link(node.path)
        assert reading.send(b"early\n") is False
        reading.start(gathered)
        gathered.wait_state(True)
        assert reading.send(frame_command("now"))
        assert reading.send(frame_command("buzz 4 2"))
        assert gathered.wait_for(lambda: Answer("ok buzz") in decoded(gathered))
        reading.stop()
        assert reading.send(b"late\n") is False
    assert node.heard == [frame_command("now"), frame_command("buzz 4 2")]
    assert [b.pattern for b in node.buzzes] == [4]
    assert node.buzzes[0].register == node.register_at(node.buzzes[0].at_ms)


def test_unplugged_and_plugged_in_again_under_the_same_name(tmp_path: Path, gathered: Gathered) -> None:
    with PtyNode(tmp_path / "port", [40.0], rate_hz=50) as node:
        reading = link(node.path)
        reading.start(gathered)
        gathered.wait_state(True)
        for _ in range(3):
            three_more(gathered)
            node.unplug()
            gathered.wait_state(False)
            assert reading.send(b"x\n") is False
            gathered.wait_state(False, "there is no port")
            time.sleep(0.3)
            node.plug()
            gathered.wait_state(True, seconds=6)
            assert reading.send(frame_command("quiet"))
        three_more(gathered)
        reading.stop()
    for before, after in pairwise(gathered.states):
        assert before != after, "the same state is not told twice"
    assert all(not s.up or not s.mend for s in gathered.states) and all(s.up or s.mend for s in gathered.states)
    got = [r for r in decoded(gathered) if isinstance(r, RegisterReading)]
    assert got[-1].register == node.register_at(got[-1].uptime_ms), "the register went on while nobody listened"


def test_a_missing_port_is_told_once_and_found_soon(tmp_path: Path, gathered: Gathered) -> None:
    path = tmp_path / "port"
    reading = link(path)
    reading.start(gathered)
    state = gathered.wait_state(False, "there is no port")
    assert str(path) in state.why and state.mend
    time.sleep(1.2)
    assert len(gathered.states) == 1
    with PtyNode(path, [40.0]):
        before = time.monotonic()
        gathered.wait_state(True)
        assert time.monotonic() - before < 1
        reading.stop()


def test_a_busy_port_names_the_other_program(tmp_path: Path, gathered: Gathered) -> None:
    with PtyNode(tmp_path / "port", [40.0]) as node:
        first, second, other = link(node.path), link(node.path), Gathered()
        first.start(other)
        other.wait_state(True)
        second.start(gathered)
        state = gathered.wait_state(False, "another program")
        assert "close it" in state.mend
        first.stop()
        gathered.wait_state(True, seconds=6)
        second.stop()


@pytest.mark.parametrize(
    ("port", "word", "mend"),
    [
        ("nonsense://x", "nonsense", "correct `port`"), ("socket://x", "no host and port", "correct `port`"),
        ("socket://127.0.0.1:1", "refused", "check"), ("/dev/null", "not a serial port", "correct `port`"),
        ("/", "/ ", "port"),
    ],
)  # fmt: skip
def test_other_faults_in_plain_words(gathered: Gathered, port: str, word: str, mend: str) -> None:
    reading = link(port)
    reading.start(gathered)
    state = gathered.wait_state(False)
    reading.stop()
    assert word in state.why and mend in state.mend
    assert "\n" not in state.why and "Traceback" not in state.why


def test_a_speed_that_makes_no_sense(gathered: Gathered) -> None:
    reading = link("loop://", baud=-5)
    reading.start(gathered)
    assert "baud" in gathered.wait_state(False).mend
    reading.stop()


@pytest.fixture
def nobody() -> Iterator[None]:
    """Root may open everything: for the length of a test it is nobody."""
    mine = os.geteuid()
    if mine == 0:
        os.seteuid(65534)
    yield
    os.seteuid(mine)


def test_no_permission_through_a_real_open(nobody: None, gathered: Gathered) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "port"
        path.touch(mode=0)
        reading = link(path)
        reading.start(gathered)
        assert "no permission" in gathered.wait_state(False).why
        reading.stop()


def test_no_permission_names_the_group(tmp_path: Path) -> None:
    grp = pytest.importorskip("grp")
    path = tmp_path / "port"
    path.touch()
    group = grp.getgrgid(path.stat().st_gid).gr_name
    words = words_for(PermissionError(13, "Permission denied"), str(path), was_open=False)
    assert "no permission" in words.why
    assert (f"usermod -aG {group} " in words.mend) != (group == "root")


def test_a_url_is_read_in_bursts(gathered: Gathered) -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        reading = link(f"socket://127.0.0.1:{server.getsockname()[1]}")
        reading.start(gathered)
        board, _ = server.accept()
        with board:
            gathered.wait_state(True)
            board.sendall(b"0123456789\n" * 50)
            assert gathered.wait_for(lambda: len(gathered.data) == 550)
            assert len(gathered.chunks) < 20
            assert reading.send(b"now\n")
            board.settimeout(5)
            assert board.recv(100) == b"now\n"
        gathered.wait_state(False)
        reading.stop()


def test_the_port_is_left_so_that_closing_does_not_hang_up(gathered: Gathered) -> None:
    wire = PtyWire()
    fd = os.open(wire.path, os.O_RDWR | os.O_NOCTTY)
    attributes = termios.tcgetattr(fd)
    attributes[2] |= termios.HUPCL
    termios.tcsetattr(fd, termios.TCSANOW, attributes)
    reading = link(wire.path)
    reading.start(gathered)
    gathered.wait_state(True)
    reading.stop()
    assert not termios.tcgetattr(fd)[2] & termios.HUPCL
    os.close(fd)
    wire.close()


def test_a_node_that_does_not_listen_does_not_hold_send_up(gathered: Gathered) -> None:
    wire = PtyWire()
    reading = link(wire.path)
    reading.start(gathered)
    gathered.wait_state(True)
    line = frame("x" * 400)
    results, slowest = [], 0.0
    for _ in range(400):
        before = time.monotonic()
        results.append(reading.send(line))
        slowest = max(slowest, time.monotonic() - before)
        if not results[-1]:
            break
    assert results[-1] is False and slowest < 1
    wire.write(b"still heard\n")
    assert gathered.wait_for(lambda: b"still heard" in gathered.data)
    reading.stop()
    wire.close()


def test_an_unread_pty_drops_whole_lines_and_holds_nobody_up(gathered: Gathered) -> None:
    wire = PtyWire()
    before = time.monotonic()
    taken = [wire.write(b"%06d %s\n" % (n, b"y" * 90)) for n in range(2000)]
    assert time.monotonic() - before < 2 and not all(taken)
    fd = os.open(wire.path, os.O_RDONLY | os.O_NOCTTY | os.O_NONBLOCK)
    data = b""
    while True:
        try:
            more = os.read(fd, 65536)
        except BlockingIOError:
            break
        data += more
    lines = data.split(b"\n")[:-1]
    assert lines and all(len(line) == 97 for line in lines)
    os.close(fd)
    wire.close()


def test_waits_grow_to_a_cap_and_shrink_after_data(monkeypatch, gathered: Gathered) -> None:
    waits = []
    reading = link("/nowhere/at/all")
    monkeypatch.setattr(reading, "_pause", lambda s: (waits.append(s), len(waits) >= 12 and reading._stop.set()))
    reading.start(gathered)
    assert gathered.wait_for(lambda: len(waits) >= 12)
    reading.stop()
    assert waits[0] <= 0.2 and max(waits) <= serial_port.LONGEST_WAIT_S and min(waits[-4:]) > 3
    assert len(set(waits[-4:])) > 1, "jittered"
