"""One daemon in the network for each file of tests, and a real browser, one for all tests of the pages."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from support.bench import RunningBench
from support.broker import free_port
from support.phone import Phone, chromium
from support.site import Site

if TYPE_CHECKING:
    from playwright.sync_api import Browser

PACE = 10.0
SENSOR = """
[bench]
name = "bindery"
[[sensor]]
name = "sill"
link = "simulated"
profile = "clear"
scale = 0.0125
full_scale = 1023
"""

OpenPhone = Callable[..., Phone]


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    with chromium() as found:
        yield found


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[RunningBench]:
    """A simulated bench on a port that stays the same over a new start; about 50 mJ/cm2 in each real second."""
    with RunningBench(tmp_path / "home", SENSOR, PACE, free_port()) as running:
        running.wait_live("sill")
        yield running


@pytest.fixture
def phone_at(browser: Browser) -> Iterator[OpenPhone]:
    """Opens phones at a bench, and puts them away at the end."""
    opened: list[Phone] = []

    def open_one(bench: RunningBench, **how: Any) -> Phone:
        opened.append(Phone(browser, bench, **how))
        return opened[-1]

    yield open_one
    for one in opened:
        one.close()


@pytest.fixture
def phone(bench: RunningBench, phone_at: OpenPhone) -> OpenPhone:
    """Opens phones at the simulated bench."""
    return partial(phone_at, bench)


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    """A daemon with a live sensor and one target, in the network."""
    with Site(tmp_path_factory.mktemp("site") / "home") as running:
        running.wait_live()
        running.target("blue", 60000)
        yield running


@pytest.fixture
def home(tmp_path: Path) -> Path:
    return tmp_path / "home"
