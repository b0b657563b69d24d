"""Codes and the page that shows them: one phone each, for ten minutes; those that only let look serve a class."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from support.site import Site

from uvdose.web.codes import VALID_S, Codes, Grant
from uvdose.web.pages import FOLDER
from uvdose.web.rates import Rates


def test_a_code_pairs_one_phone(site: Site) -> None:
    code = site.code(name="window")
    assert re.fullmatch(r"[2-9A-Z]{4}-[2-9A-Z]{4}", code)
    first = site.visitor()
    answer = first.pair(code.lower().replace("-", " "), name="something else")
    assert answer.status == 200 and answer.json == {"role": "act", "name": "window"}
    again = site.visitor().pair(code)
    assert again.status == 410 and again.json["why"] == "used" and "has been used" in again.refused
    assert "set-cookie" not in again.headers


def test_a_wrong_code_pairs_nothing(site: Site) -> None:
    before = site.ask("GET", "/phones")
    for code in ("AAAA-AAAA", "", "#", "x" * 60000, "\u0000", "ß" * 8):
        answer = site.visitor().pair(code)
        assert answer.status == 403 and answer.json["why"] == "unknown" and "set-cookie" not in answer.headers
    assert site.ask("GET", "/phones") == before


def test_a_code_for_a_class_pairs_many_that_may_look(site: Site) -> None:
    code = site.code(view=True)
    phones = [site.visitor() for _ in range(5)]
    assert {p.pair(code, name="pupil").json["role"] for p in phones} == {"view"}
    assert len({p.cookie for p in phones}) == 5
    assert len({p.ask("GET", "/api/v1/me").json["name"] for p in phones}) == 5


def test_a_phone_that_scans_again_stays_what_it_is_or_may_more(site: Site) -> None:
    phone = site.phone(name="mine")
    cookie, count = phone.cookie, len(site.ask("GET", "/phones"))
    code = site.code()
    assert phone.pair(code).json == {"role": "act", "name": "mine"} and phone.cookie == cookie
    assert phone.pair(site.code(view=True)).json["role"] == "act"
    assert len(site.ask("GET", "/phones")) == count
    looker = site.phone(view=True, name="grows")
    assert looker.pair(code).json["role"] == "act"
    assert len(site.ask("GET", "/phones")) == count + 1, "its old role is taken out"


def test_the_cookie_is_the_servers_alone(site: Site) -> None:
    answer = site.visitor().pair(site.code())
    flags = {f.strip().lower() for f in answer.headers["set-cookie"].split(";")[1:]}
    assert {"httponly", "samesite=strict", "path=/"} <= flags
    assert "secure" not in flags, "over plain http it would be lost"
    assert not any(f.startswith("domain") for f in flags)


def test_a_code_grows_old() -> None:
    now_s = [100.0]
    codes = Codes(lambda: now_s[0])
    code = codes.make("act", "anna")
    assert codes.look(code) == Grant("act", "anna")
    now_s[0] += VALID_S - 1
    assert codes.look(code) == Grant("act", "anna")
    now_s[0] += 2
    assert codes.look(code) == "old"
    codes.spend(code)
    assert codes.look(code) == "used"
    now_s[0] += 7200
    codes.make("act")
    assert codes.look(code) == "unknown", "it is remembered for a while, not for ever"


def test_codes_that_nobody_uses_do_not_fill_the_memory() -> None:
    codes = Codes(lambda: 0.0)
    made = [codes.make("act") for _ in range(200)]
    assert len(set(made)) == 200 and codes.look(made[0]) == "unknown" and isinstance(codes.look(made[-1]), Grant)


def test_the_page_tells_nothing_and_needs_nothing_from_elsewhere(site: Site) -> None:
    page = site.visitor().ask("GET", "/pair")
    text = page.data.decode()
    assert page.headers["content-type"].startswith("text/html") and "bindery" not in text
    assert not re.search(r"<script(?![^>]*\bsrc=)|\son\w+=|<style|\sstyle=|https?://", text), "nothing in line"
    for name in re.findall(r'(?:src|href)="(/[^"]+)"', text):
        assert site.visitor().ask("GET", name).status == 200, name


@pytest.mark.parametrize("language", ["en", "de", "fr"])
def test_the_page_has_all_its_words_in_each_language(language: str) -> None:
    script = (FOLDER / "pair.js").read_text(encoding="utf-8")
    tables = dict(re.findall(r"^  (\w\w): \{\n(.*?)^  \},", script, re.MULTILINE | re.DOTALL))
    keys = {lang: set(re.findall(r"(?m)(?:^ {4}|, )(\w+): \"", table)) for lang, table in tables.items()}
    assert keys[language] == keys["en"] >= {"old", "used", "unknown", "many", "away", "none"}


def test_the_script_never_makes_html() -> None:
    paths = sorted(Path(FOLDER).glob("pair.*"))
    assert len(paths) >= 2
    for path in paths:
        assert not re.search(r"innerHTML|outerHTML|insertAdjacent|document\.write|eval\(", path.read_text())


def test_rates_fill_again_and_forget() -> None:
    now_s = [0.0]
    rates = Rates(3, 0.5, lambda: now_s[0])
    assert [rates.take("a") for _ in range(4)] == [True, True, True, False]
    assert rates.empty("a") and not rates.empty("b") and rates.wait_s("a") == 2
    now_s[0] = 2.0
    assert rates.take("a") and not rates.take("a")
    for k in range(20000):
        rates.take(f"x{k}")
    assert len(rates._kept) <= 4096 and rates.empty("a"), "a flood of addresses lets no guesser off"


def test_cookies_of_other_programs_on_the_host_do_no_harm(site: Site) -> None:
    """A browser shows a host's cookies to each of its ports, also such as follow no rule."""
    phone = site.phone()
    for other in ('seen={"x": [1, 2]}', "a b", "x[1]=2", "path=/", "secure", 'open="', "=", "uvdose_phone=of-another"):
        for cookies in (f"{other}; {phone.cookie}", f"{phone.cookie}; {other}"):
            assert phone.ask("GET", "/api/v1/me", Cookie=cookies).status == 200, cookies


def test_two_daemons_on_one_host_keep_their_phones_apart(site: Site, home: Path) -> None:
    with Site(home) as second:
        here, there = site.phone(), second.phone()
        assert here.cookie is not None and there.cookie is not None
        assert here.cookie.partition("=")[0] != there.cookie.partition("=")[0], "the browser keeps both"
        for visitor in (here, there):
            visitor.cookie = "; ".join([str(here.cookie), str(there.cookie)][:: 1 if visitor is here else -1])
            assert [visitor.ask("GET", "/api/v1/me").status for _ in range(12)] == [200] * 12
        alone = second.visitor()
        alone.cookie = str(here.cookie).partition("; ")[0]
        assert {alone.ask("GET", "/api/v1/me").status for _ in range(12)} == {401}, "it is no guess either"
