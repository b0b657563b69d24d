"""Next up on the page: shown for the frame, begun by one tap, added to and taken from without typing, by many."""

from __future__ import annotations

import json
import re
import time
from typing import TYPE_CHECKING, Any

import pytest
from support.bench import RunningBench
from support.phone import PHONE, Phone
from support.site import Site

from .conftest import OpenPhone

if TYPE_CHECKING:
    from playwright.sync_api import Browser

INES, KARIM = {"label": "Ines", "target": "brown"}, {"label": "Karim", "target": "blue", "frame": "2"}


def _say(bench: RunningBench, *entries: dict[str, str]) -> None:
    bench.ask("POST", "/notes", {"kind": "queue", "subject": "bench", "data": {"entries": entries}})


def _entries(bench: RunningBench) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = bench.ask("GET", "/queue")["entries"]
    return found


ROWS = "[...document.querySelectorAll('#queue-list li')].map((row) => row.innerText.trim())"


def _rows(one: Phone) -> list[str]:
    found: list[str] = one.page.evaluate(ROWS)
    return found


def _wait_rows(one: Phone, *rows: str) -> None:
    one.page.wait_for_function(
        f"rows => JSON.stringify({ROWS}) === rows",
        arg=json.dumps(rows, separators=(",", ":"), ensure_ascii=False), timeout=5000,
    )


@pytest.fixture
def two_targets(bench: RunningBench) -> RunningBench:
    bench.target("blue", 90000, process="iron blue", paper="rag 120 g")
    bench.target("brown", 90000, process="brown print", paper="kozo")
    return bench


def test_whose_turn_it_is_is_shown_whole_and_begun_by_one_tap(two_targets: RunningBench, phone: OpenPhone) -> None:
    bench = two_targets
    _say(bench, INES, KARIM)
    one = phone()
    _wait_rows(one, "Ines · brown")  # Karim waits for frame 2
    for words in ("Frame 1", "brown v1", "brown print", "kozo", "Ines"):
        assert words in one.text("#sign")
    one.tap("#main")
    one.kind("count")
    begun = bench.exposure(1)
    assert (begun["target"], begun["label"], begun["frame"]) == ("brown", "Ines", "1")
    assert _entries(bench) == [KARIM]
    one.page.wait_for_selector("#queue-list:empty", state="attached")
    one.page.locator('.tile[data-frame="2"]').click()
    _wait_rows(one, "Karim · blue")
    for words in ("Frame 2", "blue v1", "iron blue", "rag 120 g", "Karim"):
        assert words in one.text("#sign")


def test_another_choice_is_kept_and_the_turn_comes_back_by_a_tap(two_targets: RunningBench, phone: OpenPhone) -> None:
    _say(two_targets, INES)
    one = phone()
    _wait_rows(one, "Ines · brown")
    one.tap("#other")
    one.page.get_by_role("button", name="blue v1").tap()
    assert "blue v1" in one.text("#sign") and "Ines" not in one.text("#sign")
    one.tap("#next")
    assert "brown v1" in one.text("#sign") and "Ines" in one.text("#sign")
    one.tap("#other")
    one.page.get_by_role("button", name="blue v1").tap()
    one.tap("#main")
    one.kind("count")
    assert two_targets.exposure(1)["target"] == "blue" and _entries(two_targets) == [INES]


def test_a_turn_whose_target_is_out_of_use_starts_no_other(two_targets: RunningBench, phone: OpenPhone) -> None:
    bench = two_targets
    number = bench.expose("blue")
    bench.act(number, "finish")
    _say(bench, INES)
    bench.target("brown", 90000, retired=True)
    one = phone()
    _wait_rows(one, "Ines · brown")
    assert "no target chosen" in one.text("#sign") and "Choose a target" in one.text("#main")


def test_a_count_in_that_is_cancelled_gives_the_turn_back(two_targets: RunningBench, phone: OpenPhone) -> None:
    _say(two_targets, INES)
    one = phone()
    one.tap("#count-in")
    one.tap("#main")
    one.kind("wait")
    assert _entries(two_targets) == []
    one.tap("#main")
    one.kind("ready")
    _wait_rows(one, "Ines · brown")


def test_one_more_at_the_end_without_typing_numbered_on(two_targets: RunningBench, phone: OpenPhone) -> None:
    bench = two_targets
    number = bench.expose("blue", label="fern", frame="1")
    bench.act(number, "finish")
    _say(bench, {"label": "fern 2", "target": "blue", "frame": "2"})
    one = phone()
    assert "fern 3 · blue" in one.text("#queue-add")
    one.tap("#queue-add")
    _wait_rows(one, "fern 3 · blue")
    one.tap("#queue-add")
    _wait_rows(one, "fern 3 · blue", "fern 4 · blue")
    assert _entries(bench)[1:] == [{"label": f"fern {n}", "target": "blue", "frame": "1"} for n in (3, 4)]
    one.page.wait_for_timeout(800)
    one.page.locator("#queue-add").dblclick()  # two quick taps are one
    _wait_rows(one, "fern 3 · blue", "fern 4 · blue", "fern 5 · blue")
    time.sleep(0.5)
    assert len(_entries(bench)) == 4
    one.tap("#main")
    one.kind("count")
    assert bench.exposure(2)["label"] == "fern 3"
    _wait_rows(one, "fern 4 · blue", "fern 5 · blue")


def test_a_long_press_takes_out_and_a_short_one_does_not(two_targets: RunningBench, phone: OpenPhone) -> None:
    bench = two_targets
    _say(bench, INES, INES, {"label": "Mara", "target": "blue"})
    one = phone()
    _wait_rows(one, "Ines · brown", "Ines · brown", "Mara · blue")
    one.press("#queue-list li:nth-child(3) button", 300)
    time.sleep(0.4)
    assert len(_entries(bench)) == 3
    one.press("#queue-list li:nth-child(3) button", 1200)
    _wait_rows(one, "Ines · brown", "Ines · brown")
    one.press("#queue-list li:nth-child(1) button", 1200)
    _wait_rows(one, "Ines · brown")
    assert _entries(bench) == [INES]


def test_a_row_that_comes_to_mean_another_under_the_finger_is_not_taken_out(
    two_targets: RunningBench, phone: OpenPhone
) -> None:
    _say(two_targets, INES, {"label": "Mara", "target": "blue"})
    one = phone()
    _wait_rows(one, "Ines · brown", "Mara · blue")
    one.page.wait_for_timeout(800)
    row = one.page.locator("#queue-list li:nth-child(1) button")
    row.scroll_into_view_if_needed()
    box = row.bounding_box()
    assert box is not None
    one.page.mouse.move(box["x"] + 20, box["y"] + 20)
    one.page.mouse.down()
    one.page.wait_for_timeout(300)
    _say(two_targets, {"label": "Mara", "target": "blue"})  # Ines has gone: the row under the finger is Mara's
    one.page.wait_for_timeout(1300)
    one.page.mouse.up()
    assert [e["label"] for e in _entries(two_targets)] == ["Mara"]


def test_two_phones_that_change_it_at_once(two_targets: RunningBench, phone: OpenPhone) -> None:
    """One has not heard what the other did: it adds all the same, takes out what is there, begins nothing twice."""
    bench = two_targets
    bench.act(bench.expose("blue", label="fern"), "finish")
    _say(bench, INES, {"label": "Mara", "target": "blue"})
    deaf = phone()
    _wait_rows(deaf, "Ines · brown", "Mara · blue")
    deaf.page.evaluate("""() => {
      window.late = [];
      const real = window.fetch;
      window.fetch = async (path, how) => {  // somebody else is quicker than what this phone has just read
        const before = window.late.shift();
        if (before) await real('/api/v1/notes', { method: 'POST', headers: { 'content-type': 'application/json' },
          body: JSON.stringify({ kind: 'queue', subject: 'bench', data: { entries: before } }) });
        return real(path, how);
      };
    }""")
    mara, fern2 = {"label": "Mara", "target": "blue"}, {"label": "fern 2", "target": "blue", "frame": "1"}
    deaf.page.evaluate("e => { window.late = [e]; }", [INES, mara, fern2])
    deaf.tap("#queue-add")
    _wait_rows(deaf, "Ines · brown", "Mara · blue", "fern 2 · blue", "fern 3 · blue")
    fern3 = fern2 | {"label": "fern 3"}
    assert _entries(bench) == [INES, mara, fern2, fern3]

    deaf.page.evaluate("e => { window.late = [e]; }", [mara, INES, fern3])
    deaf.press("#queue-list li:nth-child(2) button", 1200)
    _wait_rows(deaf, "Ines · brown", "fern 3 · blue")
    assert _entries(bench) == [INES, fern3], "Mara stood elsewhere, and is the same"

    deaf.page.evaluate("e => { window.late = [e]; }", [INES])
    deaf.press("#queue-list li:nth-child(2) button", 1200)
    deaf.page.wait_for_selector("#answer:not([hidden])")
    assert "not in the queue any more" in deaf.text("#answer-text") and _entries(bench) == [INES]

    deaf.tap("#answer-close")
    deaf.page.evaluate("e => { window.late = [e]; }", [mara])
    deaf.tap("#main")
    deaf.page.wait_for_selector("#answer:not([hidden])")
    assert "Ines, brown is not in the queue any more" in deaf.text("#answer-text")
    assert [e["state"] for e in bench.ask("GET", "/status")["exposures"]] == ["finished"]
    assert _entries(bench) == [mara]


def test_by_keyboard_alone(two_targets: RunningBench, phone: OpenPhone) -> None:
    bench = two_targets
    bench.act(bench.expose("blue", label="fern"), "finish")
    one = phone()
    keys = one.page.keyboard

    def go_to(selector: str) -> None:
        for _ in range(60):
            keys.press("Tab")
            if one.page.evaluate("s => document.activeElement.matches(s)", selector):
                break
        assert one.page.evaluate("s => document.activeElement.matches(s)", selector)
        assert one.page.evaluate("getComputedStyle(document.activeElement).outlineStyle") == "double"
        one.page.wait_for_timeout(750)

    go_to("#queue-add")
    keys.press("Enter")
    _wait_rows(one, "fern 2 · blue")
    one.page.wait_for_timeout(750)
    keys.press("Space")  # the focus has stayed
    _wait_rows(one, "fern 2 · blue", "fern 3 · blue")
    go_to("#queue-list li:nth-child(2) button")
    keys.press("Enter")
    one.page.wait_for_timeout(300)
    assert len(_entries(bench)) == 2
    keys.down("Enter")
    one.page.wait_for_timeout(1300)
    keys.up("Enter")
    _wait_rows(one, "fern 2 · blue")


@pytest.mark.parametrize("language", ["en-GB", "de-CH", "fr-FR"])
def test_nothing_is_wider_than_the_screen(two_targets: RunningBench, phone: OpenPhone, language: str) -> None:
    two_targets.act(two_targets.expose("blue", label="Anna Weiss-Vogelsang"), "finish")
    long = {"label": "Unaussprechlichkeitsbescheinigung für Anna", "target": "brown"}
    _say(two_targets, *[long] * 8)
    one = phone(language=language)
    one.page.wait_for_selector("#queue-list li")
    for width, height in ((320, 568), PHONE, (844, 390)):
        one.page.set_viewport_size({"width": width, "height": height})
        one.page.wait_for_timeout(100)
        assert one.page.evaluate("document.documentElement.scrollWidth") <= width
        for box in one.page.evaluate(
            "[...document.querySelectorAll('#queue button')].map((b) => [b.getBoundingClientRect().height,"
            " b.getBoundingClientRect().right])"
        ):
            assert box[0] >= 44 and box[1] <= width
        assert one.page.evaluate("document.getElementById('main').getBoundingClientRect().bottom") <= height + 1
    assert len(_rows(one)) == 5 and "3" in one.text("#queue-more")
    tree = one.page.locator("#queue").aria_snapshot()
    assert tree.count("Anna Weiss") == 1 and len(re.findall(r"- '?button \"", tree)) == 6, tree


def test_a_phone_that_may_only_look_sees_it_and_has_nothing_to_press(site: Site, browser: Browser) -> None:
    entries = [{"label": "Ines", "target": "blue"}]
    site.ask("POST", "/notes", {"kind": "queue", "subject": "bench", "data": {"entries": entries}})
    looker = site.phone(view=True)
    for based_on in (None, 0, site.ask("GET", "/queue")["id"]):
        body = {"kind": "queue", "subject": "bench", "data": {"entries": []}, "based_on": based_on}
        assert looker.ask("POST", "/api/v1/notes", body).status == 403
    page = browser.new_context(viewport={"width": PHONE[0], "height": PHONE[1]}, locale="en-GB").new_page()
    page.goto(f"http://127.0.0.1:{site.network_port}/pair#{site.code(view=True)}")
    page.click("#pair")
    page.wait_for_url("**/", timeout=10_000)
    page.wait_for_selector("#queue-list li")
    assert page.inner_text("#queue-list") == "Ines · blue" and page.inner_text("#tag") == "view only"
    assert "Ines" in page.inner_text("#sign")
    assert page.locator("#queue button:visible, .acts button:visible").count() == 0
    page.context.close()
    assert site.ask("GET", "/queue")["entries"] == entries


def test_a_change_comes_to_the_other_phones_at_once(two_targets: RunningBench, phone: OpenPhone) -> None:
    """No print lies in the light, so that a beat would come in two seconds only."""
    one = phone()
    one.page.wait_for_timeout(500)
    late = []
    for i in range(5):
        label = f"sheet {i}"
        _say(two_targets, {"label": label, "target": "blue"})
        began = time.monotonic()
        _wait_rows(one, f"{label} · blue")
        late.append(time.monotonic() - began)
        time.sleep(0.15)
    assert sorted(late)[2] < 1.0, late  # half a beat; 0.1 s where nothing else runs


def test_the_wall_shows_who_is_next_large(two_targets: RunningBench, phone: OpenPhone) -> None:
    _say(two_targets, *[{"label": f"Printer {i}", "target": "brown", "frame": str(i)} for i in range(9)])
    two_targets.expose("blue", frame="1")
    wall = phone(size=(1920, 1080), path="/wall")
    wall.page.wait_for_selector("#up-list li")
    heights = wall.page.evaluate(
        "[...document.querySelectorAll('#up-list li')].map((e) => Number.parseFloat(getComputedStyle(e).fontSize))"
    )
    assert heights[0] >= 1080 / 18 and min(heights) >= 1080 / 30  # a letter of 36 px of 1080 is read at five metres
    assert "Printer 0 · brown · Frame 0" in wall.text("#up")
    assert wall.page.evaluate("document.documentElement.scrollHeight") <= 1080


def test_the_walls_digits_grow_where_there_are_few_frames(two_targets: RunningBench, phone: OpenPhone) -> None:
    """At least a sixth of the screen beside who is next, more with room, nothing cut off; three digits, too."""
    two_targets.target("small", 20, overshoots=[], looks=[], lead_s=0)
    _say(two_targets, *[INES] * 9)
    wall = phone(size=(1920, 1080), path="/wall")
    least = {1: 1080 / 3, 2: 1080 / 3.5, 3: 1080 / 5}
    for count in range(1, 7):
        two_targets.expose("small", frame=str(count), label="Anna Weiss-Vogelsang")
        wall.page.wait_for_selector(f"#pane-{count - 1} .bar")
        wall.page.wait_for_function("() => document.querySelector('.number .unseen').textContent.length > 3")
        found = wall.page.evaluate("""[...document.querySelectorAll('.panes .sign')].map((pane) => [
          pane.querySelector('.figures').getScreenCTM().a * 100,
          pane.scrollHeight - pane.clientHeight, pane.scrollWidth - pane.clientWidth])""")
        assert len(found) == count
        for digits, too_high, too_wide in found:
            assert digits >= least.get(count, 1080 / 6) and too_high <= 0 and too_wide <= 0, (count, found)
        assert wall.page.evaluate("document.documentElement.scrollHeight") <= 1080
