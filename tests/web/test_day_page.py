"""The page of a day from the daemon: to whom it is shown, that its strict headers hold, and where it leads."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from urllib.parse import quote

import html5lib
import pytest
from support.bench import Refused, RunningBench
from support.site import Site

from uvdose.listed import DayDoc
from uvdose.stamps import from_iso, local_date
from uvdose.web.gate import POLICY

from .conftest import SENSOR, OpenPhone

LABEL = "<script>document.title='x'</script> \"fern\""


@pytest.fixture(scope="module")
def printed(tmp_path_factory: pytest.TempPathFactory) -> Iterator[RunningBench]:
    """A bench with one finished print of today, by its clock."""
    with RunningBench(tmp_path_factory.mktemp("day") / "home", SENSOR, 20) as bench:
        bench.wait_live("sill")
        bench.target("blue", 60)
        number = bench.expose("blue", frame="north", label=LABEL)
        bench.wait_for(lambda: bench.exposure(number)["state"] == "reached", 20, "the target is reached")
        bench.act(number, "finish")
        bench.wait_for(lambda: bench.exposure(number)["settled"], 20, "it is settled")
        yield bench
        assert bench.stop() == 0, bench.errors()


def day_of(bench: RunningBench) -> str:
    """The local day of its print."""
    return local_date(from_iso(bench.exposure(1)["started_utc"]))


def test_it_is_for_those_who_may_look(site: Site) -> None:
    looks = site.phone(view=True)
    for path in ("/day", "/day/2026-06-21", "/day/soon"):
        answer = site.visitor().ask("GET", path)
        assert answer.status == 401 and answer.headers["content-type"].startswith("text/plain")
        assert b"paired phone" in answer.data and b"<" not in answer.data
    wrong = site.visitor().ask("GET", "/day", Cookie="uvdose_phone=wrong")
    assert wrong.status == 401
    nothing = looks.ask("GET", "/day/2000-01-01")
    assert nothing.status == 200 and b"No exposure and no reading is kept of this day" in nothing.data
    assert looks.ask("GET", "/day/soon").status == 400 and b"YYYY-MM-DD" in looks.ask("GET", "/day/soon").data
    assert looks.ask("POST", "/day", {}).status == 405


def test_it_is_valid_and_its_policy_lets_in_its_own_styles_alone(printed: RunningBench, phone_at: OpenPhone) -> None:
    one = phone_at(printed, path="/day", token=printed.token)
    told: list[str] = []
    one.page.on("console", lambda message: told.append(message.text))
    answer = one.page.goto(f"{printed.url}/day/{day_of(printed)}")
    assert answer is not None and answer.status == 200
    policy = answer.headers["content-security-policy"]
    hashed = policy.partition("'sha256-")[2].partition("'")[0]
    assert policy == POLICY.replace("style-src 'self'", f"style-src 'self' 'sha256-{hashed}'") and len(hashed) == 44
    html5lib.HTMLParser(strict=True).parse(answer.text())
    assert LABEL in one.text("body") and one.page.title().endswith("bindery"), "a label is a text"
    assert one.page.evaluate("getComputedStyle(document.querySelector('h1')).fontWeight") == "700", "the styles hold"
    assert not [line for line in told if "Content Security" in line or "Refused" in line], told
    assert one.page.evaluate("document.documentElement.scrollWidth") <= 390, "no wider than the phone"


def test_the_newest_day_and_the_ways_between_days(printed: RunningBench, phone_at: OpenPhone) -> None:
    one = phone_at(printed, path="/day", token=printed.token)
    date = one.text("h1")
    assert [a.get_attribute("href") for a in one.page.locator("nav a").all()] == ["/"], "the only day there is"
    one.page.goto(f"{printed.url}/day/2000-01-01")
    after = one.page.locator("nav a").last
    assert after.get_attribute("href") == f"/day/{day_of(printed)}"
    after.tap()
    one.page.wait_for_url(f"**/day/{day_of(printed)}")
    assert one.text("h1") == date
    one.page.locator("nav a").first.tap()
    one.page.wait_for_selector(".sign .word")


@pytest.mark.parametrize(("language", "words"), [("en-GB", "The day"), ("de-DE", "Der Tag"), ("fr-FR", "La journée")])
def test_the_phones_page_leads_there(printed: RunningBench, phone_at: OpenPhone, language: str, words: str) -> None:
    one = phone_at(printed, language=language)
    link = one.page.locator("#day")
    assert link.inner_text() == words
    link.tap()
    one.page.wait_for_url("**/day")
    assert LABEL in one.text("body")


def test_the_document_has_the_keys_that_are_documented(printed: RunningBench) -> None:
    told = printed.ask("GET", f"/days/{day_of(printed)}")
    assert set(told) == set(DayDoc.__struct_fields__)
    [only] = told["exposures"]
    assert only["label"] == LABEL and only["waits"] and set(only) > set(printed.exposure(1)) - {"begins_in_s"}
    for wrong in ("soon", "20260621", "2026-02-30", "2026-W25-7", "x" * 300, "٢٠٢٦-٠٦-٢١"):
        with pytest.raises(Refused, match="YYYY-MM-DD") as refused:
            printed.ask("GET", f"/days/{quote(wrong)}")
        assert refused.value.status == 400


def test_the_daemon_draws_nothing_itself(printed: RunningBench) -> None:
    """The drawing program lives in another process: the daemon maps none of it, and stays far below its 80 MB."""
    assert printed.process is not None
    printed.ask("GET", f"/days/{day_of(printed)}")
    of_it = Path(f"/proc/{printed.process.pid}")
    assert "matplotlib" not in (of_it / "maps").read_text()
    status = (of_it / "status").read_text()
    rss_kb = int(next(line for line in status.splitlines() if line.startswith("VmRSS")).split()[1])
    print(f"{rss_kb / 1000:.0f} MB")
    assert rss_kb < 70_000
