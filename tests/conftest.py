"""Fixtures that tests of several folders share."""

from __future__ import annotations

from collections.abc import Callable, Iterator

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


# Files that hold real time or the load of a process against a bound: `tests/run` runs them apart, fewer at a time.
MEASURED = (
    "faults/", "endtoend/", "firmware/test_chip.py", "firmware/test_daemon_on_chip.py", "firmware_mpy/test_live.py",
    "firmware_mpy/test_with_daemon.py", "web/test_page_many.py", "web/test_page_queue.py", "web/test_gate.py",
    "web/test_page_connection.py", "web/test_live.py", "intake/test_serial_port.py", "intake/test_mqtt.py",
    "intake/test_recording.py", "call/test_outlet.py", "call/test_late_buzz.py", "cli/test_commands.py",
    "test_notify.py",
)

# Files that take longest, the longest first: else one worker sits with the last of them while the others idle.
LONGEST = (
    "faults/test_matrix.py", "endtoend/test_measured_light.py", "firmware_mpy/test_live.py",
    "sensor/test_check_and_watch.py", "sensor/test_scale.py", "web/test_openapi.py", "endtoend/test_crash.py",
    "cli/test_sensor_find.py", "journal/test_long_run.py", "calibrate/", "call/test_ways.py", "sensor/", "web/",
    "firmware/", "cli/",
)


def _among(item: pytest.Item, names: tuple[str, ...]) -> int | None:
    """The place of a test's file in a list."""
    path = item.path.as_posix()
    return next((i for i, name in enumerate(names) if f"/tests/{name}" in path), None)


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark those that measure; long files first, within a file nothing moves."""
    for item in items:
        if _among(item, MEASURED) is not None:
            item.add_marker("measured")
    places = {item.path: _among(item, LONGEST) for item in items}
    items.sort(key=lambda item: len(LONGEST) if (place := places[item.path]) is None else place)
