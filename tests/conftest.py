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
