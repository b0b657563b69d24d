"""The light of now on the page: a correction shown in stops and taken with one tap, and what is told at a start."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from support.bench import Refused, RunningBench
from support.clearpast import PACE, SHARE, past_days, settings_at_noon
from support.phone import PHONE, Phone
from support.ptynode import Lamp

from uvdose.listed import AimDoc

from .conftest import OpenPhone
from .test_outlook import high_sun
from .test_page_reading import CONTRAST

LOW_SUN = {"air_mass": 3.0}  # of the proof; the bench's sun stands near the zenith


@pytest.fixture(scope="module")
def noon(tmp_path_factory: pytest.TempPathFactory) -> Iterator[RunningBench]:
    settings = high_sun().replace('name = "sill"', 'name = "sill"\npart = "GUVA-S12SD"')
    with RunningBench(tmp_path_factory.mktemp("noon") / "home", settings) as bench:
        bench.wait_live("sill")
        bench.target("blue", 2565, proved_light=LOW_SUN)
        yield bench
        assert bench.stop() == 0, bench.errors()


def _light_events(bench: RunningBench) -> list[tuple[int, str]]:
    return [(e["exposure"], e["line"]) for e in bench.events() if e["event"] == "light"]


def test_the_document(noon: RunningBench) -> None:
    told = noon.ask("GET", "/aim?target=blue")
    assert set(told) == set(AimDoc.__struct_fields__)
    assert told["way"] == "higher" and told["low_stops"] < told["stops"] < told["high_stops"]
    assert 0.03 < told["stops"] < 0.4 and told["corrects"] is False
    for query, words in (("target=nobody", "no target"), ("target=blue&sensor=roof", "no sensor")):
        with pytest.raises(Refused, match=words):
            noon.ask("GET", f"/aim?{query}")
    noon.target("same", 2565, proved_light={"air_mass": 1.02})
    assert noon.ask("GET", "/aim?target=same")["stops"] is None, "less than a print shows"


@pytest.mark.parametrize(("language", "why", "tap"), [
    ("en-GB", "higher", "stop"), ("de-DE", "höher", "Blende"), ("fr-FR", "plus haut", "diaph"),
])  # fmt: skip
def test_one_tap_takes_it(
    noon: RunningBench, phone_at: Callable[..., Phone], language: str, why: str, tap: str
) -> None:
    one = phone_at(noon, language=language)
    if one.page.locator("#main").get_attribute("data-meaning") == "choose":
        one.tap("#main")
        one.page.get_by_role("button", name="blue v1").tap()
    one.page.wait_for_selector("#aim:not([hidden])", state="attached")
    offered = noon.ask("GET", "/aim?target=blue")["stops"]
    figure = f"+{offered:.2f}" if language == "en-GB" else f"+{offered:.2f}".replace(".", ",")
    assert why in one.text("#aim-why") and figure in one.text("#aim-stops")
    assert figure in one.text("#corrected") and tap in one.text("#corrected")
    one.tap("#corrected")
    one.kind("count")
    begun = noon.ask("GET", "/status")["exposures"][-1]
    assert begun["correction_stops"] == pytest.approx(offered, abs=0.005)
    assert begun["target_dose"] == pytest.approx(begun["target_dose_raw"] * 2 ** begun["correction_stops"])
    noon.wait_for(lambda: _light_events(noon)[-1][0] == begun["id"], 5, "the event is on disk")
    assert "it is corrected" in _light_events(noon)[-1][1]
    assert figure in one.text("#facts") and one.page.locator("#corrected").is_hidden()
    one.press("#finish", 1200)
    one.kind("ready")


def test_a_target_that_corrects_says_so_and_offers_nothing(noon: RunningBench, phone_at: OpenPhone) -> None:
    noon.target("always", 2565, proved_light=LOW_SUN, correct=True)
    one = phone_at(noon)
    one.tap("#other")
    one.page.get_by_role("button", name="always v1").tap()
    one.page.wait_for_selector("#aim:not([hidden])", state="attached")
    assert "always, corrected for the light" in one.text("#aim-name")
    assert one.page.locator("#corrected").is_hidden()


@pytest.mark.parametrize("look", ["bright", "dim"])
def test_it_can_be_read_and_reached(noon: RunningBench, phone_at: OpenPhone, look: str) -> None:
    """Contrast 7:1 as everywhere on the page, targets of 44 pixels (WCAG 2.5.5), all without scrolling."""
    one = phone_at(noon)
    if look == "dim":
        one.tap("#look")
    one.tap("#other")
    one.page.get_by_role("button", name="blue v1").tap()
    one.page.wait_for_selector("#corrected:not([hidden])")
    assert [f for f in one.page.evaluate(CONTRAST) if f[0] < 7] == []
    for width, height in ((320, 568), PHONE, (844, 390)):
        one.page.set_viewport_size({"width": width, "height": height})
        one.page.wait_for_timeout(150)
        for button in ("#corrected", "#main", "#other"):
            box = one.page.locator(button).bounding_box()
            assert box is not None and box["height"] >= 44 and box["y"] + box["height"] <= height + 1, (button, width)
        assert one.page.evaluate("document.documentElement.scrollWidth") <= width


def test_the_page_asks_where_it_seems_to_lie(tmp_path: Path, phone_at: OpenPhone) -> None:
    """In the reader's language; the print goes on."""
    bench = RunningBench(tmp_path / "home", settings_at_noon(tmp_path / "node"), PACE)
    lamp = Lamp(tmp_path / "node", pace=PACE)
    lamp.counts = SHARE * past_days(bench)
    with lamp, bench:
        bench.wait_live("sill")
        bench.target("blue", 90_000.0)

        def known() -> bool:
            taken = bench.ask("POST", "/exposures", {"target": "blue", "frame": "trial"})
            bench.act(taken["exposure"]["id"], "finish")
            return taken["seems"] is not None

        bench.wait_for(known, 40, "five steady minutes, and the clear sky of the days before")
        one = phone_at(bench, language="de-DE")
        one.page.wait_for_function("() => document.querySelector('#main').dataset.meaning?.startsWith('start:')")
        one.tap("#main")
        one.page.wait_for_selector("#answer:not([hidden])")
        assert "Liegt der Rahmen im Schatten?" in one.text("#answer-text") and "30" in one.text("#answer-text")
        one.kind("count")
        one.tap("#answer-close")
        one.page.wait_for_selector("#answer", state="hidden")
