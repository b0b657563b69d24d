"""Each recording of `tests/streams/`, read to what it must come to, which the file says. A new one is found here.

`lines` are what a board sent (invented). `[expect]` has `format` and what else the settings want; `value` is the last
one that comes of the lines, `values` all of them. `[[expect.refused]]` has a `line`, and the `reason` why it is bad.
"""

from __future__ import annotations

import random
import re
from typing import Any

import pytest
from decode.cases import LONG, check_types, cut, decoder, mutated, three_ways
from support.chatter import Stream, streams

from uvdose.decode import Decoder
from uvdose.decode.advice import what_to_set
from uvdose.decode.format import Format, Line
from uvdose.decode.formats import FORMATS, PROVEN
from uvdose.decode.shape import shape_of
from uvdose.model import BadInput, Decoded, MomentReading, RegisterReading

FOUND = [s for s in (*streams("serial"), *streams("mqtt")) if s.expect["verdict"] == "found"]
ASKED = ("field", "decimal_comma", "unit")

each = pytest.mark.parametrize("stream", FOUND, ids=lambda s: s.name)
each_format = pytest.mark.parametrize("form", FORMATS, ids=lambda f: f.name)


def made(stream: Stream, form: str = "", from_start: bool = True) -> Decoder:
    """A decoder for the settings that the recording expects."""
    asked = {key: stream.expect[key] for key in ASKED if key in stream.expect}
    return decoder(form or stream.expect["format"], from_start, **asked)


def values(found: list[Decoded]) -> list[float]:
    light = [item.value for item in found if isinstance(item, MomentReading)]
    return light + [item.level_milli / 1000 for item in found if isinstance(item, RegisterReading)]


@each_format
def test_each_format_has_a_recording(form: Format) -> None:
    of_it = [s.name for s in FOUND if s.expect["format"] == form.name]
    assert of_it, f"no recording of {form.name!r}: add tests/streams/{form.name}.toml, as {FOUND[0].name}.toml is"


@each
def test_a_recording_comes_to_its_values(stream: Stream) -> None:
    live = made(stream)
    whole = values([item for line in stream.lines for item in live.feed(line + b"\n")])
    assert whole and stream.expect.get("value", whole[-1]) == whole[-1]
    assert stream.expect.get("values", whole) == whole
    for line in filter(bytes.strip, stream.lines):
        three_ways(lambda: made(stream), line)


@each
def test_auto_reads_it_to_the_same(stream: Stream) -> None:
    live = made(stream, "auto")
    found = values([item for line in stream.lines * 8 for item in live.feed(line + b"\n")])
    assert found and found[-1] == stream.expect.get("value", found[-1])


@each
def test_a_line_that_lost_its_beginning_is_no_reading(stream: Stream) -> None:
    line = next(line for line in reversed(stream.lines) if line.strip())
    for at in range(1, len(line)):
        assert values(made(stream, from_start=False).feed(line[at:] + b"\n")) == []


@each
def test_what_must_be_refused_is_refused(stream: Stream) -> None:
    cases: list[dict[str, str]] = stream.expect.get("refused", [])
    assert cases or stream.expect["format"] != "nmea"
    for case in cases:
        (found,) = three_ways(lambda: made(stream), case["line"].encode("latin-1"))
        assert isinstance(found, BadInput) and found.reason == case["reason"], case


@each
def test_what_is_spoilt_never_raises_and_how_it_is_cut_changes_nothing(stream: Stream) -> None:
    dice = random.Random(stream.name)
    stream_live, by_message, cut_live = made(stream), made(stream), made(stream)
    for spoilt in mutated(list(stream.lines), 1_000_000 if LONG else 500, seed=9):
        found = stream_live.feed(spoilt)
        check_types(found)
        check_types(by_message.message(spoilt))
        places = [dice.randrange(len(spoilt) + 1) for _ in range(3)]
        assert [item for part in cut(spoilt, places) for item in cut_live.feed(part)] == found


@each_format
def test_the_example_is_known_by_its_form_and_the_advice_on_it_reads_it(form: Format) -> None:
    line = form.example.encode()
    shape = shape_of(line)
    assert shape is not None and shape.form == form.name and shape.fields
    assert form.shape(Line(b"Booting now", "Booting now")) is None
    how = dict(re.findall(r'(\w+) = "([^"]*)"', what_to_set("native", "unknown line", form.example)))
    asked: dict[str, Any] = {"field": how.get("field")}
    assert how["format"] == form.name
    assert values(three_ways(lambda: decoder(form.name, **asked), line))
    assert (form.name in PROVEN) == form.proven
