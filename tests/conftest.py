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


# Files that take longest, the longest first: else one worker sits with the last of them while the others idle.
LONGEST = (
    "endtoend/test_measured_light.py", "faults/test_matrix.py", "firmware_mpy/test_live.py", "sensor/test_scale.py",
    "web/test_openapi.py", "endtoend/test_crash.py", "cli/test_sensor_find.py", "journal/test_long_run.py",
    "calibrate/", "call/test_ways.py", "sensor/", "web/", "firmware/", "cli/",
)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Long files first; within a file nothing moves."""
    def rank(item: pytest.Item) -> int:
        path = item.path.as_posix()
        return next((i for i, name in enumerate(LONGEST) if f"/tests/{name}" in path), len(LONGEST))

    items.sort(key=rank)
