"""Who is let in: paired phones by their role, the home's token from this machine alone, and nobody else."""

from __future__ import annotations

import json
import stat
import threading

import pytest
from support.bench import Refused
from support.site import Site, Visitor

from uvdose.web.phones import Phones, digest_of

LOOKS = (
    "/api/v1/hello", "/api/v1/status", "/api/v1/events", "/api/v1/me", "/api/v1/openapi.json", "/api/v1/live",
    "/api/v1/targets", "/api/v1/queue", "/api/v1/exposures/1/light", "/api/v1/outlook",
    "/api/v1/days/2026-06-21", "/api/v1/aim", "/api/v1/benches",
)  # fmt: skip
ACTS = (
    ("/api/v1/exposures", {"target": "blue"}), ("/api/v1/exposures/1/hold", {}), ("/api/v1/exposures/1/move", {}),
    ("/api/v1/exposures/1/shade", {}), ("/api/v1/exposures/1/quiet", {}), ("/api/v1/quiet", {}),
    ("/api/v1/targets", {"name": "mine", "dose": 1.0}), ("/api/v1/notes", {"kind": "film", "data": {}}),
    ("/api/v1/call/test", {}), ("/api/v1/settings/reread", None),
    ("/api/v1/exposures", {"target": "blue", "queued": {"label": "Ines"}}),
    ("/api/v1/notes", {"kind": "queue", "subject": "bench", "data": {"entries": [{"label": "mine"}]}, "based_on": 0}),
)  # fmt: skip
HOME_ONLY = (("GET", "/api/v1/phones"), ("POST", "/api/v1/phones/code"), ("POST", "/api/v1/phones/revoke"))


def every_address() -> list[tuple[str, str, object]]:
    return [("GET", p, None) for p in LOOKS] + [("POST", p, b) for p, b in ACTS] + [(m, p, {}) for m, p in HOME_ONLY]


def test_the_list_of_addresses_is_whole() -> None:
    """An address that is added must be tried here, too; those open to anybody are these, and no others."""
    from uvdose.web.access import Access
    from uvdose.web.app import make_app
    from uvdose.web.pairing import Pairing

    app = make_app(None, Pairing(Access("t", None), list, True))  # type: ignore[arg-type]
    tried = {
        p.replace("/1/", "/{id}/").replace("{id}/hold", "{id}/{act}").replace("2026-06-21", "{date}")
        for _, p, _ in every_address()
    }
    opened = {"/", "/wall", "/benches", "/pair", "/static/{name}", "/ca.crt", "/api/v1/pair"}
    read_by_persons = {"/day", "/day/{date}"}  # tried in test_day_page
    assert {route.path for route in app.routes} == tried | opened | read_by_persons  # type: ignore[attr-defined]


@pytest.mark.parametrize(("method", "path", "body"), every_address())
def test_nobody_and_wrong_tokens_are_kept_out(site: Site, method: str, path: str, body: object) -> None:
    for headers in (
        {}, {"Cookie": "uvdose_phone=wrong"}, {"Authorization": "Bearer wrong"}, {"Authorization": site.token},
        {"Cookie": f"uvdose_phone={site.token}"}, {"Cookie": 'uvdose_phone="\\000;;=='},
    ):  # fmt: skip
        answer = site.visitor().ask(method, path, body, **headers)
        assert answer.status == 401 and "paired phone" in answer.refused, (headers, answer)


def test_the_homes_token_is_taken_from_this_machine_alone(site: Site) -> None:
    bearer = {"Authorization": f"Bearer {site.token}"}
    assert site.visitor().ask("GET", "/api/v1/status", **bearer).status == 401
    assert Visitor(site.inside_port).ask("GET", "/api/v1/status", **bearer).status == 200


def test_a_phone_that_may_look_cannot_act(site: Site) -> None:
    phone = site.phone(view=True)
    assert phone.ask("GET", "/api/v1/me").json == {"role": "view", "name": "phone"}
    assert phone.ask("GET", "/api/v1/status").json["bench"] == "bindery"
    for path, body in ACTS:
        answer = phone.ask("POST", path, body)
        assert answer.status == 403 and "may look, not act" in answer.refused
    assert site.ask("GET", "/status")["exposures"] == [] and site.ask("GET", "/queue")["entries"] == []


def test_no_phone_may_make_codes_or_list_phones(site: Site) -> None:
    phone = site.phone()
    for method, path in HOME_ONLY:
        assert phone.ask(method, path, {} if method == "POST" else None).status == 403


def test_a_phone_that_may_act_acts(site: Site) -> None:
    phone = site.phone(name="anna")
    begun = phone.ask("POST", "/api/v1/exposures", {"target": "blue", "frame": "north"})
    number = begun.json["exposure"]["id"]
    assert phone.ask("POST", f"/api/v1/exposures/{number}/hold", {}).json["exposure"]["state"] == "held"
    assert phone.ask("POST", f"/api/v1/exposures/{number}/finish", {}).status == 200
    phones = {p["name"]: p for p in site.ask("GET", "/phones")}
    assert phones["anna"]["role"] == "act" and phones["anna"]["seen_utc"] is not None
    assert site.ask("POST", "/phones/revoke", {"which": "anna"})[0]["name"] == "anna"


def test_a_revoked_phone_is_out_at_once_and_its_stream_ends(site: Site) -> None:
    phone, other = site.phone(name="lost"), site.phone(name="kept")
    streams = [p.opened("GET", "/api/v1/events") for p in (phone, other)]
    for stream in streams:
        stream.readline()
    told = site.run("phone", "revoke", "lost")
    assert told.returncode == 0 and "lost: taken out" in told.stdout, told
    answer = phone.ask("GET", "/api/v1/status")
    assert answer.status == 401 and other.ask("GET", "/api/v1/status").status == 200
    site.target("after", 100)
    number = site.expose("after", frame="9")
    ended = threading.Thread(target=streams[0].read)  # to its end, which a stream that goes on has not
    ended.start()
    for act in ("hold", "finish"):
        site.ask("POST", f"/exposures/{number}/{act}", {})
    ended.join(10)
    assert not ended.is_alive()
    seen = b""
    while b'"finished"' not in seen:
        seen = streams[1].readline()
        assert seen, "the other phone's stream has ended, too"
    for stream in streams:
        stream.close()


def test_a_phone_taken_out_of_the_file_by_hand_is_out(site: Site) -> None:
    phone = site.phone(name="by hand")
    assert phone.ask("GET", "/api/v1/me").json["name"] == "by hand"
    path = site.home.phones_file
    kept = json.loads(path.read_text())
    kept["phones"] = [p for p in kept["phones"] if p["name"] != "by hand"]
    path.write_text(json.dumps(kept))
    assert phone.ask("GET", "/api/v1/me").status == 401


def test_the_file_holds_no_token_and_is_this_users_alone(site: Site) -> None:
    phone = site.phone(name="anybody")
    assert phone.cookie is not None
    token = phone.cookie.partition("=")[2]
    path = site.home.phones_file
    text = path.read_text()
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert token not in text and digest_of(token) in text


def test_token_guesses_are_slowed_and_a_right_one_is_no_guess(site: Site) -> None:
    guesser = site.visitor()
    told = [guesser.ask("GET", "/api/v1/status", Cookie=f"uvdose_phone=guess{k}").status for k in range(12)]
    assert told[0] == 401 and told[-1] == 429, told
    right = site.phone()
    right.source = guesser.source
    slowed = right.ask("GET", "/api/v1/status")
    assert slowed.status == 429 and int(slowed.headers["retry-after"]) >= 1, "a hit among guesses must not be told"
    assert "wait" in slowed.refused
    assert guesser.ask("GET", "/pair").status == 200, "the way back in stays open"
    assert site.ask("GET", "/status"), "the home's own commands are not slowed"


def test_code_guesses_are_slowed(site: Site) -> None:
    guesser = site.visitor()
    told = [guesser.pair(f"AAAA-AAA{c}").status for c in "23456789ABCD"]
    assert told[0] == 403 and told[-1] == 429, told
    assert guesser.pair(site.code()).status == 429


def test_a_damaged_file_lets_nobody_in_and_is_not_written_over(home) -> None:
    with Site(home) as site:
        phone = site.phone()
        site.home.phones_file.write_text('{"phones": [{"id": 1')
        with pytest.raises(Refused, match="cannot be read"):
            site.ask("GET", "/phones")
        assert phone.ask("GET", "/api/v1/me").status == 401
        site.home.phones_file.unlink()
        assert site.ask("GET", "/phones") == [], "what was wrong with it is wrong no more"
        site.home.phones_file.write_text('{"phones": [{"id": 1')
        with pytest.raises(Refused, match="cannot be read"):
            site.ask("GET", "/phones")
        answer = site.visitor().pair(site.code())
        assert answer.status == 409 and "cannot be read" in answer.refused
        listed = site.run("phone", "list")
        assert listed.returncode == 4 and "no phone is let in" in listed.stderr and listed.stderr.count("\n") == 1
        assert site.home.phones_file.read_text() == '{"phones": [{"id": 1'


def test_names_are_told_apart_and_numbers_are_not_given_twice(tmp_path) -> None:
    phones = Phones(tmp_path / "phones.json")
    first, _ = phones.add("anna", "act")
    second, token = phones.add("anna", "view")
    numbered, _ = phones.add(" 1 ", "view")
    assert (second.name, numbered.name) == ("anna 2", "phone 1")
    assert [p.id for p in phones.revoke("1")] == [1] and first.id == 1
    assert phones.of_token(token) == second
    phones.revoke(None)
    assert phones.of_token(token) is None and phones.add("\x1b[31m<b>\n", "act")[0].id == 4
    assert phones.all()[0].name == "[31m<b>"


def test_a_file_that_hands_have_been_in_is_read_or_refused_whole(tmp_path) -> None:
    path = tmp_path / "phones.json"
    phones = Phones(path)
    _, token = phones.add("anna", "act")
    phones.add("bert", "view")
    good = json.loads(path.read_text())
    for change in (
        {"id": 2}, {"id": 0}, {"id": 10**30}, {"paired_utc": "yesterday"}, {"seen_utc": "9999-99-99T00:00:00Z"},
        {"role": "home"},
    ):  # fmt: skip
        path.write_text(json.dumps(good | {"phones": [good["phones"][0] | change, good["phones"][1]]}))
        assert phones.all() == [] and "it is damaged" in phones.fault, change
        assert phones.of_token(token) is None
    path.write_text(json.dumps({"phones": [good["phones"][0] | {"name": "\x1b[31ma\nb"}]}))
    assert [p.name for p in phones.all()] == ["[31ma b"] and not phones.fault
    assert phones.of_token(token) is not None


def test_a_file_that_was_taken_away_gives_no_number_twice(tmp_path) -> None:
    """A stream that is still open to a phone of before would else go on for the new one of its number."""
    path = tmp_path / "phones.json"
    phones = Phones(path)
    old, _ = phones.add("anna", "act")
    good = json.loads(path.read_text())
    path.unlink()
    new, _ = phones.add("bert", "act")
    assert new.id == 2 and not phones.holds(old.id)
    path.write_text(json.dumps({"phones": good["phones"]}))
    assert phones.add("carla", "act")[0].id == 3


@pytest.mark.parametrize("path", ["/api/v1/live", "/api/v1/events"])
def test_the_head_of_a_stream_is_not_waited_for_for_ever(site: Site, path: str) -> None:
    phone = site.phone(view=True)
    ask = f"Host: 127.0.0.1:{phone.port}\r\nCookie: {phone.cookie}\r\n"
    then = f"GET /api/v1/me HTTP/1.1\r\n{ask}Connection: close\r\n\r\n"
    told = phone.raw(f"HEAD {path} HTTP/1.1\r\n{ask}\r\n{then}".encode())
    assert told.count(b"HTTP/1.1 ") == 2 and b'"role":"view"' in told
