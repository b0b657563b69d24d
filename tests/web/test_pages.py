"""Files of the pages, and what they ask for: types, no way out of the folder, lists, light, calls to be answered."""

from __future__ import annotations

import http.client
import json
import time
import urllib.request
from itertools import islice
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
from support.bench import Refused, RunningBench

from uvdose.web.pages import FOLDER, TYPES


def _get(bench: RunningBench, path: str, **headers: str) -> tuple[int, dict[str, str], bytes]:
    at = urlsplit(bench.url)
    connection = http.client.HTTPConnection(at.hostname or "", at.port, timeout=10)
    connection.request("GET", path, headers=headers)
    answer = connection.getresponse()
    data = answer.read()
    connection.close()
    return answer.status, {k.lower(): v for k, v in answer.getheaders()}, data


def test_files_have_their_types_and_nothing_else_is_given_out(bench: RunningBench) -> None:
    names = [p.name for p in FOLDER.iterdir()]
    assert {Path(n).suffix for n in names} <= TYPES.keys()
    for name in names:
        status, headers, data = _get(bench, f"/static/{name}")
        assert (status, headers["content-type"]) == (200, TYPES[Path(name).suffix])
        assert data == (FOLDER / name).read_bytes()
        assert headers["x-content-type-options"] == "nosniff"
        assert _get(bench, f"/static/{name}", **{"If-None-Match": headers["etag"]})[0] == 304
    for path in ("/", "/wall"):
        assert _get(bench, path)[1]["content-type"].startswith("text/html")
    for path in ("/static/../app.py", "/static/%2e%2e/app.py", "/static/..%2fapp.py", "/static/", "/static/nothing.js",
                 "/static//etc/passwd", "/static/pages.py", "/static/%00"):
        assert _get(bench, path)[0] == 404, path


def test_nothing_on_the_pages_comes_from_elsewhere_or_runs_inline() -> None:
    """A strict content security policy holds: no inline script or style, no other host."""
    for path in FOLDER.iterdir():
        text = path.read_text(encoding="utf-8").replace("http://www.w3.org/2000/svg", "")
        assert "http://" not in text and "https://" not in text, path.name
        if path.suffix == ".html":
            assert "style=" not in text and "onclick" not in text and "<script>" not in text
        if path.suffix == ".js":
            assert "innerHTML" not in text and "eval(" not in text, path.name
        assert len(text.splitlines()) < 300, path.name


def test_data_is_for_whom_the_daemon_knows(bench: RunningBench) -> None:
    for path in ("/live", "/targets", "/queue", "/exposures/1/light"):
        assert _get(bench, f"/api/v1{path}")[0] == 401, path


def test_targets_in_use_and_the_queue(bench: RunningBench) -> None:
    bench.target("blue", 2565, process="iron blue", paper="rag 120 g")
    bench.target("blue", 2600)
    bench.target("old", 900)
    bench.target("old", 900, retired=True)
    (blue,) = bench.ask("GET", "/targets")
    assert (blue["name"], blue["version"], blue["dose"], blue["sensor"]) == ("blue", 2, 2600, "sill")
    assert blue["noted"] == {"process": "iron blue", "paper": "rag 120 g"}
    entries = [{"label": "Ines", "target": "blue", "frame": "2"}, {"label": "Karim"}]
    bench.ask("POST", "/notes", {"kind": "queue", "subject": "bench", "data": {"entries": entries}})
    assert [e["label"] for e in bench.ask("GET", "/queue")["entries"]] == ["Ines", "Karim"]
    for wrong in ({"entries": [{"label": 3}]}, {"entries": [{"label": "x" * 600}]}, {"entries": [{}] * 201}):
        with pytest.raises(Refused):
            bench.ask("POST", "/notes", {"kind": "queue", "subject": "bench", "data": wrong})
    with pytest.raises(Refused, match="one queue"):
        bench.ask("POST", "/notes", {"kind": "queue", "data": {"entries": []}})
    bench.stop()
    bench.start()
    assert [e["label"] for e in bench.ask("GET", "/queue")["entries"]] == ["Ines", "Karim"]


def test_an_open_page_is_told_of_a_new_prints_frame(bench: RunningBench) -> None:
    """Past midnight the status no longer has the print, and the page goes by the list of frames."""
    bench.target("blue", 2565)
    asked = urllib.request.Request(f"{bench.url}/api/v1/live", headers={"Authorization": f"Bearer {bench.token}"})
    with urllib.request.urlopen(asked, timeout=10) as stream:
        assert _next_lists(stream)["frames"] == []
        bench.expose("blue", frame="7")
        assert _next_lists(stream)["frames"] == [{"frame": "7", "target": "blue", "sensor": "sill"}]


def _next_lists(stream: Any) -> Any:
    for line in islice(stream, 60):  # some twenty messages
        if line == b"event: lists\n":
            return json.loads(stream.readline().removeprefix(b"data: "))
    raise AssertionError("no lists came")


def test_the_light_of_an_exposure(bench: RunningBench) -> None:
    bench.target("blue", 100, looks=[], lead_s=0, overshoots=[])
    number = bench.expose("blue")
    bench.wait_for(lambda: bench.exposure(number)["state"] == "reached", 15, "reached")
    bench.act(number, "hold")
    time.sleep(1)
    bench.act(number, "resume")
    time.sleep(1.2)
    bench.act(number, "finish")
    time.sleep(1.2)  # what was read is written down within a second
    light = bench.ask("GET", f"/exposures/{number}/light")
    assert light["unit"] == "mW/cm2" and light["t0_utc"] == bench.exposure(number)["started_utc"]
    times = [t for t, _ in light["points"]]
    assert 20 < len(times) <= 400 and times == sorted(times) and times[-1] <= light["until_s"]
    assert all(4.5 < value < 5.5 for _, value in light["points"])
    ((since, until),) = light["holds"]
    assert 8 <= until - since <= 30 and since >= light["reached_s"] > 15
    for number_text, status in (("999", 409), ("x", 400), ("99999999999", 400)):
        with pytest.raises(Refused) as refused:
            bench.ask("GET", f"/exposures/{number_text}/light")
        assert refused.value.status == status


def test_a_long_exposure_is_thinned_to_four_hundred_points(bench: RunningBench) -> None:
    bench.target("blue", 90000)
    number = bench.expose("blue")
    bench.wait_for(lambda: bench.exposure(number)["measured_s"] > 130, 30, "over 500 readings at 4 Hz")
    time.sleep(1.2)
    points = bench.ask("GET", f"/exposures/{number}/light")["points"]
    assert 300 < len(points) <= 400


def test_a_call_told_by_a_buzzer_stays_until_somebody_answers(bench: RunningBench) -> None:
    """A look is done with for the buzzer once it has sounded; a page sounds it on, until the quiet or an act."""
    bench.target("blue", 2000, looks=[0.05, 0.2], lead_s=0, overshoots=[])
    number = bench.expose("blue")
    bench.wait_for(lambda: bench.exposure(number)["unanswered"] == ["look:0.05"], 10, "the look")
    bench.wait_for(lambda: bench.exposure(number)["calls"] == [], 5, "the buzzer has sounded it")
    assert bench.exposure(number)["unanswered"] == ["look:0.05"]
    bench.ask("POST", f"/exposures/{number}/quiet")
    assert bench.exposure(number)["unanswered"] == []
    assert bench.events(number)[-1]["event"] == "quieted"
    with pytest.raises(Refused, match="no call is on"):
        bench.ask("POST", f"/exposures/{number}/quiet")
    bench.wait_for(lambda: bench.exposure(number)["unanswered"] == ["look:0.2"], 20, "the second look")
    bench.wait_for(lambda: bench.exposure(number)["calls"] == [], 5, "the buzzer has sounded it")
    bench.act(number, "hold")
    assert bench.exposure(number)["unanswered"] == []
