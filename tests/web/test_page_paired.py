"""From the address that the QR code holds to the call: a phone that is paired by itself, with its cookie alone."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import pytest
from support.phone import PHONE, WATCH
from support.site import Site

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page


@pytest.fixture(scope="module")
def bindery(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    with Site(tmp_path_factory.mktemp("paired") / "home") as running:
        running.wait_live()
        running.target("blue", 700, process="iron blue", paper="rag 120 g", lead_s=0, overshoots=[])
        yield running


def _phone(browser: Browser, language: str = "en-GB") -> Page:
    context = browser.new_context(viewport={"width": PHONE[0], "height": PHONE[1]}, has_touch=True, locale=language)
    context.add_init_script(WATCH)
    return context.new_page()


def test_paired_by_the_address_started_by_a_tap_and_called(bindery: Site, browser: Browser) -> None:
    page = _phone(browser)
    page.goto(f"http://127.0.0.1:{bindery.network_port}/pair#{bindery.code(name='window')}")
    assert "#" not in page.url, "the code stays in no history"
    page.tap("#pair")
    page.wait_for_url("**/", timeout=10_000)
    page.wait_for_selector("#sign .word")
    ready = page.inner_text("#sign")
    assert all(words in ready for words in ("Frame 1", "blue v1", "iron blue", "rag 120 g"))
    page.wait_for_function("() => Date.now() - Number(document.querySelector('#main').dataset.since ?? 0) > 720")
    page.tap("#main")
    page.wait_for_selector("#sign[data-kind=count]", timeout=10_000)
    page.wait_for_selector("#sign[data-kind=enough]", timeout=40_000)
    page.wait_for_function("() => window.heard.length > 3")
    assert page.evaluate("document.cookie") == "", "no script sees the cookie"
    [exposure] = bindery.ask("GET", "/status")["exposures"]
    assert exposure["state"] == "reached" and exposure["target"] == "blue"
    bindery.ask("POST", f"/exposures/{exposure['id']}/finish", {})
    page.context.close()


def test_a_phone_that_may_look_sees_and_cannot_act(bindery: Site, browser: Browser) -> None:
    page = _phone(browser)
    page.goto(f"http://127.0.0.1:{bindery.network_port}/pair#{bindery.code(view=True)}")
    page.tap("#pair")
    page.wait_for_url("**/", timeout=10_000)
    page.wait_for_selector("#sign .word")
    before = len(bindery.ask("GET", "/status")["exposures"])
    if page.is_visible("#main"):
        page.tap("#main", force=True)
    page.wait_for_timeout(1000)
    assert len(bindery.ask("GET", "/status")["exposures"]) == before
    page.context.close()


def test_without_being_paired_the_page_says_how(bindery: Site, browser: Browser) -> None:
    page = _phone(browser)
    page.goto(f"http://127.0.0.1:{bindery.network_port}/")
    page.wait_for_function("() => document.body.innerText.includes('uvdose phone pair')", timeout=10_000)
    assert "mJ" not in page.inner_text("body")
    page.context.close()
