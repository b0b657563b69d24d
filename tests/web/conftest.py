"""A real browser, one for all tests of the pages, and benches to look at."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from support.bench import RunningBench
from support.broker import free_port
from support.phone import Phone, chromium

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
