"""The API as it is documented: the document is valid, every address is in it, and whatever is sent, what comes back is
what it says, and never a fault of the daemon."""

from __future__ import annotations

import copy
import json
import os
from collections.abc import Iterator
from typing import Any

import pytest
import requests
import schemathesis
from hypothesis import HealthCheck, given, settings
from openapi_spec_validator import validate
from schemathesis import GenerationMode
from schemathesis.checks import FailureGroup, not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    negative_data_rejection,
    response_schema_conformance,
    status_code_conformance,
)
from support.bench import RunningBench

from uvdose.home import read_runtime
from uvdose.web.routes import ADDRESSES

EXAMPLES = 2000 if os.environ.get("UVDOSE_LONG") else 30
SENSOR = """\
[bench]
name = "bindery"
latitude = 46.8
longitude = 6.9
[[sensor]]
name = "sill"
link = "simulated"
profile = "clear"
scale = 0.0125
full_scale = 1023
"""
CHECKS = [not_a_server_error, status_code_conformance, content_type_conformance, response_schema_conformance]
# The stream of events does not end, and what is not JSON is no matter of a schema.
FUZZED = [a.name for a in ADDRESSES if not a.stream]


class Api:
    """A running daemon, its document, and the prints and targets that guesses are likely to hit."""

    def __init__(self, bench: RunningBench) -> None:
        runtime = read_runtime(bench.home)
        assert runtime is not None
        self.bench = bench
        self.url = runtime.url
        self.headers = {"Authorization": f"Bearer {runtime.token}", "Content-Type": "application/json"}
        self.document = self.get("/openapi.json").json()
        self.schema = schemathesis.openapi.from_dict(self.document)
        self.schema.config.update(base_url=self.url)
        bench.wait_live("sill")
        for name in ("0", "blue"):
            bench.target(name, 2000.0)
        for frame in ("1", "2", "3"):
            bench.expose("blue", frame=frame)

    def get(self, path: str, **more: Any) -> requests.Response:
        return requests.get(f"{self.url}/api/v1{path}", headers=self.headers, timeout=10, **more)

    def operation(self, name: str) -> Any:
        found = (result.ok() for result in self.schema.get_all_operations())
        return next(o for o in found if o.definition.raw["operationId"] == name)


@pytest.fixture(scope="module")
def api(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Api]:
    with RunningBench(tmp_path_factory.mktemp("api") / "home", SENSOR, pace=5) as bench:
        yield Api(bench)
        assert bench.stop() == 0, bench.errors()
        assert not [line for line in bench.said if "failed" in line]


def test_the_document_is_valid_and_whole(api: Api) -> None:
    validate(api.document)
    named = {(method.upper(), path) for path, told in api.document["paths"].items() for method in told}
    assert named == {(a.method, a.full_path) for a in ADDRESSES}
    assert api.document["info"]["version"]


@pytest.mark.parametrize("address", ADDRESSES, ids=lambda a: a.name)
def test_every_address_of_the_table_is_served(api: Api, address: Any) -> None:
    path = address.full_path.format(id=1, act="hold", date="2026-06-21")
    served = {a.method for a in ADDRESSES if a.full_path == address.full_path}
    for other in {"GET", "POST"} - served:
        if (other, address.name) == ("POST", "light"):
            continue  # that is where an act would go
        wrong = requests.request(other, api.url + path, json={}, timeout=10)
        assert wrong.status_code == 405, "the path is there, for its own method"
        assert address.method in wrong.headers["allow"] and set(wrong.json()) == {"refused", "code"}
    bare = requests.request(address.method, api.url + path, json={}, timeout=10)
    assert bare.status_code == (400 if address.needs == "open" else 401) and set(bare.json()) == {"refused", "code"}


@pytest.mark.parametrize("mode", [GenerationMode.POSITIVE, GenerationMode.NEGATIVE], ids=lambda m: m.value)
@pytest.mark.parametrize("name", FUZZED)
def test_whatever_is_sent_the_answer_is_as_documented(api: Api, name: str, mode: GenerationMode) -> None:
    operation = api.operation(name)
    if mode is GenerationMode.NEGATIVE and not (operation.body or operation.path_parameters):
        return  # it takes nothing that could be wrong
    more = [negative_data_rejection] if mode is GenerationMode.NEGATIVE else []  # who is let in: see test_access

    # Each a process of its own.
    examples = min(EXAMPLES, 200) if name == "outlook" else min(EXAMPLES, 10) if name == "day" else EXAMPLES

    @given(case=operation.as_strategy(generation_mode=mode))
    @settings(max_examples=examples, deadline=None, database=None, derandomize=not os.environ.get("UVDOSE_LONG"),
              suppress_health_check=list(HealthCheck))  # fmt: skip
    def fuzz(case: Any) -> None:
        case.call_and_validate(headers=api.headers, checks=[*CHECKS, *more])

    fuzz()


def test_the_check_itself_can_fail(api: Api) -> None:
    """An answer that is not as documented is seen."""
    other = copy.deepcopy(api.document)
    other["components"]["schemas"]["HelloDoc"]["required"] = ["nobody has this key"]
    schema = schemathesis.openapi.from_dict(other)
    schema.config.update(base_url=api.url)
    case = schema["/api/v1/hello"]["GET"].Case()
    with pytest.raises(FailureGroup):
        case.call_and_validate(headers=api.headers, checks=CHECKS)


def test_the_daemon_counts_on_after_all_that(api: Api) -> None:
    before = api.bench.sensor("sill")["readings"]
    api.bench.wait_for(lambda: api.bench.sensor("sill")["readings"] > before, 10, "readings go on")


def test_events_are_lines_as_documented(api: Api) -> None:
    validator = api.document["components"]["schemas"]["EventDoc"]
    with api.get("/events", stream=True) as answer:
        assert answer.headers["content-type"].startswith("application/x-ndjson")
        line = next(answer.iter_lines())
    told = json.loads(line)
    assert set(validator["required"]) <= set(told) <= set(validator["properties"])


@pytest.mark.parametrize("after", ["-1", "x", "1e3", "9" * 18, "٣", ""])
def test_a_wrong_start_of_the_events_is_refused(api: Api, after: str) -> None:
    answer = api.get("/events", params={"after": after})
    assert answer.status_code == 400 and answer.json()["code"] == 2


@pytest.mark.parametrize("body", [b"\xff\xfe", b"[", b"[]", b"null", b"{" * 5000, b'{"way": 5}', b"0" * 70_000])
def test_what_is_no_request_is_refused(api: Api, body: bytes) -> None:
    answer = requests.post(f"{api.url}/api/v1/call/test", data=body, headers=api.headers, timeout=10)
    assert answer.status_code in (400, 413) and set(answer.json()) == {"refused", "code"}
