"""What persons write comes back as text in JSON and never as a page, whatever it looks like."""

from __future__ import annotations

import json

import pytest
from support.site import Site

SCRIPTS = (
    "<script>alert(1)</script>", "<img src=x onerror=alert(1)>", "\"'><svg/onload=alert(1)>", 
    "</title><script>x</script>",
    "{{7*7}}${7*7}<%= 7 %>", "javascript:alert(1)", "\u2028<b>", "&lt;script&gt;",
)  # fmt: skip


def is_json(answer) -> None:
    assert answer.headers["content-type"] == "application/json"
    assert answer.headers["x-content-type-options"] == "nosniff"
    json.loads(answer.data)


@pytest.mark.parametrize("text", SCRIPTS)
def test_script_in_every_text_stays_text(site: Site, text: str) -> None:
    phone = site.phone(name=f"p {text[:30]}")
    answers = [phone.ask("GET", "/api/v1/me")]
    made = phone.ask("POST", "/api/v1/targets", {
        "name": text, "dose": 500, "process": text, "paper": text, "coat": text, "film": text, "humidity": text,
        "drying": text, "coating_age": text, "notes": text, "reason": text, "basis": text, "sensor": text,
    })  # fmt: skip
    answers.append(made)
    starts = ({"target": "blue", "label": text, "frame": text}, {"target": text}, {"target": "blue", "sensor": text})
    for body in starts:
        begun = phone.ask("POST", "/api/v1/exposures", body)
        answers.append(begun)
        if begun.status == 200:
            exposure = begun.json["exposure"]
            assert exposure["label"] == text and exposure["frame"] == text
            answers.append(phone.ask("GET", "/api/v1/status"))
            assert text in [e["label"] for e in answers[-1].json["exposures"]]
            answers.append(phone.ask("POST", f"/api/v1/exposures/{exposure['id']}/finish", {}))
    for kind in ("film", "verdict", text):
        answers.append(phone.ask("POST", "/api/v1/notes", {"kind": kind, "subject": text, "data": {"text": text}}))
    waiting = {"entries": [{"label": text, "target": text, "frame": text}]}
    answers.append(phone.ask("POST", "/api/v1/notes", {"kind": "queue", "subject": "bench", "data": waiting}))
    answers.append(phone.ask("POST", "/api/v1/exposures", {"target": "blue", "queued": {"label": f"{text}?"}}))
    is_json(phone.ask("GET", "/api/v1/queue"))
    answers.append(phone.ask("POST", "/api/v1/exposures/1/move", {"act": text, "when": {"at": text}}))
    answers.append(phone.ask("POST", "/api/v1/pair", {"code": text, "name": text}))
    for answer in answers:
        is_json(answer)
        assert answer.status in (200, 400, 403, 409), answer
    assert any(a.status == 200 for a in answers[1:]) == text.isprintable()


def test_an_address_that_is_not_there_says_nothing_of_what_was_asked(site: Site) -> None:
    phone = site.phone()
    for path in ("/<script>alert(1)</script>", "/api/v1/exposures/<b>/hold", "/api/v1/events?after=<script>"):
        for method in ("GET", "POST"):
            answer = phone.ask(method, path.replace("<", "%3C").replace(">", "%3E"), {} if method == "POST" else None)
            is_json(answer)
            assert b"<" not in answer.data
