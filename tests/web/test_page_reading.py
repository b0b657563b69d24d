"""To be read by all: contrast, size, keyboard, screen readers, three languages, numbers as the reader writes them."""

from __future__ import annotations

import json
import re
import signal
from collections.abc import Callable
from pathlib import Path

import pytest
from support.bench import RunningBench
from support.phone import PHONE, Phone
from support.ptynode import PtyNode

import uvdose

from .conftest import OpenPhone

STATIC = Path(uvdose.__file__).parent / "web" / "static"
SIZES = [(320, 568), PHONE, (844, 390), (820, 1180), (1180, 820)]

# Every element that shows text of its own: its colour against the nearest ground that is not clear.
CONTRAST = """
() => {
  const channel = (v) => (v /= 255) <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4;
  const parse = (text) => (text.match(/[\\d.]+/g) ?? []).map(Number);
  const light = ([r, g, b]) => 0.2126 * channel(r) + 0.7152 * channel(g) + 0.0722 * channel(b);
  const ground = (e) => {
    for (; e; e = e.parentElement) {
      const c = parse(getComputedStyle(e).backgroundColor);
      if (c.length === 3 || c[3] === 1) return c;
    }
    return [255, 255, 255];
  };
  const found = [];
  for (const e of document.querySelectorAll("body *")) {
    const own = [...e.childNodes].some((n) => n.nodeType === 3 && n.textContent.trim());
    const figure = e.tagName === "path" && e.closest(".figures");
    if ((!own && !figure) || e.closest(".unseen") || e.closest("noscript") || !e.getClientRects().length) continue;
    const style = getComputedStyle(e);
    const ink = parse(figure ? style.stroke : e.closest("svg") ? style.fill : style.color);
    const [a, b] = [light(ink), light(ground(e))].sort((x, y) => y - x);
    found.push([(a + 0.05) / (b + 0.05), e.tagName + "." + e.className + "#" + e.id, e.textContent.slice(0, 30)]);
  }
  return found;
}
"""


@pytest.mark.parametrize("look", ["bright", "dim"])
def test_every_text_has_seven_to_one(bench: RunningBench, phone: OpenPhone, look: str) -> None:
    bench.target("blue", 700, process="iron blue", paper="rag 120 g", looks=[0.2], lead_s=10)
    bench.target("brown", 90000)
    bench.ask("POST", "/notes", {"kind": "queue", "subject": "bench", "data": {"entries": [{"label": "Ines"}]}})
    one = phone()
    if look == "dim":
        one.tap("#look")
    _assert_contrast(one, "ready")
    one.tap("#other")
    _assert_contrast(one, "choosing")
    one.page.get_by_role("button", name="blue v1").tap()
    one.tap("#open-settings")
    _assert_contrast(one, "settings")
    one.tap("#settings-close")
    bench.expose("brown", frame="2")
    one.tap("#main")
    one.kind("count")
    one.page.wait_for_selector("#chart:not([hidden]) text")
    _assert_contrast(one, "count")
    one.kind("look")
    _assert_contrast(one, "look")
    one.tap("#main")
    one.kind("held")
    _assert_contrast(one, "held")
    one.tap("#main")
    one.kind("enough", 30)
    _assert_contrast(one, "enough")
    one.kind("over", 30)
    _assert_contrast(one, "over")
    assert bench.process is not None
    bench.process.send_signal(signal.SIGSTOP)
    try:
        one.kind("lost")
        _assert_contrast(one, "lost")
    finally:
        bench.process.send_signal(signal.SIGCONT)


def _assert_contrast(one: Phone, state: str) -> None:
    found = one.page.evaluate(CONTRAST)
    assert len(found) > 5
    assert [f for f in found if f[0] < 7] == [], state


def test_the_check_of_contrast_can_fail(bench: RunningBench, phone: OpenPhone) -> None:
    one = phone()
    one.page.evaluate("document.querySelector('#sign .word').style.color = '#888'")
    assert [f for f in one.page.evaluate(CONTRAST) if f[0] < 7]


@pytest.mark.parametrize("language", ["en-GB", "de-CH", "fr-FR"])
def test_the_digits_are_a_sixth_of_the_screen_and_all_is_at_hand(
    bench: RunningBench, phone: OpenPhone, language: str
) -> None:
    """On each screen: digits, word, hold and finish without scrolling; three digits too; nothing wider than it."""
    bench.target("blue", 90000)
    bench.target("small", 40, overshoots=[])
    bench.expose("blue", label="Anna Weiss-Vogelsang", frame="1")
    bench.expose("small", frame="2")
    bench.expose("blue", frame="north window")
    one = phone(language=language)
    for width, height in SIZES:
        one.page.set_viewport_size({"width": width, "height": height})
        for frame in ("1", "2"):
            one.page.locator(f'.tile[data-frame="{frame}"]').click()
            one.page.wait_for_timeout(150)
            boxes = one.page.evaluate(
                "() => Object.fromEntries(['#sign .figures', '#sign .word', '#main', '#finish', '#tiles'].map((s) => {"
                " const b = document.querySelector(s).getBoundingClientRect();"
                " return [s, [b.left, b.top, b.right, b.bottom]]; }))"
            )
            # Figures fill their drawing from its upper to its lower edge.
            scale = one.page.evaluate(
                "() => { const s = document.querySelector('#sign .figures'); return s.getScreenCTM().a * 100; }"
            )
            assert scale >= height / 6, (width, height, frame, scale)
            for name, (left, _, right, bottom) in boxes.items():
                assert left >= 0 and right <= width + 1, (name, width, height)
                if name != "#tiles":
                    assert bottom <= height + 1, (name, width, height, frame, bottom)
            assert one.page.evaluate("document.documentElement.scrollWidth") <= width


def test_by_keyboard_alone(bench: RunningBench, phone: OpenPhone) -> None:
    bench.target("blue", 9000)
    one = phone()
    keys = one.page.keyboard

    def go_to(name: str) -> None:
        for _ in range(40):
            keys.press("Tab")
            if one.page.evaluate("document.activeElement.id") == name:
                break
        assert one.page.evaluate("document.activeElement.id") == name
        outline = one.page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
        assert outline == "double"  # where the focus is can be seen
        one.page.wait_for_timeout(750)

    go_to("main")
    keys.press("Enter")
    one.kind("count")
    one.page.wait_for_timeout(750)
    keys.press("Space")  # the focus has stayed: the button is now "hold"
    one.kind("held")
    go_to("finish")
    keys.down("Enter")
    one.page.wait_for_timeout(300)
    keys.up("Enter")
    assert bench.exposure(1)["state"] == "held"
    keys.down(" ")
    one.page.wait_for_timeout(1300)
    keys.up(" ")
    one.kind("ready")
    go_to("undo")
    keys.down("Enter")
    one.page.wait_for_timeout(1300)
    keys.up("Enter")
    RunningBench.wait_for(lambda: bench.exposure(1)["state"] == "held", 5, "the finish is taken back")


def test_a_screen_reader_has_names_roles_and_no_chatter(bench: RunningBench, phone: OpenPhone) -> None:
    bench.target("blue", 600, looks=[], lead_s=0, overshoots=[])
    one = phone(reduced_motion="reduce")
    one.page.evaluate("""() => {
      window.said = [];
      new MutationObserver(() => window.said.push(document.getElementById('said').textContent))
        .observe(document.getElementById('said'), { childList: true, characterData: true, subtree: true });
    }""")
    bench.expose("blue", frame="2")
    bench.expose("blue", frame="1")
    one.kind("count")
    one.page.wait_for_selector("#chart:not([hidden])")
    tree = one.page.locator("body").aria_snapshot()
    for part in ('heading "bindery"', 'main "Frame 1', 'button "Hold Frame 1"', 'button "Finish"',
                 'button "Undo: start"', 'navigation "Frames"', 'button "Menu"', "- status",
                 'img "Light over'):
        assert part in tree, tree
    assert not re.search(r"button(:|$)", tree, re.MULTILINE)  # none without a name
    one.kind("enough", 25)
    one.page.wait_for_timeout(400)
    said = one.page.evaluate("window.said")
    assert any("Frame 1, counting" in s for s in said) and any("Frame 1, enough" in s for s in said)
    assert len(said) <= 6, said  # twelve seconds of a rising figure were none of its business
    moving = one.page.evaluate("document.getAnimations().length")
    assert moving == 0
    # What a screen reader presses has no length: it asks once more, then does it.
    one.page.evaluate("document.getElementById('finish').click()")
    one.page.wait_for_function("() => document.getElementById('said').textContent.includes('Once more')")
    assert bench.exposure(2)["state"] != "finished"
    one.page.evaluate("document.getElementById('finish').click()")
    RunningBench.wait_for(lambda: bench.exposure(2)["state"] == "finished", 5, "finished by two presses")


def test_all_texts_are_there_in_three_languages() -> None:
    texts = json.loads((STATIC / "words.json").read_text(encoding="utf-8"))
    languages = texts.pop("languages")
    assert languages == ["en", "de", "fr"]
    for key, words in texts.items():
        assert len(words) == 3 and all(w.strip() for w in words), key
        assert len({frozenset(re.findall(r"\{\w+\}", w)) for w in words}) == 1, key
    used: set[str] = set()
    for path in STATIC.glob("*.js"):
        used |= set(re.findall(r'say\("([\w.-]+)"', path.read_text(encoding="utf-8")))
    assert used <= texts.keys()
    from uvdose.dose.health import WORDS
    from uvdose.same_light import Drift

    ways = {Drift(1.2, 1.1, 1.3, mass, 2.0, lies, tilted).way for mass in (1.0, 2.0, 3.0) for lies in ("", "so")
            for tilted in (False, True)}  # fmt: skip
    assert {f"aim.{way}" for way in ways} <= texts.keys() and len(ways) == 4
    assert {f"alarm.{key}" for key in (*WORDS, "silent", "gap", "link")} <= texts.keys()


@pytest.mark.parametrize(
    ("language", "word", "dose"),
    [
        ("en-GB", "HELD", "of 2,565 mJ/cm²"),
        ("de-DE", "PAUSE", "von 2.565 mJ/cm²"),
        ("fr-FR", "EN PAUSE", "sur 2 565 mJ/cm²"),
    ],
)
def test_the_readers_language_and_numbers(
    bench: RunningBench, phone: OpenPhone, language: str, word: str, dose: str
) -> None:
    bench.target("blue", 2565)
    bench.expose("blue")
    bench.act(1, "hold")
    one = phone(language=language)
    one.kind("held")
    assert one.text("#sign .word").strip() == word
    assert dose in one.text("#facts").replace("\u202f", " ").replace("\xa0", " ")
    assert one.page.evaluate("document.documentElement.lang") == language[:2]
    one.tap("#open-settings")
    one.page.locator('#settings button[lang="fr"]').tap()
    one.page.reload()  # the choice is remembered
    one.page.wait_for_selector("#sign[data-kind=held]")
    assert one.text("#sign .word").strip() == "EN PAUSE"


def test_where_the_screen_may_sleep_the_page_says_what_to_do(bench: RunningBench, phone: OpenPhone) -> None:
    one = phone()
    one.context.add_init_script("Object.defineProperty(window, 'isSecureContext', { value: false })")
    one.page.reload()
    one.page.wait_for_selector("#awake:not(:empty)")
    assert "may go to sleep" in one.text("#awake") and "https" in one.text("#awake")


def test_a_sensor_that_goes_is_told_beside_the_figure_in_the_readers_words(
    tmp_path: Path, phone_at: Callable[..., Phone]
) -> None:
    """Its print is not said to be counting; the page calls for it, until it is quieted on this phone."""
    settings = f'[[sensor]]\nname = "sill"\nlink = "serial"\nport = "{tmp_path}/node"\nscale = 0.0125\n'
    with (
        PtyNode(tmp_path / "node", [40.0] * 60, rate_hz=4) as node,
        RunningBench(tmp_path / "home", settings) as bench,
    ):
        bench.wait_live("sill")
        bench.target("blue", 9000)
        bench.expose("blue")
        one = phone_at(bench, language="de-DE")
        one.page.mouse.click(4, 4)
        one.kind("count")
        node.unplug()
        one.kind("blind")
        assert "Keine Verbindung zum Sensor" in one.text("#sign")
        assert "Keine Verbindung zum Sensor" in one.text("#alarms")
        one.page.wait_for_function("() => window.heard.some((t) => Math.round(t.hz) === 392)")
        one.page.wait_for_function("() => document.getElementById('said').textContent.includes('blind')")
        one.tap("#quiet")
        one.page.wait_for_selector("#quiet", state="hidden")
        assert bench.exposure(1)["state"] == "counting"
        node.plug()
        one.kind("count", 15)


def test_alarms_have_the_pages_words_or_the_daemons(bench: RunningBench, phone: OpenPhone) -> None:
    one = phone(language="de-DE")
    lines = json.loads(one.page.evaluate("""async () => {
      const { alarmsOf } = await import('/static/model.js'), { say, has } = await import('/static/words.js');
      const status = { troubles: ['the journal cannot be written'], sensors: [
        { name: 'sill', alarms: ['a line of the daemon', 'another line'], alarm_keys: ['silent', 'changed'] }] };
      return JSON.stringify(alarmsOf(status, 'sill', say, has).map((a) => a.text));
    }"""))
    assert lines[0].startswith("Es kommt kein Messwert")
    assert lines[1:] == ["another line", "the journal cannot be written"]
