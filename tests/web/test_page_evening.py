"""Before sunset, on a real daemon that fetches the sun's path by itself: what is left, and what is not today."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator

import pytest
from support.bench import RunningBench
from support.phone import Phone

from .conftest import SENSOR


@pytest.fixture(scope="module")
def evening(tmp_path_factory: pytest.TempPathFactory) -> Iterator[RunningBench]:
    """On the equator at about half past five by the mean sun, which the true one leaves by 16 minutes at most."""
    longitude = (17.5 - time.time() % 86400 / 3600) * 15.0
    place = f'name = "bindery"\nlatitude = 0.0\nlongitude = {(longitude + 180) % 360 - 180:.2f}'
    settings = SENSOR.replace('name = "bindery"', place)
    with RunningBench(tmp_path_factory.mktemp("evening") / "home", settings) as bench:
        bench.wait_live("sill")
        bench.target("small", 900)  # three minutes of its light
        bench.target("large", 60_000)  # more than three hours
        yield bench
        assert bench.stop() == 0, bench.errors()


def _path_is_there(bench: RunningBench, number: int) -> None:
    """Without the sun's path the light of now would finish it in the night."""
    bench.wait_for(lambda: bench.exposure(number)["not_today"], 20, "the sun's path is fetched, and told")


@pytest.mark.parametrize(("language", "never", "left"), [
    ("en-GB", "the sun will not finish this today", "left"),
    ("de-DE", "die Sonne reicht heute nicht mehr", "noch"),
    ("fr-FR", "le soleil n’y suffira plus aujourd’hui", "encore"),
])  # fmt: skip
def test_not_today_and_a_range(
    evening: RunningBench, phone_at: Callable[..., Phone], language: str, never: str, left: str
) -> None:
    large = evening.expose("large", frame="1")
    one = phone_at(evening, language=language)
    _path_is_there(evening, large)
    one.page.wait_for_function("t => document.querySelector('#sign .caption').textContent === t", arg=never)
    assert never in one.text("#facts")
    shown = evening.exposure(large)
    assert shown["eta_s"] is None and shown["eta_low_s"] is None
    evening.act(large, "finish")
    small = evening.expose("small", frame="1")
    one.page.wait_for_function("t => document.querySelector('#sign .caption')?.textContent.includes(t)", arg=left)
    shown = evening.exposure(small)
    assert not shown["not_today"] and 30 <= shown["eta_low_s"] <= shown["eta_s"] <= shown["eta_high_s"] < 1200
    evening.act(small, "finish")
