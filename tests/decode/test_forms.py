"""Numbers, labels and tables: what boards print, each form three ways."""

from __future__ import annotations

from typing import Any

import pytest
from decode.cases import LONG, RUBBISH, check_types, cut, decoder, mutated, readings, three_ways
from hypothesis import given
from hypothesis import strategies as st

from uvdose.model import BadInput, MomentReading, Refusal

# (format, settings, line, value): lines as boards print them.
LINES: list[tuple[str, dict[str, Any], bytes, float]] = [
    ("number", {}, b"10", 10.0),
    ("number", {}, b"  3.42 ", 3.42),
    ("number", {}, b"-0.5", -0.5),
    ("number", {}, b"+1.5e-3", 0.0015),
    ("number", {}, b"\x1b[32m3.42\x1b[0m", 3.42),
    ("number", {}, b"\xef\xbb\xbf3.42", 3.42),
    ("number", {"decimal_comma": True}, b"3,42", 3.42),
    ("number", {"decimal_comma": True}, b"12", 12.0),
    ("label", {"field": "UV Index"}, b"UV Index: 1.84", 1.84),
    ("label", {"field": "uv  index"}, b"UV Index:1.84", 1.84),
    ("label", {"field": "UV"}, b"UV = 1.84", 1.84),
    ("label", {}, b"UV = 1.84", 1.84),
    ("label", {"field": "UV Intensity (mW/cm^2)"}, b" / voltage: 1.20 / UV Intensity (mW/cm^2): 1.50", 1.5),
    ("label", {"field": "UV Intensity"}, b" / voltage: 1.20 / UV Intensity (mW/cm^2): 1.50", 1.5),
    ("label", {"field": "voltage"}, b" / voltage: 1.20 / UV Intensity (mW/cm^2): 1.50", 1.2),
    ("label", {"field": "uv"}, b"12:00:01 T: 21.5C, UV: 1.2mW/cm2", 1.2),
    ("label", {"field": "b"}, b"a:0.12, b:0.98,", 0.98),
    ("label", {"field": "UV", "decimal_comma": True}, b"T: 21,5; UV: 1,84", 1.84),
    ("label", {"field": "UV"}, b"sill UV: 3", 3.0),
    ("label", {"field": "UV"}, b"Max UV: 9 / UV: 3", 3.0),
    ("csv", {"field": "2"}, b"(1.2, 3.4)", 3.4),
    ("csv", {"field": "1"}, b"(1.2, 3.4)", 1.2),
    ("csv", {"field": "b"}, b"a:0.12, b:0.98,", 0.98),
    ("csv", {"field": "b"}, b"a: 0.12 b: 0.98", 0.98),
    ("csv", {"field": "b"}, b"a:0.12\tb:0.98", 0.98),
    ("csv", {"field": "2"}, b"a:0.12, b:0.98,", 0.98),
    ("csv", {"field": "3"}, b"1 2   3.5", 3.5),
    ("csv", {"field": "3"}, b"1\t2\t3.5", 3.5),
    ("csv", {"field": "2"}, b'"x, y",3.5', 3.5),
    ("csv", {}, b"0.5,", 0.5),
    ("csv", {"field": "2", "decimal_comma": True}, b"0,12;0,98", 0.98),
    ("csv", {"field": "2", "decimal_comma": True}, b"0,12\t0,98", 0.98),
    ("csv", {"field": "2", "decimal_comma": True}, b"0,12 0,98", 0.98),
    ("csv", {"field": "2", "decimal_comma": True}, b"0,12, 0,98,", 0.98),
]


@pytest.mark.parametrize(("format", "settings", "line", "value"), LINES, ids=lambda v: repr(v)[:50])
def test_lines(format: str, settings: dict[str, Any], line: bytes, value: float) -> None:
    assert three_ways(lambda: decoder(format, **settings), line) == [MomentReading(value)]


BAD: list[tuple[str, dict[str, Any], bytes, str]] = [
    *[("number", {}, text, "not a finite number") for text in (b"nan", b"NaN", b"inf", b"-inf", b"unknown", b"1e999")],
    *[("number", {}, text, "not a number")
      for text in (b"1_0", b"0x10", b"1.2.3", b"12 mW", b"1,5", b"\xd9\xa1", b"--1", b"1e", b"\xff12", b"b'10'")],
    ("number", {}, b"1.1e12", "absurd number"),
    ("number", {}, b"1\x002", "control characters"),
    ("number", {}, b"1\r2", "control characters"),
    ("number", {"decimal_comma": True}, b"1.234", "decimal point where a comma is set"),
    ("number", {"decimal_comma": True}, b"1,2,3", "not a number"),
    ("label", {"field": "UV"}, b"UV: nan", "not a finite number"),
    ("label", {"field": "UV"}, b"UV: 0x1F", "not a number"),
    ("label", {"field": "UV"}, b"T: 3", "label not here"),
    ("label", {"field": "UV"}, b"XUV: 3", "label not here"),
    ("label", {"field": "UV"}, b"UV: 3 UV: 4", "several values; set field to one label"),
    ("label", {}, b"T: 3 UV: 4", "several values; set field to one label"),
    ("label", {"field": "UV"}, b"UV 3", "no labelled value"),
    ("csv", {"field": "2"}, b"1,", "row too short"),
    ("csv", {"field": "2"}, b"1,,3", "empty value"),
    ("csv", {"field": "2"}, b"1,nan,3", "not a finite number"),
    ("csv", {"field": "2"}, b"nan,nan,nan", "not a finite number"),
    ("csv", {"field": "uv"}, b"1,2", "no header yet"),
    ("csv", {"field": "c"}, b"a:1,b:2", "column not here"),
    ("csv", {}, b"1,2", "several columns; set field to one"),
    ("csv", {"field": "1"}, b"Booting now", "no numbers"),
    ("csv", {"field": "1"}, b",,", "empty value"),
    ("csv", {"field": "1"}, b"()", "row too short"),
]


@pytest.mark.parametrize(("format", "settings", "line", "reason"), BAD, ids=lambda v: repr(v)[:50])
def test_bad_lines(format: str, settings: dict[str, Any], line: bytes, reason: str) -> None:
    (found,) = three_ways(lambda: decoder(format, **settings), line)
    assert isinstance(found, BadInput) and found.reason == reason


def values(found: list[Any]) -> list[float | None]:
    return [item.value if isinstance(item, MomentReading) else None for item in found]


def test_header_and_a_new_header_in_mid_stream() -> None:
    table = decoder("csv", field="aY")
    assert values(table.feed(b"aX,aY,aZ\n0,1,2\n3,4,5\n")) == [1, 4]
    assert values(table.feed(b"boot: garbage\naY,aZ\n6,7\n")) == [None, 6]
    # Lost cells are noticed, and chatter in words does not make the header be forgotten.
    assert values(table.feed(b"6,7,8\nsensor lost, retrying\n8,9\n8,9,\n")) == [None, None, 8, 8]


def test_header_with_units_quotes_and_trailing_comma() -> None:
    assert values(decoder("csv", field="uv").feed(b'"T (C)","UV (mW/cm2)",\n21,1.5\n')) == [1.5]
    assert values(decoder("csv", field="uv").feed(b"uv\n1.5\n")) == [1.5]
    assert values(decoder("csv", field="uv").feed(b"UV (a),UV (b)\n1,2\n")) == [None, None]


def test_columns_by_number_pass_over_a_header() -> None:
    assert values(decoder("csv", field="2").feed(b"aX,aY,aZ\n0,1,2\n")) == [1]


def test_a_header_in_one_message_serves_the_next() -> None:
    table = decoder("csv", field="uv")
    assert values(table.message(b"t,uv\n1,2.5\n")) == [2.5]
    assert values(table.message(b"2,2.6")) == [2.6]


def test_time_and_running_number() -> None:
    table = decoder("csv", field="uv", time_field="t", seq_field="n")
    assert table.feed(b"n,t,uv\n7,12.5,3\n8,2026-05-05T08:57:42Z,4\n9,2026-05-05T10:57:42.5+02:00,5\n") == [
        MomentReading(3.0, 12.5, 7),
        MomentReading(4.0, 1777971462.0, 8),
        MomentReading(5.0, 1777971462.5, 9),
    ]
    found = table.feed(b"1.5,12.5,3\n10,noon,3\n10,,3\n11,2026-13-05T08:57:42Z,4\n")
    assert [item.reason for item in found if isinstance(item, BadInput)] == [
        "seq: not a whole number", "time: not a number", "time: empty value", "time: not a moment of ISO 8601",
    ]
    comma = decoder("csv", field="2", time_field="1", decimal_comma=True)
    assert comma.feed(b"12,5;3,25\n") == [MomentReading(3.25, 12.5)]


@pytest.mark.parametrize("format", ["number", "label", "csv", "json", "senml"])
def test_what_comes_before_the_first_newline_is_no_reading(format: str) -> None:
    settings, line, value = {
        "number": ({}, b"184.2", 184.2),
        "label": ({"field": "UV"}, b"UV: 184.2", 184.2),
        "csv": ({"field": "1"}, b"184.2,1", 184.2),
        "json": ({"field": ""}, b"184.2", 184.2),
        "senml": ({}, b'[{"n":"uv","v":184.2}]', 184.2),
    }[format]
    live = decoder(format, from_start=False, **settings)
    assert live.feed(line[:1]) == [] and live.feed(line[1:] + b"\n" + line + b"\n") == [MomentReading(value)]
    assert values(decoder(format, from_start=True, **settings).feed(line + b"\n" + line + b"\n")) == [value, value]
    assert values(decoder(format, from_start=False, **settings).message(line)) == [value]
    unreadable = decoder(format, from_start=False, **settings).feed(RUBBISH + b"\n" + line + b"\n")
    assert values(unreadable) == [None, value]


def test_a_header_before_the_first_newline_is_used() -> None:
    assert values(decoder("csv", from_start=False, field="uv").feed(b"t,uv\n1,2\n")) == [2]
    # One that was cut has fewer columns than the rows, and is not believed.
    assert values(decoder("csv", from_start=False, field="uv").feed(b"uv\n1,2\n")) == [None]


@pytest.mark.parametrize("format", ["number", "label", "csv", "json", "senml"])
def test_rubbish_without_newline_is_one_bad_input(format: str) -> None:
    live = decoder(format, from_start=False, field="/uv" if format == "json" else None)
    found = [item for _ in range(100) for item in live.feed(b"1" * 1000)]
    assert len(found) == 1 and isinstance(found[0], BadInput) and found[0].reason == "overlong"


def test_an_empty_message_is_bad_input_and_an_empty_line_is_nothing() -> None:
    number = decoder("number")
    assert number.message(b"") == [BadInput("empty message", "")]
    assert number.message(b" \r\n") == [BadInput("empty message", r" \r\n")]
    assert number.feed(b"\n\r\n  \n") == []


PIECES = [b"1.5", b"2", b",", b";", b"\t", b" ", b"a", b"uv", b":", b"\n", b"\r", b"\r\n", b"nan", b"(", b")",
          b"\x1b[0m", b"uv,t\n", b"\xef\xbb\xbf", b"x" * 4096, b'{"uv":', b"}", b"\0"]


@given(
    st.sampled_from([("number", None), ("label", "uv"), ("csv", "uv"), ("csv", "2"), ("json", "/uv")]),
    st.lists(st.sampled_from(PIECES)), st.lists(st.integers(0, 300)), st.booleans(),
)
def test_chunking_never_changes_readings(
    form: tuple[str, str | None], parts: list[bytes], places: list[int], from_start: bool
) -> None:
    data = b"".join(parts)
    live = decoder(form[0], from_start, field=form[1])
    found = [item for chunk in cut(data, places) for item in live.feed(chunk)]
    assert found == decoder(form[0], from_start, field=form[1]).feed(data)


@pytest.mark.parametrize("settings", [{"field": "0"}, {"field": " "}, {"field": "1", "time_field": "0"}])
def test_impossible_columns_are_refused(settings: dict[str, Any]) -> None:
    with pytest.raises(Refusal, match="sill"):
        decoder("csv", **settings)


def test_an_unknown_format_is_refused() -> None:
    with pytest.raises(Refusal, match="smoke-signs"):
        decoder("smoke-signs")


@pytest.mark.parametrize(
    ("format", "settings"),
    [
        ("number", {}), ("number", {"decimal_comma": True}), ("label", {"field": "uv"}), ("label", {}),
        ("csv", {"field": "b", "time_field": "a"}), ("csv", {"field": "2", "seq_field": "1"}),
        ("csv", {"field": "1", "decimal_comma": True}),
    ],
)
def test_fuzz(format: str, settings: dict[str, Any]) -> None:
    made = [line for kind, _, line, _ in LINES if kind == format] + [b"a,b", b"1,2"]
    stream, passed = decoder(format, **settings), 0
    for line in mutated(made, 1_000_000 if LONG else 20_000, seed=2):
        for found in (stream.feed(line), stream.message(line)):
            check_types(found)
            passed += len(readings(found))
    assert passed > 100
