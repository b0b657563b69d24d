"""Fixtures that tests of several folders share."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from support.broker import Broker
from support.sink import Gathered

from uvdose.clock import FixedClock, HostClock, next_epoch


@pytest.fixture
def broker() -> Iterator[Broker]:
    """A plain broker without logins."""
    with Broker() as running:
        yield running


@pytest.fixture
def fixed_clock() -> FixedClock:
    return FixedClock()


@pytest.fixture
def host_clock() -> Callable[[float], HostClock]:
    """The host's clock from dose time 0, at a pace."""
    return lambda pace=1.0: HostClock(next_epoch(None, 0, 0, pace))


@pytest.fixture
def gathered() -> Gathered:
    return Gathered()


# Files that hold real time or the load of a process against a bound: `tests/run` runs them apart. Those that are busy
# themselves disturb each other, and run two at a time; the others sleep most of the time.
APART = {
    "busy": (
        "endtoend/test_measured_light.py", "web/test_page_benches.py", "web/test_page_connection.py",
        "web/test_page_evening.py", "web/test_page_light.py", "web/test_page_many.py", "web/test_page_paired.py",
        "web/test_page_print.py", "web/test_page_queue.py", "web/test_page_reading.py",
    ),
    "measured": (
        "benches/test_at_one_broker.py", "benches/test_bridged.py", "faults/", "endtoend/", "firmware/test_chip.py",
        "firmware/test_daemon_on_chip.py", "firmware_mpy/test_live.py", "firmware_mpy/test_with_daemon.py",
        "web/test_gate.py", "web/test_live.py", "intake/test_serial_port.py", "intake/test_mqtt.py",
        "intake/test_recording.py", "call/test_outlet.py", "cli/test_commands.py", "test_notify.py",
    ),
}

# Files that take longest, the longest first: else one worker sits with the last of them while the others idle. Among
# those that neither measure nor are busy, one that mostly waits stands between two that reckon, so that no core idles.
LONGEST = (
    "faults/test_matrix.py", "endtoend/test_measured_light.py",
    "dose/test_uncertainty.py", "sensor/test_check_and_watch.py", "journal/test_same_again.py", "sensor/test_zero.py",
    "packed/", "cli/test_readme_print.py", "exposure/test_runs.py",
    "journal/test_long_run.py", "sensor/test_scale.py", "calibrate/test_printers.py", "sensor/test_lamp.py",
    "cli/test_watch.py", "web/test_openapi.py", "cli/test_bad_input.py", "sensor/", "cli/test_sheets_asked.py",
    "endtoend/test_crash.py", "cli/test_commands.py", "faults/test_disk.py", "endtoend/test_mend.py", "endtoend/",
    "benches/test_at_one_broker.py",
    "firmware/test_chip.py", "firmware_mpy/",
    "call/test_ways.py", "cli/test_sensor_find.py", "cli/test_film.py", "cli/test_demo.py",
    "web/test_page_reading.py", "web/test_page_print.py", "web/test_page_queue.py", "web/test_page_many.py", "web/",
    "faults/", "firmware/", "calibrate/", "cli/", "journal/", "bring/",
)


def _among(path: Path, names: tuple[str, ...]) -> int | None:
    """The place of a file in a list."""
    return next((i for i, name in enumerate(names) if f"/tests/{name}" in path.as_posix()), None)


def _apart(path: Path) -> str | None:
    """With which others a file runs, apart from the rest."""
    return next((which for which, names in APART.items() if _among(path, names) is not None), None)


def pytest_ignore_collect(collection_path: Path, config: pytest.Config) -> bool | None:
    """Where only some of those apart are asked for, the other files need not be read."""
    asked = config.getoption("markexpr")
    return True if asked in APART and collection_path.is_file() and _apart(collection_path) != asked else None


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark those that run apart; long files first, within a file nothing moves."""
    places: dict[Path, int] = {}
    for item in items:
        if (which := _apart(item.path)) is not None:
            item.add_marker(which)
        place = _among(item.path, LONGEST)
        places[item.path] = len(LONGEST) if place is None else place
    items.sort(key=lambda item: places[item.path])
