"""What a person is told to set when lines cannot be read: the advice, followed, makes the line readable."""

from __future__ import annotations

import re

import pytest

from uvdose.config import SensorSettings
from uvdose.decode import make_decoder
from uvdose.decode.advice import shown, what_to_set
from uvdose.decode.lines import excerpt
from uvdose.decode.native import frame_command
from uvdose.model import BadInput, MomentReading


@pytest.mark.parametrize(
    ("form", "line"),
    [
        ("native", b"3.25"),
        ("native", b"UV Index: 3.25 mW"),
        ("number", b"UV Index: 3.25"),
        ("number", b'{"t": "noon", "u/v": 3.25}'),
        ("number", b"3,25"),
        ("label", b"3.25"),
        ("csv", b"UV: 3.25"),
        ("number", b"3.25;17;4"),
        ("json", b"3.25, 17, 4"),
        ("number", b'[{"n": "uv", "v": 3.25}]'),
        ("number", b"sky,site=a uv=3.25"),
        ("label", b"UV: 3,25"),
    ],
)
def test_the_advice_followed_reads_the_line(form: str, line: bytes) -> None:
    said = what_to_set(form, "not a number", excerpt(line))
    how = dict(re.findall(r'(\w+) = (?:"([^"]*)"|true)', said))
    settings = SensorSettings("sill", "recording", file="-", format=how.get("format", form), field=how.get("field"),
                              decimal_comma="decimal_comma" in how)  # fmt: skip
    found = make_decoder(settings, from_start=True).feed(line + b"\n")
    assert found == [MomentReading(3.25)], (said, found)


@pytest.mark.parametrize(
    ("form", "reason", "line", "words"),
    [
        ("number", "not a number", b"uv1,a1b2c3d4,17,1700,512.3,871000,0,2,03*1234", ('format = "native"',)),
        ("native", "checksum", b"uv1,a1b2c3d4,17,1700,512.3,871000,0,2,03*1234", ("damaged", "cable", "`baud`")),
        ("native", "unknown line", b"ets Jan  8 2013", ("does not send the native line", "csv")),
        ("number", "control characters", b"\x00\xf8\x80\x00\xfe\x80x", ("`baud`",)),
        ("json", "field not here", b'{"uva": 3.2}', ('check field, perhaps "/uva"',)),
        ("label", "label not here", b"UV: 3.2", ('check field, perhaps "UV"',)),
        ("number", "not a finite number", b"nan", ("no value of its sensor", "wiring")),
        ("json", "null value", b'{"uva": null}', ("no value of its sensor",)),
        ("auto", "several numbers", b"1, 2, 3", ("`uvdose sensor find`",)),
        ("number", "not a number", b"starting", ("set `format` to what the board sends",)),
        ("native", "no checksum", frame_command("ok now").split(b"*")[0], ("does not send the native line",)),
    ],
)
def test_where_the_form_itself_is_not_wrong(form: str, reason: str, line: bytes, words: tuple[str, ...]) -> None:
    said = what_to_set(form, reason, excerpt(line))
    assert all(word in said for word in words), said


def test_an_example_is_escaped_and_short() -> None:
    long = BadInput("not a number", excerpt(b"\x07" + b"w" * 200))
    assert shown(long.excerpt) == r"'\x07" + "w" * 55 + "…'" and len(shown(long.excerpt)) == 62
    assert shown("ab") == "'ab'"
