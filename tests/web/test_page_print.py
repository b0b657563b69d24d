"""A print at the frame, by the page alone: started, called, held, gone on, finished, taken back."""

from __future__ import annotations

import time

from support.bench import RunningBench
from support.phone import Phone

from .conftest import OpenPhone

LOOK, LEAD, REACHED = {587, 880}, {880}, {1047, 1319, 1568}


def test_from_one_tap_to_the_finish(bench: RunningBench, phone: OpenPhone) -> None:
    bench.target("blue", 1000, process="iron blue", paper="rag 120 g", looks=[0.2], lead_s=90, overshoots=[])
    one = phone()
    ready = one.text("#sign")
    for words in ("Frame 1", "blue v1", "iron blue", "rag 120 g", "READY"):
        assert words in ready
    assert one.page.is_visible("#mute") and one.tones() == []  # no browser sounds before a tap

    one.tap("#main")
    one.kind("count")
    assert bench.exposure(1)["state"] == "counting"
    assert one.page.evaluate("window.contexts") == 1
    assert {round(t["hz"]) for t in one.tones()} == {659, 880}  # the first tap plays the test call
    one.page.wait_for_selector("#mute", state="hidden")
    first = one.percent()
    one.page.wait_for_function(
        "p => Number.parseInt(document.querySelector('#sign .number .unseen').textContent) > p", arg=first
    )

    one.kind("look")
    assert one.text("#sign .word").strip() == "LOOK"
    assert _next_tones(one, 1) <= LOOK
    one.page.wait_for_function("window.felt.length >= 2")
    one.tap("#main")  # holding answers the call
    one.kind("held")
    held = bench.exposure(1)
    assert held["state"] == "held" and held["unanswered"] == []
    quiet_since = len(one.tones())
    time.sleep(1.5)
    assert len(one.tones()) == quiet_since
    assert bench.exposure(1)["dose"] == held["dose"]
    assert one.percent() == int(held["fraction"] * 100)

    one.tap("#main")
    one.kind("count")
    one.kind("soon", 20)
    assert _next_tones(one, 1) <= LEAD
    one.kind("enough", 20)
    assert _next_tones(one, 6) == REACHED
    repeated = len(one.tones())
    one.page.wait_for_function("n => window.heard.length > n", arg=repeated, timeout=6000)  # until it is answered
    one.tap("#quiet")
    one.page.wait_for_selector("#quiet", state="hidden")
    RunningBench.wait_for(lambda: bench.exposure(1)["unanswered"] == [], 5, "the call is answered")
    assert "quieted" in [e["event"] for e in bench.events(1)]
    silent_since = len(one.tones())
    time.sleep(3)
    assert len(one.tones()) == silent_since

    one.press("#finish", 300)
    time.sleep(0.3)
    assert bench.exposure(1)["state"] == "reached"  # too short to be meant
    one.press("#finish", 1200)
    one.kind("ready")
    done = bench.exposure(1)
    assert done["state"] == "finished"
    one.press("#undo", 1200)
    RunningBench.wait_for(lambda: bench.exposure(1)["state"] == "reached", 5, "the finish is taken back")
    one.page.wait_for_function("() => document.getElementById('sign').dataset.kind !== 'ready'")


def test_a_count_in_counts_down_and_can_be_cancelled(bench: RunningBench, phone: OpenPhone) -> None:
    bench.target("blue", 5000)
    one = phone()
    one.tap("#count-in")
    one.tap("#main")
    one.kind("wait")
    assert one.text("#sign .number .unseen") in ("3 s", "2 s")
    one.kind("count")
    assert bench.exposure(1)["dose"] < 5000 * 0.05
    one.press("#undo", 1200)
    one.kind("ready")
    one.tap("#main")
    one.kind("wait")
    one.tap("#main")
    one.kind("ready")
    assert bench.exposure(2)["state"] == "void"


def test_a_strip_says_what_to_do_and_takes_done(bench: RunningBench, phone: OpenPhone) -> None:
    steps = [{"share": 0.25, "words": "cover step 1"}, {"share": 0.8, "words": "cover step 2"}]
    trial = {"dose": 700, "unit": "mJ/cm2", "steps": steps}
    one = phone()
    bench.expose("strip 1", trial=trial, part={"kind": "strip", "name": "1"})
    one.kind("count")
    assert "cover step 1" in one.text("#facts")
    one.kind("card")
    assert "cover step 1" in one.text("#sign") and "card 1" in one.text("#done")
    one.tap("#done")
    one.page.wait_for_selector("#done", state="hidden")
    assert bench.exposure(1)["card_moves"] == 1
    assert "cover step 2" in one.text("#facts")


def test_the_steps_of_a_strip_are_said_in_the_readers_language(bench: RunningBench, phone: OpenPhone) -> None:
    """By key and number; what has no key that the page knows stays as the daemon says it, as the commands do."""
    steps = [
        {"share": 0.25, "words": "cover step 7", "key": "cover", "step": 7},
        {"share": 0.5, "words": "turn the sheet", "key": "turn", "step": 2}, {"share": 0.9, "words": "fan it"},
    ]  # fmt: skip
    bench.expose("strip 1", trial={"dose": 900, "unit": "mJ/cm2", "steps": steps}, part={"kind": "strip", "name": "1"})
    one = phone(language="de-DE")
    one.kind("count")
    assert "Stufe 7 abdecken" in one.text("#facts") and "cover" not in one.text("#facts")
    one.kind("card")
    assert "Stufe 7 abdecken" in one.text("#sign") and "Karte 1" in one.text("#done")
    assert bench.ask("GET", "/status")["exposures"][0]["steps"][0]["words"] == "cover step 7"
    one.tap("#done")
    one.page.wait_for_selector("#done", state="hidden")
    assert "turn the sheet" in one.text("#facts")


def test_a_call_closes_what_would_cover_its_quiet(bench: RunningBench, phone: OpenPhone) -> None:
    bench.target("blue", 400, looks=[0.4], lead_s=0, overshoots=[])
    one = phone()
    one.tap("#main")
    one.kind("count")
    one.tap("#open-settings")
    assert one.page.locator("#settings").is_visible()
    one.page.wait_for_selector("#settings", state="hidden", timeout=15_000)
    one.kind("look")
    one.tap("#open-settings")  # while the same call goes on it stays open
    one.page.wait_for_timeout(1200)
    assert one.page.locator("#settings").is_visible()
    one.page.wait_for_selector("#settings", state="hidden", timeout=15_000)  # the target's call is another one
    one.kind("enough")
    one.tap("#quiet")
    RunningBench.wait_for(lambda: bench.exposure(1)["unanswered"] == [], 5, "the call is answered")


def test_the_next_of_the_queue_is_started_with_its_name(bench: RunningBench, phone: OpenPhone) -> None:
    bench.target("blue", 5000)
    bench.target("brown", 9000)
    entries = [{"label": "Ines", "target": "brown"}, {"label": "Karim", "target": "blue"}]
    bench.ask("POST", "/notes", {"kind": "queue", "subject": "bench", "data": {"entries": entries}})
    one = phone()
    one.page.wait_for_selector("#queue-list li")
    assert "brown v1" in one.text("#sign") and "Ines" in one.text("#sign")
    one.tap("#main")
    one.kind("count")
    begun = bench.exposure(1)
    assert (begun["target"], begun["label"]) == ("brown", "Ines")
    RunningBench.wait_for(lambda: [e["label"] for e in bench.ask("GET", "/queue")["entries"]] == ["Karim"], 5, "queue")


def test_what_is_seen_is_what_starts(bench: RunningBench, phone: OpenPhone) -> None:
    """Another target from the list; and a version set meanwhile is shown before it can be started."""
    bench.target("blue", 5000, paper="rag 120 g")
    bench.target("brown", 9000, paper="cotton 300 g")
    one = phone()
    one.tap("#main")  # two targets and none used before: it asks
    one.page.get_by_role("button", name="brown v1").tap()
    assert "cotton 300 g" in one.text("#sign")
    bench.target("brown", 8000)
    one.page.wait_for_function("() => document.getElementById('sign').innerText.includes('brown v2')")
    one.tap("#main")
    one.kind("count")
    assert bench.exposure(1)["target_version"] == 2
    one.press("#finish", 1200)
    one.kind("ready")
    assert "brown v2" in one.text("#sign")  # the last one in this frame


def _next_tones(one: Phone, count: int) -> set[int]:
    """The frequencies of the next tones."""
    before = len(one.tones())
    one.page.wait_for_function("n => window.heard.length >= n", arg=before + count, timeout=8000)
    return {round(t["hz"]) for t in one.tones()[before:before + count]}
