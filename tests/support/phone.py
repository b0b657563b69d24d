"""A phone that shows the page: a real browser of its own screen size, which remembers what it sounded and felt."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from .bench import RunningBench
from .needs import missing, program

if TYPE_CHECKING:
    from playwright.sync_api import Browser, BrowserContext, Page

PHONE = (390, 844)
# Of lists of features the browser takes the last alone: playwright's own, without those of other systems, and the
# pop-ups of the address bar, which a window that nobody sees would draw for each phone at half of the browser's work.
WITHOUT = (
    "AvoidUnnecessaryBeforeUnloadCheckSync", "DestroyProfileOnBrowserClose", "HttpsUpgrades",
    "HttpsFirstBalancedModeAutoEnable", "LensOverlay", "MediaRouter", "PaintHolding", "ThirdPartyStoragePartitioning",
    "AvoidCorsURLLoaderRestartOnRedirect", "OptimizationHints", "NetworkTimeServiceQuerying", "AimEnabled",
    "PreconnectToSearch", "WebUIOmniboxPopup", "WebUIOmniboxAimPopup",
)  # fmt: skip
FLAGS = [
    "--no-sandbox", "--disable-gpu", "--disable-background-networking", f"--disable-features={','.join(WITHOUT)}",
]  # fmt: skip

# The browser's own interfaces, wrapped: what the page asks of them is written down, and asked of them.
WATCH = """
  window.heard = []; window.felt = []; window.contexts = 0;
  const Real = window.AudioContext;
  window.AudioContext = class extends Real {
    constructor(...given) { super(...given); window.contexts += 1; }
    createOscillator() {
      const made = super.createOscillator(), start = made.start.bind(made);
      const set = made.frequency.setValueAtTime.bind(made.frequency);
      let hz = 0;
      made.frequency.setValueAtTime = (value, at) => { hz = value; return set(value, at); };
      made.start = (at) => { window.heard.push({ hz, wave: made.type, at: performance.now() }); return start(at); };
      return made;
    }
  };
  navigator.vibrate = (pattern) => { window.felt.push(pattern); return true; };
"""


@contextmanager
def chromium() -> Iterator[Browser]:
    """The distribution's browser, without a window."""
    path = program("chromium")
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        missing("playwright", "tests/run installs it with the test extra")
    # The wrapper of the distribution would add the flags of a desktop.
    os.environ.setdefault("CHROMIUM_FLAGS", "")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=FLAGS)
        try:
            yield browser
        finally:
            browser.close()


class Phone:
    """One phone at a bench. Its requests carry the token of the home, as one that is let in would carry its own."""

    def __init__(
        self, browser: Browser, bench: RunningBench, size: tuple[int, int] = PHONE, language: str = "en-GB",
        path: str = "/", token: str | None = None, ready: str = ".sign .word", **more: Any,
    ) -> None:
        self.bench = bench
        self.context: BrowserContext = browser.new_context(
            viewport={"width": size[0], "height": size[1]}, locale=language, has_touch=True, **more
        )
        self.context.add_init_script(WATCH)
        self.let_in(token)
        self.page: Page = self.context.new_page()
        self.faults: list[str] = []
        self.page.on("pageerror", lambda error: self.faults.append(str(error)))
        self.page.goto(bench.url + path)
        if token is None:
            self.page.wait_for_selector(ready)

    def let_in(self, token: str | None = None) -> None:
        """Once more after a new start of the daemon, which gives out a new token."""
        self.context.set_extra_http_headers({"Authorization": f"Bearer {token or self.bench.token}"})

    def kind(self, kind: str, seconds: float = 10) -> None:
        """Wait until the sign shows a state."""
        self.page.wait_for_selector(f"#sign[data-kind={kind}]", timeout=seconds * 1000)

    def tap(self, selector: str, seconds: float = 10) -> None:
        """A tap on a button whose meaning has stood for long enough to be meant."""
        self.page.wait_for_selector(selector, timeout=seconds * 1000)
        self.page.wait_for_function(
            "s => Date.now() - Number(document.querySelector(s).dataset.since ?? 0) > 720", arg=selector
        )
        self.page.tap(selector)

    def press(self, selector: str, ms: int) -> None:
        """A press of so many milliseconds."""
        self.page.wait_for_function(
            "s => !document.querySelector(s).hidden"
            " && Date.now() - Number(document.querySelector(s).dataset.since ?? 0) > 720", arg=selector,
        )
        self.page.locator(selector).scroll_into_view_if_needed()
        box = self.page.locator(selector).bounding_box()
        assert box is not None
        self.page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
        self.page.mouse.down()
        self.page.wait_for_timeout(ms)
        self.page.mouse.up()

    def percent(self) -> int:
        """The figure on the sign, as a screen reader is given it."""
        return int(self.page.inner_text("#sign .number .unseen").split("%")[0].strip() or -1)

    def percent_was(self) -> int:
        """The struck figure of a sign that is lost."""
        return int(re.findall(r"(\d+)%", self.page.inner_text("#sign .number .unseen"))[0])

    def text(self, selector: str) -> str:
        return self.page.inner_text(selector)

    def tones(self) -> list[dict[str, Any]]:
        """Every tone since the page was opened."""
        found: list[dict[str, Any]] = self.page.evaluate("window.heard")
        return found

    def close(self) -> None:
        """Put it away; a fault in the page's code fails the test."""
        self.context.close()
        assert self.faults == []
