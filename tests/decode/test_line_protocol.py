"""Line protocol, each case three ways. The forms are those of its public specification (escapes, suffixes, stamps)."""

from __future__ import annotations

from typing import Any

import pytest
from decode.cases import LONG, check_types, cut, decoder, mutated, readings, three_ways
from hypothesis import given
from hypothesis import strategies as st

from uvdose.decode.line_protocol import parse_point
from uvdose.model import BadInput, MomentReading, Refusal

LINES: list[tuple[dict[str, Any], bytes, MomentReading]] = [
    ({}, b"weather,site=a uv=3.2 1465839830100400200", MomentReading(3.2, 1465839830.1004002)),
    ({"field": "uv"}, b"weather,site=a uv=3.2 1465839830100400200", MomentReading(3.2, 1465839830.1004002)),
    ({}, b"weather uv=3.2", MomentReading(3.2)),
    ({}, b"weather uv=3i", MomentReading(3.0)),
    ({}, b"weather uv=3u", MomentReading(3.0)),
    ({}, b"weather uv=-3i", MomentReading(-3.0)),
    ({}, b"weather uv=-1.5e-3", MomentReading(-0.0015)),
    ({}, b'weather on=true,note="a, b=c \\" d",uv=2.5', MomentReading(2.5)),
    ({"field": "uv"}, b"weather temp=21.5,uv=2.5", MomentReading(2.5)),
    ({"field": "weather uv"}, b"weather,a=b temp=21.5,uv=2.5", MomentReading(2.5)),
    ({"field": "weather,site=a uv"}, b"weather,x=1,site=a uv=2.5", MomentReading(2.5)),
    ({"field": r"u\ v"}, rb"my\ place,s\=t=a\,b u\ v=2.5 1465839830", MomentReading(2.5, 1465839830.0)),
    ({}, b"weather uv=2.5 1465839830100", MomentReading(2.5, 1465839830.1)),
    ({}, b"weather uv=2.5 1465839830100400", MomentReading(2.5, 1465839830.1004)),
    # From a board whose clock was never set: the line counts at its arrival.
    ({}, b"weather uv=2.5 12345", MomentReading(2.5)),
    ({}, b"weather uv=2.5 -1", MomentReading(2.5)),
    ({}, b"\x1b[32mweather uv=2.5\x1b[0m", MomentReading(2.5)),
]


@pytest.mark.parametrize(("settings", "line", "reading"), LINES, ids=lambda v: repr(v)[:50])
def test_lines(settings: dict[str, Any], line: bytes, reading: MomentReading) -> None:
    assert three_ways(lambda: decoder("line-protocol", **settings), line) == [reading]


BAD: list[tuple[dict[str, Any], bytes, str]] = [
    ({}, b"weather uv=t", "not a number"),
    ({}, b"weather a=t,b=f", "no numbers"),
    ({"field": "uv"}, b"weather uv=true", "not a number"),
    ({"field": "uv"}, b'weather uv="3.2"', "not a number"),
    ({"field": "uv"}, b"weather uv=nan", "not a finite number"),
    ({"field": "uv"}, b"weather uv=-3u", "not a number"),
    ({"field": "uv"}, b"weather uv=1e999", "not a finite number"),
    ({"field": "uv"}, b"weather uv=1e13", "absurd number"),
    ({}, b"weather uv=1,temp=2", "several fields; set field to one"),
    ({"field": "uv"}, b"weather temp=2", "field not here"),
    ({"field": "sky uv"}, b"weather uv=2", "field not here"),
    ({"field": "weather,site=b uv"}, b"weather,site=a uv=2", "field not here"),
    ({}, b"weather uv=1,uv=2", "field there twice"),
    ({}, b"weather", "not line protocol"),
    ({}, b"weather uv", "not line protocol"),
    ({}, b"weather uv=", "not line protocol"),
    ({}, b"weather uv=1,", "not line protocol"),
    ({}, b",site=a uv=1", "not line protocol"),
    ({}, b"weather,site uv=1", "not line protocol"),
    ({}, b"weather uv=1 noon", "not line protocol"),
    ({}, b'weather uv="1', "not line protocol"),
    ({}, b"UV = 1.84", "not line protocol"),
]


@pytest.mark.parametrize(("settings", "line", "reason"), BAD, ids=lambda v: repr(v)[:50])
def test_bad_lines(settings: dict[str, Any], line: bytes, reason: str) -> None:
    (found,) = three_ways(lambda: decoder("line-protocol", **settings), line)
    assert isinstance(found, BadInput) and found.reason == reason


def test_a_point_in_full() -> None:
    point = parse_point(r'a\,b,t\ 1=x\=y f\=1="s \"q\" \\",g=2i 1465839830100400200')
    assert point.measurement == "a,b" and point.tags == {"t 1": "x=y"}
    assert point.fields == {"f=1": r'"s \"q\" \\"', "g": "2i"} and point.time_s == 1465839830.1004002


def test_a_comment_says_nothing_and_a_message_may_hold_several_points() -> None:
    live = decoder("line-protocol", field="uv")
    assert live.feed(b"# a uv=1\n") == []
    assert live.message(b"a uv=1\na uv=2\n") == [MomentReading(1.0), MomentReading(2.0)]


@pytest.mark.parametrize("field", ["", "a b c", ",a=b uv", "a=b"])
def test_impossible_fields_are_refused(field: str) -> None:
    with pytest.raises(Refusal, match="sill"):
        decoder("line-protocol", field=field)


NAME = st.text(st.sampled_from("ab ,=é"), min_size=1, max_size=8)


def _escaped(name: str) -> str:
    return "".join("\\" + c if c in " ,=" else c for c in name)


@given(NAME, NAME, NAME, NAME, st.floats(-1e9, 1e9))
def test_what_is_written_by_the_rules_is_read_back(
    measurement: str, tag: str, told: str, field: str, value: float
) -> None:
    line = f"{_escaped(measurement)},{_escaped(tag)}={_escaped(told)} {_escaped(field)}={value!r}"
    point = parse_point(line)
    assert (point.measurement, point.tags, list(point.fields)) == (measurement, {tag: told}, [field])
    setting = f"{_escaped(measurement)},{_escaped(tag)}={_escaped(told)} {_escaped(field)}"
    assert decoder("line-protocol", field=setting).message(line.encode()) == [MomentReading(value)]


@given(st.lists(st.sampled_from([b"weather", b",", b"site", b"=", b" ", b"uv", b"3.2", b"i", b'"', b"\\", b"\n"])),
       st.lists(st.integers(0, 200)))
def test_chunking_never_changes_readings(parts: list[bytes], places: list[int]) -> None:
    data = b"".join(parts)
    live = decoder("line-protocol", from_start=False)
    found = [item for chunk in cut(data, places) for item in live.feed(chunk)]
    assert found == decoder("line-protocol", from_start=False).feed(data)


@pytest.mark.timeout(600 if LONG else 120)
@pytest.mark.parametrize("settings", [{}, {"field": "uv"}])
def test_fuzz(settings: dict[str, Any]) -> None:
    made = [line for given, line, _ in LINES if given.get("field") in (None, settings.get("field"))]
    stream, passed = decoder("line-protocol", **settings), 0
    for line in mutated(made, 1_000_000 if LONG else 20_000, seed=5):
        for found in (stream.feed(line), stream.message(line)):
            check_types(found)
            passed += len(readings(found))
    assert passed > 100
