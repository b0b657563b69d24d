"""Several phones at one bench, and many pages open: each sees what the others do, and the count pays nothing for it."""

from __future__ import annotations

import contextlib
import http.client
import json
import os
import socket
import statistics
import threading
import time
from collections.abc import Iterator
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

from support.bench import RunningBench
from support.phone import Phone

from .conftest import OpenPhone

if TYPE_CHECKING:
    from playwright.sync_api import Route

PAGES = 50
TICK_S = 1 / os.sysconf("SC_CLK_TCK")


def test_two_phones_see_each_others_acts_and_one_is_refused(bench: RunningBench, phone: OpenPhone) -> None:
    bench.target("blue", 9000)
    anna, ben = phone(), phone(language="de-DE", size=(320, 568))
    anna.tap("#main")
    ben.kind("count", 3)
    ben.tap("#main")
    anna.kind("held", 3)
    # Both press "go on" at once: one is taken; the other gets the daemon's one line, and nothing is done twice.
    anna.page.evaluate("""() => {
      window.answers = [];
      for (let i = 0; i < 2; i++) fetch('/api/v1/exposures/1/resume', { method: 'POST', body: '{}',
        headers: { 'content-type': 'application/json' } }).then((a) => window.answers.push(a.status));
    }""")
    anna.page.wait_for_function("() => window.answers.length === 2")
    assert sorted(anna.page.evaluate("window.answers")) == [200, 409]
    ben.kind("count", 3)


def test_a_refusal_is_shown_as_its_one_line(bench: RunningBench, phone: OpenPhone) -> None:
    bench.target("blue", 9000)
    one = phone()
    one.page.wait_for_function("() => document.getElementById('sign').innerText.includes('blue v1')")
    # Another begins in the frame while this phone's request is on its way.
    def another_is_faster(route: Route) -> None:
        bench.expose("blue")
        route.continue_()

    one.page.route("**/api/v1/exposures", another_is_faster)
    one.tap("#main")
    one.page.wait_for_selector("#answer:not([hidden])")
    assert "frame 1 is taken by exposure 1" in one.text("#answer")
    one.page.wait_for_function("() => document.getElementById('said').textContent.includes('is taken')")
    one.tap("#answer-close")
    one.page.wait_for_selector("#answer", state="hidden")


def test_what_others_begin_does_not_turn_the_page_away(bench: RunningBench, phone: OpenPhone) -> None:
    bench.target("blue", 9000)
    one = phone()
    assert "Frame 1" in one.text("#sign")
    bench.expose("blue", frame="2")
    one.page.wait_for_selector('.tile[data-frame="2"]')
    assert "Frame 1" in one.text("#sign") and one.page.get_attribute("#main", "data-meaning") == "start:1:blue:1"
    one.page.tap('.tile[data-frame="2"]')
    one.kind("count")


def _who_may_only_look(bench: RunningBench, phone: OpenPhone) -> Phone:
    told = {"hello": {"home": "", "role": "view"}, "status": bench.ask("GET", "/status")}
    stream = "".join(f"event: {name}\ndata: {json.dumps(doc)}\n\n" for name, doc in told.items())
    one = phone()
    one.page.route("**/api/v1/live", lambda route: route.fulfill(body=stream, content_type="text/event-stream"))
    one.page.reload()
    one.page.wait_for_selector("#tag:not([hidden])", state="attached")
    return one


def test_one_who_may_only_look_has_nothing_to_press(bench: RunningBench, phone: OpenPhone) -> None:
    bench.target("blue", 9000)
    bench.expose("blue")
    one = _who_may_only_look(bench, phone)
    one.kind("count")
    for name in ("main", "finish", "undo", "other", "next", "count-in", "again", "done"):
        assert one.page.locator(f"#{name}").is_hidden(), name


def test_one_who_may_only_look_silences_the_own_phone_alone(bench: RunningBench, phone: OpenPhone) -> None:
    bench.target("short", 60, lead_s=0, overshoots=[])
    bench.expose("short")
    RunningBench.wait_for(lambda: bench.exposure(1)["unanswered"] != [], 10, "the target's call")
    one = _who_may_only_look(bench, phone)
    one.tap("#quiet")
    one.page.wait_for_selector("#quiet", state="hidden")
    one.page.wait_for_timeout(1500)
    assert one.page.locator("#quiet").is_hidden() and one.page.locator("#answer").is_hidden()
    assert bench.exposure(1)["unanswered"] != []


def test_one_who_is_not_let_in_is_told_what_to_do(bench: RunningBench, phone: OpenPhone) -> None:
    one = phone(token="wrong")
    one.page.wait_for_selector("#answer:not([hidden])", timeout=15_000)
    assert "phone pair" in one.text("#answer")
    assert one.text("#sign") == "" and one.page.locator("#main").is_hidden()


def test_a_second_tap_does_not_press_what_the_first_has_made_of_the_button(
    bench: RunningBench, phone: OpenPhone
) -> None:
    bench.target("blue", 9000)
    bench.expose("blue")
    one = phone()
    one.kind("count")
    one.page.wait_for_timeout(750)
    one.page.click("#main")
    one.kind("held")
    one.page.click("#main")
    one.page.wait_for_timeout(400)
    assert bench.exposure(1)["state"] == "held"
    one.tap("#main")
    one.kind("count")


def test_two_taps_on_quiet_do_not_hold_the_print(bench: RunningBench, phone: OpenPhone) -> None:
    bench.target("short", 60, lead_s=0, overshoots=[])
    bench.expose("short")
    one = phone()
    one.page.wait_for_selector("#quiet:not([hidden])")
    one.page.wait_for_timeout(750)
    box = one.page.locator("#quiet").bounding_box()
    assert box is not None
    middle = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    one.page.mouse.click(*middle)
    one.page.wait_for_selector("#quiet", state="hidden")
    one.page.mouse.click(*middle)
    one.page.wait_for_timeout(400)
    assert bench.exposure(1)["state"] == "reached"
    one.tap("#main")
    one.kind("held")


def test_a_long_press_does_nothing_when_its_button_has_come_to_mean_another_act(
    bench: RunningBench, phone: OpenPhone
) -> None:
    bench.target("blue", 9000)
    bench.expose("blue")
    bench.act(1, "hold")
    one = phone()
    one.kind("held")
    one.press("#undo", 0)
    one.page.mouse.down()
    bench.act(1, "undo")  # the hold is taken back by another, and "undo" means the start from then on
    one.kind("count")
    one.page.wait_for_timeout(1200)
    one.page.mouse.up()
    assert bench.exposure(1)["state"] == "counting"


def test_a_call_that_is_made_anew_after_quiet_is_heard(bench: RunningBench, phone: OpenPhone) -> None:
    bench.target("short", 100, lead_s=0, overshoots=[])
    bench.expose("short")
    one = phone()
    one.page.mouse.click(4, 4)
    one.kind("enough")
    one.tap("#quiet")
    RunningBench.wait_for(lambda: bench.exposure(1)["unanswered"] == [], 5, "the call is answered")
    one.page.wait_for_timeout(1100)  # the page has been told
    bench.ask("POST", "/exposures/1/move", {"act": "start", "when": {"ago_s": 1}})  # it began a second ago only
    one.kind("count")
    before = len(one.tones())
    one.page.wait_for_selector("#quiet:not([hidden])")
    one.page.wait_for_function("n => window.heard.length > n", arg=before, timeout=8000)


def test_a_call_elsewhere_leads_there(bench: RunningBench, phone: OpenPhone) -> None:
    bench.target("blue", 9000)
    bench.target("short", 60, lead_s=0, overshoots=[])
    bench.expose("blue", frame="1")
    one = phone()
    one.page.mouse.click(4, 4)
    bench.expose("short", frame="3")
    one.page.wait_for_selector("#elsewhere:not([hidden])")
    assert "Frame 3" in one.text("#elsewhere")
    before = len(one.tones())
    one.page.wait_for_function("n => window.heard.length >= n", arg=before + 9, timeout=8000)
    call = [t for t in one.tones()[before:] if round(t["hz"]) in (1047, 1319, 1568)]
    assert len(call) % 9 == 0  # three beats of three tones: the rhythm of frame 3
    one.tap("#elsewhere")
    one.tap("#quiet")
    one.page.wait_for_selector("#quiet", state="hidden")


def test_each_kind_of_call_and_each_frame_sounds_different(bench: RunningBench, phone: OpenPhone) -> None:
    one = phone()
    found = one.page.evaluate("""async () => {
      const { score } = await import('/static/sound.js'), { beatsOf } = await import('/static/model.js');
      const kinds = ['look', 'ready', 'step', 'lead', 'reached', 'overshoot', 'reminder', 'lost', 'test'];
      const names = ['1', '2', '3', '4', '5', '6', '7', '12', 'north', 'south'];
      return [kinds.map((k) => JSON.stringify(score(k, [1]))), names.map((n) => JSON.stringify(beatsOf(n, names)))];
    }""")
    assert len(set(found[0])) == 9
    assert len(set(found[1][:8])) == 8
    assert found[1][6] == "[2.2,1,1]"  # seven: one long for five, two short


def test_the_wall_shows_all_frames_and_has_nothing_to_press(bench: RunningBench, phone: OpenPhone) -> None:
    bench.target("blue", 9000)
    for frame in ("1", "2", "north"):
        bench.expose("blue", frame=frame, label=f"sheet {frame}")
    bench.ask("POST", "/notes", {"kind": "queue", "subject": "bench", "data": {"entries": [{"label": "Ines"}]}})
    wall = phone(size=(1920, 1080), path="/wall")
    wall.page.wait_for_selector("#pane-2")
    assert wall.page.locator("button").count() == 0
    text = wall.text("body")
    for words in ("Frame 1 · sheet 1", "Frame north · sheet north", "COUNTING", "Ines"):
        assert words in text
    heights = wall.page.evaluate(
        "[...document.querySelectorAll('.figures')].map((f) => f.getScreenCTM().a * 100)"
    )
    assert min(heights) >= 1080 / 6
    assert wall.page.evaluate("document.documentElement.scrollHeight") <= 1080
    bench.act(1, "hold")
    wall.page.wait_for_selector("#pane-0[data-kind=held]")


def test_from_an_event_in_the_daemon_to_the_page(bench: RunningBench, phone: OpenPhone) -> None:
    """Committed and told to the last follower, against the moment at which the page's sign has changed."""
    bench.target("blue", 90000)
    bench.expose("blue")
    one = phone()
    one.kind("count")
    one.page.evaluate("""() => {
      window.changes = [];
      new MutationObserver(() => window.changes.push([sign.dataset.kind, Date.now()]))
        .observe(sign, { attributes: true, attributeFilter: ['data-kind'] });
    }""")
    asked: list[float] = []
    for i in range(30):
        asked.append(time.time() * 1000)
        bench.act(1, "resume" if i % 2 else "hold")
        time.sleep(0.23)
    seen = one.page.evaluate("window.changes")
    # The sign is drawn anew for each status, also where its kind stays (the node is armed after each start).
    changes = [at for before, at in zip([["count", 0], *seen], seen, strict=False) if before[0] != at[0]]
    assert len(changes) == 30
    late = [at - asked_ms for (_, at), asked_ms in zip(changes, asked, strict=True)]
    print(f"\nact asked for to the sign: median {statistics.median(late):.0f} ms, worst {max(late):.0f} ms")
    assert statistics.median(late) < 400  # well under 100 on a machine that does nothing else


@contextlib.contextmanager
def _pages(bench: RunningBench, count: int) -> Iterator[list[int]]:
    """Open live streams that are read to the end of what comes; yields the bytes that each has had."""
    had = [0] * count
    at = urlsplit(bench.url)
    connections = []

    def read(i: int, answer: http.client.HTTPResponse) -> None:
        with contextlib.suppress(OSError, ValueError, http.client.HTTPException, AttributeError):
            while data := answer.read1(65536):
                had[i] += len(data)

    for i in range(count):
        connection = http.client.HTTPConnection(at.hostname or "", at.port, timeout=10)
        connection.request("GET", "/api/v1/live", headers={"Authorization": f"Bearer {bench.token}"})
        connections.append((connection, connection.sock))
        threading.Thread(target=read, args=(i, connection.getresponse()), daemon=True).start()
    try:
        yield had
    finally:
        for connection, sock in connections:
            with contextlib.suppress(OSError):
                sock.shutdown(socket.SHUT_RDWR)  # else closing waits for whoever reads it: half a second each
            connection.close()


def _work(bench: RunningBench, seconds: float) -> float:
    """The share of a core that the daemon takes over a while."""
    assert bench.process is not None
    path = f"/proc/{bench.process.pid}/stat"

    def ticks() -> int:
        with open(path) as file:
            fields = file.read().rsplit(")", 1)[1].split()
        return int(fields[11]) + int(fields[12])

    before = ticks()
    time.sleep(seconds)
    return (ticks() - before) * TICK_S / seconds


def _late_calls(bench: RunningBench, first: int) -> list[float]:
    """How late calls came after the moment of their target, ms of real time; below 0: taken in with the start's way."""
    found = []
    for i in range(4):
        bench.target(f"t{first + i}", 20, looks=[], lead_s=0, overshoots=[])
        number = bench.expose(f"t{first + i}")
        begun = time.monotonic()
        bench.wait_line("CALL reached", 10)
        called_s = time.monotonic() - begun
        event = next(e for e in bench.events(number) if e["event"] == "reached")
        begun_dose_s = bench.store().acts(number)[0].when_us / 1e6
        found.append(1000 * (called_s - (event["dose_s"] - begun_dose_s) / bench.pace))
        bench.act(number, "finish")
    return found


def test_fifty_open_pages_cost_the_count_nothing(bench: RunningBench) -> None:
    bench.target("blue", 90000)
    bench.expose("blue", frame="2")
    alone, late_alone = _work(bench, 3), _late_calls(bench, 0)
    with _pages(bench, PAGES) as had:
        crowded, late_crowded = _work(bench, 3), _late_calls(bench, 100)
        assert min(had) > 1000  # each was told
    print(f"\nshare of a core: {alone:.1%} alone, {crowded:.1%} with {PAGES} pages; call late, ms, median: "
          f"{statistics.median(late_alone):.1f} alone, {statistics.median(late_crowded):.1f} with them")
    assert crowded < alone + 0.5
    assert statistics.median(late_crowded) < statistics.median(late_alone) + 200


def test_a_label_of_one_long_word_is_begun_and_not_left_out(bench: RunningBench, phone: OpenPhone) -> None:
    bench.target("blue", 60000)
    bench.expose("blue", label="Schmetterlingsvorsatzpapier" * 7)
    wall = phone(size=(1280, 720), path="/wall")
    wall.page.wait_for_selector(".panes .bar")
    hidden = wall.page.evaluate(
        "() => { const name = document.querySelector('.panes .name'), one = document.createRange();"
        " const at = name.firstChild.data.indexOf('Schm'); one.setStart(name.firstChild, at);"
        " one.setEnd(name.firstChild, at + 4);"
        " return one.getBoundingClientRect().bottom > name.getBoundingClientRect().bottom + 2; }"
    )
    assert hidden is False
    assert wall.page.evaluate("document.documentElement.scrollWidth <= innerWidth")
