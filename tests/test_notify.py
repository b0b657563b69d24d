"""What the service manager is told, by a real daemon and on paper; and what its journal is given."""

from __future__ import annotations

import os
import socket
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from support.bench import RunningBench

from uvdose.notify import Manager, levelled, logs_to_journal

SENSOR = """\
[[sensor]]
name = "sill"
link = "simulated"
scale = 0.0125
"""


class Listening:
    """The manager's end of the socket."""

    def __init__(self, address: str) -> None:
        self.socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self.socket.bind(address)
        self.socket.settimeout(0.05)
        self.heard: list[str] = []

    def all(self) -> list[str]:
        while True:
            try:
                self.heard.append(self.socket.recv(4096).decode())
            except TimeoutError:
                return self.heard


@pytest.fixture
def manager(tmp_path: Path) -> Iterator[Listening]:
    one = Listening(str(tmp_path / "notify"))
    yield one
    one.socket.close()


def _environ(tmp_path: Path, **more: str) -> dict[str, str]:
    return {"NOTIFY_SOCKET": str(tmp_path / "notify")} | more


def test_a_daemon_says_ready_pings_and_says_that_it_ends(manager: Listening, tmp_path: Path) -> None:
    bench = RunningBench(tmp_path / "home", SENSOR)
    bench.env |= _environ(tmp_path, WATCHDOG_USEC="2000000")
    with bench:
        bench.wait_for(lambda: manager.all().count("WATCHDOG=1") >= 3, 20, "pings")
        assert manager.heard[0].startswith("READY=1\nSTATUS=counts, and answers on http://127.0.0.1:")
        assert bench.stop() == 0
    assert manager.all()[-1] == "STOPPING=1"


def test_no_ping_comes_from_a_daemon_whose_writer_has_died(manager: Listening, tmp_path: Path) -> None:
    """The watch ends with a fault, and that the loop still turns is no sign of health."""
    script = tmp_path / "dies.py"
    script.write_text(
        "import sys\nfrom uvdose.journal.writer import Writer\nfrom uvdose.cli import main\n"
        "Writer.alive = lambda self: False\nsys.exit(main())\n"
    )
    bench = RunningBench(tmp_path / "home", SENSOR)
    bench.env |= _environ(tmp_path, WATCHDOG_USEC="400000")
    bench.command = lambda dies="": [  # type: ignore[method-assign]
        __import__("sys").executable, str(script), "--home", str(bench.home.folder), "serve",
    ]
    with bench:
        assert bench.process is not None and bench.process.wait(20) == 1
    assert "WATCHDOG=1" not in manager.all()


def test_pings_come_four_times_within_the_managers_patience(manager: Listening, tmp_path: Path) -> None:
    one = Manager(_environ(tmp_path, WATCHDOG_USEC="20000000"))
    for tenth in range(1000):
        one.alive(tenth / 10)
        manager.all() if tenth % 100 == 99 else None  # a socket holds some ten of them
    assert len(manager.heard) == 20


@pytest.mark.parametrize("more", [{}, {"WATCHDOG_USEC": "x"}, {"WATCHDOG_USEC": "400000", "WATCHDOG_PID": "1"}])
def test_without_a_watchdog_there_is_no_ping(manager: Listening, tmp_path: Path, more: dict[str, str]) -> None:
    one = Manager(_environ(tmp_path, **more))
    one.alive(100.0)
    assert manager.all() == []
    one.ready("here")
    assert manager.all() == ["READY=1\nSTATUS=here"]


def test_an_address_without_a_file_is_served_too() -> None:
    name = f"uvdose-test-{os.getpid()}"
    far = Listening("\0" + name)
    Manager({"NOTIFY_SOCKET": f"@{name}"}).stopping()
    assert far.all() == ["STOPPING=1"]
    far.socket.close()


def test_a_manager_that_is_gone_or_full_holds_nothing_up(manager: Listening, tmp_path: Path) -> None:
    one = Manager(_environ(tmp_path, WATCHDOG_USEC="1000"))
    begun = time.monotonic()
    for second in range(5000):  # more than a socket holds
        one.alive(float(second))
    manager.socket.close()
    one.stopping()
    (tmp_path / "notify").unlink()
    one.stopping()
    Manager({}).ready("nobody")
    Manager({"NOTIFY_SOCKET": "vsock:2:1"}).ready("nobody")
    assert time.monotonic() - begun < 5


def test_the_journal_of_the_system_is_known_by_its_stream() -> None:
    found = os.fstat(0)
    assert logs_to_journal({"JOURNAL_STREAM": f"{found.st_dev}:{found.st_ino}"}, 0)
    assert not logs_to_journal({"JOURNAL_STREAM": "1:1"}, 0) and not logs_to_journal({}, 0)
    assert not logs_to_journal({"JOURNAL_STREAM": "1:1"}, 9999)


@pytest.mark.parametrize(("line", "want"), [
    ("ready http://127.0.0.1:1", "<6>ready http://127.0.0.1:1"),
    ("12:00:00  CALL reached blue\a", "<5>12:00:00  CALL reached blue"),
    ("ALARM the journal cannot be written", "<4>ALARM the journal cannot be written"),
    ("12:00:00  alarm sill: silent", "<4>12:00:00  alarm sill: silent"),
    ("12:00:00  cleared sill: silent", "<6>12:00:00  cleared sill: silent"),
])
def test_lines_have_the_level_that_a_log_is_searched_by(line: str, want: str) -> None:
    said: list[str] = []
    levelled(said.append)(line)
    assert said == [want]
