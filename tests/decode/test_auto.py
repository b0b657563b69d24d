"""`format = "auto"`: what boards and general firmware print is decided, kept, and not guessed. The forms are invented
after what such firmware emits (a bare number, a tuple, plotter style, labels, JSON, SenML of RFC 8428, line protocol).
"""

from __future__ import annotations

from typing import Any

import pytest
from decode.cases import LONG, RUBBISH, check_types, cut, decoder, mutated, readings
from hypothesis import given
from hypothesis import strategies as st

from uvdose.decode.native import format_line
from uvdose.model import BadInput, Chosen, Decoded, MomentReading, RegisterReading

NATIVE = format_line(RegisterReading(0xDEADBEEF, 7, 7000, 412_500, 2_900_000, 0, 0, 0)).rstrip(b"\n")

# (settings, line, value, note): a line of each form with the number that is its light.
LINES: list[tuple[dict[str, Any], bytes, float, str]] = [
    ({}, b"10", 10.0, ""),
    ({"field": "2"}, b"(1.2, 3.4)", 3.4, ""),
    ({"field": "b"}, b"a:0.12, b:0.98,", 0.98, ""),
    ({"field": "b"}, b"a:0.12 b:0.98", 0.98, ""),
    ({"field": "b"}, b"a:0.12\tb:0.98", 0.98, ""),
    ({}, b"temp:21.50, uv:0.98,", 0.98, "'uv', one of 2 numbers"),
    ({}, b"UV Index: 1.84", 1.84, "a UV index weighs light by what burns skin"),
    ({}, b"UV = 1.84", 1.84, ""),
    ({}, b" / voltage: 1.20 / UV Intensity (mW/cm^2): 1.50", 1.5, "'UV Intensity (mW/cm^2)', one of 2"),
    ({"field": "UV Intensity"}, b" / voltage: 1.20 / UV Intensity (mW/cm^2): 1.50", 1.5, ""),
    ({"field": "UvLevel"}, b'{"Time":"2026-05-05T08:57:42","VEML6070":{"UvLevel":1373,"UvIndex":1.84}}', 1373.0, ""),
    ({}, b'{"Time":"2026-05-05T08:57:42","VEML6070":{"UvLevel":1373,"UvIndex":1.84}}', 1373.0,
     "'/VEML6070/UvLevel', one of 2"),
    ({}, b'{"battery":"100.00","uv":"3.1"}', 3.1, "'/uv', one of 2"),
    ({"field": "/uv"}, b'{"battery":"100.00","uv":"3.1"}', 3.1, ""),
    ({}, b'[{"n":"urn:dev:ow:10e2073a01080063","u":"W/m2","v":23.1}]', 23.1, ""),
    ({}, b"weather,site=a uv=3.2", 3.2, ""),
    ({}, b"weather,site=a temp=21,uv=3i", 3.0, "'uv', one of 2"),
    ({"decimal_comma": True}, b"3,42", 3.42, ""),
    ({"decimal_comma": True}, b"UV: 3,42", 3.42, ""),
    ({}, b"\x1b[32mUV: 3.42\x1b[0m", 3.42, ""),
    ({}, b"uva=3.42 uvb=0.10", 3.42, "'uva', one of 2"),
    ({}, b"{\"uvb\": 0.2}", 0.2, "short-wave UV"),
]


def light(found: list[Decoded]) -> list[float]:
    return [item.value for item in found if isinstance(item, MomentReading)]


def notes(found: list[Decoded]) -> list[str]:
    return [item.text for item in found if isinstance(item, Chosen)]


@pytest.mark.parametrize(("settings", "line", "value", "note"), LINES, ids=lambda v: repr(v)[:50])
def test_each_form_is_decided_three_ways(settings: dict[str, Any], line: bytes, value: float, note: str) -> None:
    many = (line + b"\n") * 5
    whole = decoder("auto", **settings).feed(many)
    assert set(light(whole)) == {value} and len(light(whole)) >= 3
    assert len(notes(whole)) <= 1 and note in "".join(notes(whole)) and bool(notes(whole)) == bool(note)
    slow = decoder("auto", **settings)
    assert [item for i in range(len(many)) for item in slow.feed(many[i : i + 1])] == whole
    assert decoder("auto", **settings).feed(many.replace(b"\n", b"\r\n")) == whole
    noisy = decoder("auto", **settings).feed(RUBBISH + b"\r\n" + many + RUBBISH + b"\n" + many)
    assert [x for x in noisy if not isinstance(x, BadInput)] == whole + [x for x in whole if light([x])][:1] * 5
    by_message = decoder("auto", **settings)
    assert [item for _ in range(5) for item in by_message.message(line)] == whole
    # In the middle of a stream the first line may be the end of one: it decides nothing.
    partial = decoder("auto", from_start=False, **settings).feed(line[len(line) // 2 :] + b"\n" + many)
    assert light(partial) == light(whole)


def test_the_native_line_and_senml_prove_themselves() -> None:
    found = decoder("auto", from_start=False).feed(NATIVE[9:] + b"\n" + NATIVE + b"\n")
    assert [type(x) for x in found] == [Chosen, RegisterReading]
    assert 'format = "native"' in notes(found)[0]
    pack = b'[{"n":"uv","u":"W/m2","v":23.1}]\n'
    assert light(decoder("auto").feed(pack)) == [23.1]


def test_a_header_names_the_columns() -> None:
    rows = b"millis,temp,uv\n" + b"".join(b"%d,21.5,3.%d\n" % (i, i) for i in range(5))
    found = decoder("auto").feed(rows)
    assert light(found) == [3.2, 3.3, 3.4] and "'uv', one of 3" in notes(found)[0]
    named = decoder("auto", field="aY").feed(b"aX,aY,aZ\n" + b"0,1,2\n" * 4)
    assert light(named) == [1, 1] and not notes(named)
    # A header that was cut, and one of another width, do not name anything.
    assert light(decoder("auto").feed(b"uv\n" + b"1,2\n" * 5)) == []


UNSURE: list[tuple[dict[str, Any], bytes, str]] = [
    ({}, b"(1.2, 3.4)", "several numbers, and no name says UV plainly: 1, 2"),
    ({}, b"a:0.12, b:0.98,", "several numbers, and no name says UV plainly: a, b"),
    ({}, b"0,0,0", "several numbers"),
    ({}, b"3,42", "several numbers"),
    ({}, b'{"a":1,"b":{"c":2}}', "several numbers, and no name says UV plainly: /a, /b/c"),
    ({}, b'{"uv1":1,"uv2":2}', "several numbers say UV: /uv1, /uv2"),
    ({}, b"Temperature: 21.5", "which is not UV"),
    ({}, b"weather,site=a temp=21.5,hum=40", "no name says UV plainly: temp, hum"),
    ({"field": "uva"}, b"uv: 1.5", "the field 'uva' is not there; there are uv"),
    ({"field": "uv"}, b"1.5", "leave `field` out"),
    ({}, b"Booting, please wait", "no form that is known"),
    ({}, b"$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,", "several numbers"),
    ({}, b"nan", "not a finite number"),
    ({}, b"UV: nan", "not a finite number"),
    ({"unit": "mW/cm2"}, b"UV Index: 1.84", "no irradiance"),
    ({"scale": 0.01}, b"UV Index: 1.84", "no irradiance"),
]


@pytest.mark.parametrize(("settings", "line", "reason"), UNSURE, ids=lambda v: repr(v)[:50])
def test_it_says_that_it_is_not_sure_and_why(settings: dict[str, Any], line: bytes, reason: str) -> None:
    found = decoder("auto", **settings).feed((line + b"\n") * 30)
    assert not readings(found) and len(found) >= 25
    assert all(isinstance(item, BadInput) and reason in item.reason for item in found)


def test_two_sorts_of_lines_in_turns_are_told_apart_by_their_names() -> None:
    stream = b"".join(b"Temp: 2%d\nUV: 1.%d\n" % (i, i) for i in range(9))
    found = decoder("auto").feed(stream)
    assert light(found) == [1.2, 1.3, 1.4, 1.5, 1.6, 1.7, 1.8]
    assert light(decoder("auto").feed(b"".join(b"x: 2%d\ny: 1.%d\n" % (i, i) for i in range(9)))) == []


def test_the_decision_stays_until_nothing_fits_any_more() -> None:
    live = decoder("auto")
    assert light(live.feed(b"UV: 1\n" * 3)) == [1]
    assert light(live.feed(b"UV: nan\n" * 30)) == [] and light(live.feed(b"UV: 2\n")) == [2], "a sensor out of order"
    assert light(live.feed(b"7\n" * 9 + b"UV: 2\n" + b"7\n" * 9 + b"UV: 2\n")) == [2, 2], "not a majority either"
    assert light(live.feed(b"7\n" * 12)) == [] and light(live.feed(b"7\n")) == [7]


def test_a_note_is_taken_back_with_its_decision() -> None:
    live = decoder("auto")
    assert len(notes(live.feed(b"t: 2, uv: 1\n" * 3))) == 1
    assert notes(live.feed(b"7\n" * 20)) == [""]


def test_memory_is_bounded() -> None:
    live = decoder("auto", from_start=False)
    for i in range(3000):
        live.feed(b"x%d: 1, y%d: 2\n" % (i, i))
        live.feed(b"1" * 1000)
    assert len(live._seen) <= 12 and live._buffer.held <= 4096  # type: ignore[attr-defined]


PIECES = [b"1.5", b",", b";", b" ", b"uv", b":", b"=", b"\n", b"\r\n", b"nan", b"(", b")", b"temp", b"uv: 2\n",
          b'{"uv":1}\n', b"w,a=b uv=2\n", NATIVE + b"\n", b"\x1b[0m", b"x" * 4096, b"\0"]


@given(st.lists(st.sampled_from(PIECES)), st.lists(st.integers(0, 300)), st.booleans())
def test_chunking_never_changes_readings(parts: list[bytes], places: list[int], from_start: bool) -> None:
    data = b"".join(parts)
    live = decoder("auto", from_start)
    found = [item for chunk in cut(data, places) for item in live.feed(chunk)]
    assert found == decoder("auto", from_start).feed(data)


@pytest.mark.timeout(600 if LONG else 120)
@pytest.mark.parametrize("settings", [{}, {"field": "uv"}, {"decimal_comma": True}])
def test_fuzz(settings: dict[str, Any]) -> None:
    made = [line for given, line, _, _ in LINES if not given] + [NATIVE, b"t,uv", b"1,2"]
    stream, passed = decoder("auto", **settings), 0
    for line in mutated(made, 1_000_000 if LONG else 20_000, seed=6):
        for found in (stream.feed(line), stream.message(line)):
            check_types(found)
            passed += len(readings(found))
    assert passed > 100
