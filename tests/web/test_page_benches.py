"""The page of all benches, in a real browser: what lies in the light, who is gone, who may look, and foreign text."""

from __future__ import annotations

import json
import time
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path

import paho.mqtt.client as paho
import pytest
from support.bench import Refused, RunningBench
from support.broker import Broker
from support.phone import Phone
from support.site import Site

from .conftest import OpenPhone

NAMES = ("bindery", "porch", "roof")
SENSOR = """
[bench]
name = "{name}"
[[sensor]]
name = "sill"
link = "simulated"
profile = "clear"
scale = 0.0125
full_scale = 1023
[mqtt]
port = {port}
"""


class Workshop:
    """Three benches at one broker."""

    def __init__(self, stack: ExitStack, folder: Path) -> None:
        self.broker = stack.enter_context(Broker())
        self.benches = {
            name: stack.enter_context(RunningBench(folder / name, SENSOR.format(name=name, port=self.broker.port), 20))
            for name in NAMES
        }
        for bench in self.benches.values():
            bench.wait_live("sill")
            bench.target("blue", 90_000)
            bench.target("short", 60, looks=[], lead_s=0, overshoots=[])

    def say(self, topic: str, payload: bytes) -> None:
        client = paho.Client(paho.CallbackAPIVersion.VERSION2)
        client.connect("127.0.0.1", self.broker.port)
        client.loop_start()
        client.publish(topic, payload, 1, True).wait_for_publish(5)
        client.disconnect()
        client.loop_stop()


@pytest.fixture
def workshop(tmp_path: Path) -> Iterator[Workshop]:
    with ExitStack() as stack:
        yield Workshop(stack, tmp_path)


def box(name: str, state: str = "here") -> str:
    return f".box[data-bench={name}][data-state={state}]"


def fits(one: Phone) -> bool:
    return bool(one.page.evaluate("document.documentElement.scrollWidth <= innerWidth"))


@pytest.mark.parametrize("size", [(390, 844), (1920, 1080)])
def test_each_bench_with_its_prints_and_one_that_went(
    workshop: Workshop, phone_at: OpenPhone, size: tuple[int, int]
) -> None:
    bindery, porch, _ = workshop.benches.values()
    bindery.expose("blue", frame="1", label="Ines fern")
    bindery.expose("short", frame="2", label="Karim")
    held = porch.expose("blue", frame="north", label="Schmetterlingsvorsatzpapier nach altem Muster" * 3)
    porch.act(held, "hold")
    one = phone_at(bindery, size=size, path="/benches", ready=".box")
    for name in NAMES:
        one.page.wait_for_selector(box(name))
    assert one.page.locator("button, a, input").count() == 0, "it only looks"
    one.page.wait_for_selector(f"{box('bindery')} [data-kind=enough], {box('bindery')} [data-kind=over]")
    text = one.text(box("bindery"))
    for words in ("Ines fern", "Frame 1", "blue v1", "COUNTING", "Karim", "take it in"):
        assert words in text, text
    assert "HELD" in one.text(box("porch")) and "nothing in the light" in one.text(box("roof"))
    assert fits(one)
    heights = one.page.evaluate(
        "[...document.querySelectorAll('.print .figures')].map((f) => f.getScreenCTM().a * 100)"
    )
    assert min(heights) >= 44, "a number that is read at arm's length"

    porch.kill()
    one.page.wait_for_selector(box("porch", "gone"), timeout=10_000)
    told = one.text(box("porch", "gone"))
    assert "GONE" in told and "by its own clock" in told and "last heard: held" in told
    assert one.page.locator(f"{box('porch', 'gone')} .strike").count() == 1
    assert one.page.locator(f"{box('bindery')} .strike").count() == 0
    porch.start()
    one.page.wait_for_selector(box("porch"), timeout=10_000)

    # The daemon that serves the page goes: nothing on it looks alive any more.
    bindery.kill()
    one.page.wait_for_selector("#tag:not([hidden])", timeout=12_000)
    assert one.page.locator(".box[data-state=here]").count() == 0
    prints = one.page.locator(".print").count()
    assert prints == 3 and one.page.locator(".strike").count() == prints


def test_foreign_text_stays_text(workshop: Workshop, phone_at: OpenPhone) -> None:
    roof = workshop.benches["roof"]
    label = "<img src=x onerror=\"document.title='caught'\">"
    shown = roof.ask("GET", "/status") | {"utc": "2026-11-26T10:00:00.000Z", "troubles": ["<script>alert(1)</script>"]}
    roof.expose("blue", label="own")
    odd = {"label": label, "target": "</li><b>x", "frame": "\u202e<i>", "fraction": 7e11}
    shown["exposures"] = [roof.exposure(1) | odd]
    workshop.say("uvdose/odd/state", json.dumps(shown).encode())
    workshop.say("uvdose/rubbish/state", b"\x00\xff{")
    one = phone_at(roof, path="/benches", ready=box("roof"))
    one.page.wait_for_selector(box("odd", "silent"), timeout=10_000)
    text = one.text(box("odd", "silent"))
    assert label in text and "</li><b>x v1" in text and "999" not in one.page.title()
    assert one.page.locator(".box img, .box b, .box i, .box script").count() == 0
    assert "cannot be read: 1" in one.text(box("rubbish", "silent"))
    assert fits(one) and one.page.title() == "All benches"


@pytest.mark.parametrize(("language", "words"), [("de-CH", ("Alle Plätze", "nichts im Licht")), ("fr-FR", (
    "Tous les postes", "rien à la lumière"))])
def test_in_the_readers_language(
    workshop: Workshop, phone_at: OpenPhone, language: str, words: tuple[str, str]
) -> None:
    one = phone_at(workshop.benches["roof"], path="/benches", ready=box("porch"), language=language)
    text = one.text("body")
    assert all(word in text for word in words)


def test_a_bench_without_a_broker_says_what_to_do(bench: RunningBench, phone: OpenPhone) -> None:
    one = phone(path="/benches", ready="#answer:not([hidden])")
    assert "[mqtt]" in one.text("#answer")
    with pytest.raises(Refused, match="mqtt"):
        bench.ask("GET", "/benches")


def test_only_who_is_paired_may_look(site: Site, phone_at: OpenPhone) -> None:
    assert site.visitor().ask("GET", "/api/v1/benches").status == 401
    assert site.phone(view=True).ask("GET", "/api/v1/benches").status == 409  # let in; this bench has no broker
    one = phone_at(site, path="/benches", token="wrong")
    one.page.wait_for_selector("#answer:not([hidden])")
    assert "phone pair" in one.text("#answer") and one.page.locator(".box").count() == 0


def test_nobody_looks_and_nobody_listens(workshop: Workshop) -> None:
    """The daemon's connection for it is there while somebody asks, and is given back with the daemon's end."""
    roof = workshop.benches["roof"]
    assert roof.process is not None
    threads = Path(f"/proc/{roof.process.pid}/task")
    before = len(list(threads.iterdir()))
    roof.ask("GET", "/benches")
    time.sleep(0.5)
    assert len(list(threads.iterdir())) == before + 1
    for _ in range(20):
        roof.ask("GET", "/benches")
    assert len(list(threads.iterdir())) == before + 1
    assert roof.stop() == 0
