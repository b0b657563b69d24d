"""JSON documents, and the pointers into them."""

from __future__ import annotations

import json
from typing import Any

import jsonpointer
import pytest
from decode.cases import LONG, check_types, decoder, mutated, readings, three_ways
from hypothesis import given
from hypothesis import strategies as st

from uvdose.decode.pointer import parse_pointer, resolve
from uvdose.decode.scalars import Unreadable
from uvdose.model import BadInput, MomentReading, Refusal

# RFC 6901, section 5: the document and its 12 pointers.
RFC_DOCUMENT = json.loads(
    r'{"foo": ["bar", "baz"], "": 0, "a/b": 1, "c%d": 2, "e^f": 3, "g|h": 4, "i\\j": 5, "k\"l": 6, " ": 7, "m~n": 8}'
)
RFC_POINTERS: list[tuple[str, object]] = [
    ("", RFC_DOCUMENT), ("/foo", ["bar", "baz"]), ("/foo/0", "bar"), ("/", 0), ("/a~1b", 1), ("/c%d", 2),
    ("/e^f", 3), ("/g|h", 4), ("/i\\j", 5), ('/k"l', 6), ("/ ", 7), ("/m~0n", 8),
]


@pytest.mark.parametrize(("pointer", "value"), RFC_POINTERS)
def test_pointers_of_the_standard(pointer: str, value: object) -> None:
    assert resolve(RFC_DOCUMENT, parse_pointer(pointer)) == value


@pytest.mark.parametrize("pointer", ["foo", "/a~", "/a~2", "/~/x", "#/foo"])
def test_pointers_that_are_none(pointer: str) -> None:
    with pytest.raises(ValueError):
        parse_pointer(pointer)
    with pytest.raises(jsonpointer.JsonPointerException):
        jsonpointer.JsonPointer(pointer)
    with pytest.raises(Refusal, match="sill"):
        decoder("json", field=pointer)


@pytest.mark.parametrize("pointer", ["/x", "/foo/2", "/foo/-", "/foo/00", "/foo/-1", "/foo/bar", "/foo/0/x", "/a~1b/x"])
def test_pointers_that_lead_nowhere(pointer: str) -> None:
    with pytest.raises(Unreadable):
        resolve(RFC_DOCUMENT, parse_pointer(pointer))


def test_tilde_escapes_are_undone_in_the_right_order() -> None:
    assert resolve({"~1": 5, "/": 6}, parse_pointer("/~01")) == 5  # RFC 6901, section 4


NAMES = st.text("ab~/01 -", max_size=3)
DOCUMENTS = st.recursive(
    st.integers(0, 9),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(NAMES, inner, max_size=4),
    max_leaves=12,
)


@given(DOCUMENTS, st.lists(NAMES | st.sampled_from(["0", "1", "2"]), max_size=4))
def test_pointers_against_another_implementation(document: Any, tokens: list[str]) -> None:
    text = jsonpointer.JsonPointer.from_parts(tokens).path
    nothing = object()
    try:
        wanted = jsonpointer.resolve_pointer(document, text, nothing)
    except jsonpointer.JsonPointerException:
        wanted = nothing
    if isinstance(wanted, jsonpointer.EndOfList):
        wanted = nothing
    try:
        found = resolve(document, parse_pointer(text))
    except Unreadable:
        found = nothing
    assert found is wanted or found == wanted


GOOD: list[tuple[dict[str, Any], bytes, MomentReading]] = [
    ({"field": "/VEML6070/UvIndex"},
     b'{"Time":"2026-05-05T08:57:42","VEML6070":{"UvLevel":1373,"UvIndex":1.84}}', MomentReading(1.84)),
    ({"field": "/VEML6070/UvLevel", "time_field": "/Time"},
     b'{"Time":"2026-05-05T08:57:42","VEML6070":{"UvLevel":1373,"UvIndex":1.84}}', MomentReading(1373.0, 1777971462.0)),
    ({"field": "/uv"}, b'{"battery":"100.00","uv":"3.1"}', MomentReading(3.1)),
    ({"field": "/uv", "decimal_comma": True}, b'{"uv":"3,1"}', MomentReading(3.1)),
    ({"field": "/uv", "decimal_comma": True}, b'{"uv":3.1}', MomentReading(3.1)),
    ({"field": "/v/1"}, b"\xef\xbb\xbf{\"v\":[1,2]}", MomentReading(2.0)),
    ({"field": "/uv"}, b'\x1b[0;32m{"uv":0}\x1b[0m', MomentReading(0.0)),
    ({"field": "/uv"}, b'{"uv":3.1,"temperature":NaN}', MomentReading(3.1)),
    ({"field": "/uv", "time_field": "/t", "seq_field": "/n"}, b'{"uv":1,"t":12.25,"n":7}',
     MomentReading(1.0, 12.25, 7)),
    ({"field": "/uv", "time_field": "/t", "seq_field": "/n"}, b'{"uv":1,"t":"12.25","n":"7"}',
     MomentReading(1.0, 12.25, 7)),
    ({"field": "/uv", "time_field": "/t"}, b'{"uv":1,"t":"1970-01-02T00:00:00+01:00"}', MomentReading(1.0, 82800.0)),
    ({"field": "/uv", "time_field": "/t"}, b'{"uv":1,"t":"19700102T000000.5Z"}', MomentReading(1.0, 86400.5)),
]


@pytest.mark.parametrize(("settings", "line", "wanted"), GOOD, ids=lambda v: repr(v)[:50])
def test_documents(settings: dict[str, Any], line: bytes, wanted: MomentReading) -> None:
    assert three_ways(lambda: decoder("json", **settings), line) == [wanted]


@pytest.mark.parametrize(
    ("value", "reason"),
    [
        ("NaN", "not a finite number"), ("Infinity", "not a finite number"), ("-Infinity", "not a finite number"),
        ("1e999", "not a finite number"), ('"nan"', "not a finite number"), ('"inf"', "not a finite number"),
        ("null", "null value"), ("true", "not a number"), ("false", "not a number"), ('""', "empty value"),
        ('"off"', "not a number"), ("[1]", "not a number"), ("{}", "not a number"), ("1e13", "absurd number"),
        ("-" + "9" * 400, "absurd number"), ('"unavailable"', "not a finite number"), ('"1_0"', "not a number"),
    ],
)
def test_what_is_no_value_is_never_zero(value: str, reason: str) -> None:
    line = b'{"uv": %s}' % value.encode()
    (found,) = three_ways(lambda: decoder("json", field="/uv"), line)
    assert isinstance(found, BadInput) and found.reason == reason


@pytest.mark.parametrize("time", ["null", "true", '"noon"', "1.7e12", '"2026-02-30T00:00:00Z"', '""', "NaN"])
def test_a_time_that_cannot_be_read_spoils_the_reading(time: str) -> None:
    (found,) = decoder("json", field="/uv", time_field="/t").message(b'{"uv":1,"t":%s}' % time.encode())
    assert isinstance(found, BadInput) and found.reason.startswith("time: ")


@pytest.mark.parametrize("seq", ["null", "true", "1.5", '"a"', "9223372036854775808", '"1_0"', "1e999", '""'])
def test_a_running_number_that_cannot_be_read_spoils_the_reading(seq: str) -> None:
    (found,) = decoder("json", field="/uv", seq_field="/n").message(b'{"uv":1,"n":%s}' % seq.encode())
    assert isinstance(found, BadInput) and found.reason == "seq: not a whole number"


@pytest.mark.parametrize(
    "data",
    [b'{"uv":1', b'{"uv":1}x', b"uv", b"\xff", b"[" * 100_000, b'{"a":' * 50_000, b'{"uv":' + b"9" * 5000 + b"}",
     b'{"uv":1}\x00'],
)
def test_what_is_no_document(data: bytes) -> None:
    (found,) = decoder("json", field="/uv").message(data)
    assert isinstance(found, BadInput) and found.reason == "not a JSON document"


def test_a_message_may_span_lines_and_a_stream_may_not() -> None:
    data = b'{\n "uv": 2.5\n}\n'
    assert decoder("json", field="/uv").message(data) == [MomentReading(2.5)]
    assert readings(decoder("json", field="/uv").feed(data)) == []


def test_fuzz() -> None:
    made = [line for _, line, _ in GOOD]
    stream, passed = decoder("json", field="/uv", time_field="/t"), 0
    plain = decoder("json", field="/uv")
    for line in mutated(made, 1_000_000 if LONG else 20_000, seed=3):
        for found in (stream.feed(line), plain.feed(line), plain.message(line)):
            check_types(found)
            passed += len(readings(found))
    assert passed > 1000
