"""The outlook over the API and below the sign, at a bench whose sun stands high whenever this runs."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from support.bench import Refused, RunningBench
from support.phone import Phone

from uvdose.foretold import OutlookDoc

from .conftest import SENSOR


def high_sun() -> str:
    """Settings of a bench on the equator where it is about noon."""
    hours = time.time() % 86400 / 3600
    longitude = (12.0 - hours) * 15.0
    place = f'name = "bindery"\nlatitude = 0.0\nlongitude = {(longitude + 180) % 360 - 180:.2f}'
    return SENSOR.replace('name = "bindery"', place)


@pytest.fixture(scope="module")
def sunny(tmp_path_factory: pytest.TempPathFactory) -> Iterator[RunningBench]:
    with RunningBench(tmp_path_factory.mktemp("sunny") / "home", high_sun()) as bench:
        bench.wait_live("sill")
        bench.target("blue", 2565)
        bench.target("never", 800_000)
        yield bench
        assert bench.stop() == 0, bench.errors()


def test_the_document(sunny: RunningBench) -> None:
    told = sunny.ask("GET", "/outlook?target=blue&target=never")
    blue, never = told["targets"]
    assert set(told) == set(OutlookDoc.__struct_fields__)
    assert blue["now"]["sun_deg"] > 55 and 300 < blue["now"]["clear_s"] < 900, "a high sun"
    assert never["last_clear_utc"] is None and never["fit"]["clear"] == 0
    assert sunny.ask("GET", "/outlook?target=blue&target=never") == told, "shared for two minutes"
    assert [t["target"] for t in sunny.ask("GET", "/outlook")["targets"]] == ["blue", "never"]
    sunny.target("blue", 1000)
    assert sunny.ask("GET", "/outlook?target=blue&target=never")["targets"][0]["version"] == 2, "a new target, anew"


@pytest.mark.parametrize(
    ("query", "status", "words"),
    [
        ("target=nobody", 409, "no target"), ("date=soon", 400, "YYYY-MM-DD"), ("date=1999-01-01", 400, "a year"),
        ("sensor=roof", 400, "no sensor"), ("&".join(["target=a"] * 17), 400, "at most"),
        (f"target={'x' * 300}", 400, "at most"),
    ],
)  # fmt: skip
def test_what_cannot_be_told_is_refused(sunny: RunningBench, query: str, status: int, words: str) -> None:
    with pytest.raises(Refused, match=words) as told:
        sunny.ask("GET", f"/outlook?{query}")
    assert told.value.status == status


@pytest.mark.parametrize(
    ("language", "now", "last"),
    [("en-GB", "in a clear sky", "Last start"), ("de-DE", "bei klarem Himmel", "Letzter Start"),
     ("fr-FR", "par ciel clair", "Dernier départ")],
)  # fmt: skip
def test_before_a_print_the_page_says_how_long_it_takes(
    sunny: RunningBench, phone_at: Callable[..., Phone], language: str, now: str, last: str
) -> None:
    one = phone_at(sunny, language=language)
    one.tap("#main")  # two targets: one is chosen
    one.page.wait_for_selector("#choose[open]")
    one.page.locator("#choose-list button", has_text="blue").first.tap()
    one.page.wait_for_selector("#ahead:not([hidden])", state="attached")
    assert now in one.text("#ahead-now") and "min" in one.text("#ahead-now")
    assert last in one.text("#ahead-last") and ":" in one.text("#ahead-last")
    assert one.text("#ahead-name").startswith("blue")


def test_during_a_print_its_own_time_left_is_told_alone(sunny: RunningBench, phone_at: Callable[..., Phone]) -> None:
    number = sunny.expose("blue", frame="7")
    one = phone_at(sunny)
    one.kind("count")
    one.page.wait_for_selector("#ahead", state="hidden")
    sunny.act(number, "finish")
    one.page.wait_for_selector("#ahead:not([hidden])", state="attached")


def test_without_a_place_nothing_is_said(bench: RunningBench, phone_at: Callable[..., Phone]) -> None:
    bench.target("blue", 90000)
    with pytest.raises(Refused, match="where does the bench stand"):
        bench.ask("GET", "/outlook?target=blue")
    one = phone_at(bench)
    with one.page.expect_response(lambda answer: "/outlook" in answer.url) as told:
        one.page.reload()
    assert told.value.status == 409
    one.kind("ready")
    assert one.page.locator("#ahead").is_hidden()


def test_the_memory_stays_small(sunny: RunningBench) -> None:
    """What reckons is a process of its own: the daemon stays as it was, far below its 80 MB."""
    sunny.ask("GET", "/outlook?target=blue")
    assert sunny.process is not None
    status = Path(f"/proc/{sunny.process.pid}/status").read_text()
    rss_kb = int(next(line for line in status.splitlines() if line.startswith("VmRSS")).split()[1])
    print(f"{rss_kb / 1000:.0f} MB")
    assert rss_kb < 70_000
