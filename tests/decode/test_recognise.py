"""What a stream of unknown input is taken for, without a port: those of `tests/streams/`, cut, spoilt, and noise."""

from __future__ import annotations

import random
from collections.abc import Sequence

import pytest
from decode.cases import mutated
from support.chatter import Stream, streams

from uvdose.decode.naming import Says, says
from uvdose.decode.recognise import Finding, Heard, is_clean, recognise

ALL = [*streams("serial"), *streams("mqtt")]
FOUND = [s for s in ALL if s.expect["verdict"] == "found"]


def heard(lines: Sequence[bytes], every_s: float = 1.0) -> list[Heard]:
    return [Heard(i * every_s, line) for i, line in enumerate(lines)]


def seen(stream: Stream, lines: Sequence[bytes]) -> Finding:
    return recognise(heard(lines), context=stream.topic, least=1 if stream.topic else 3)


@pytest.mark.parametrize("stream", ALL, ids=lambda s: s.name)
def test_each_stream(stream: Stream) -> None:
    finding = seen(stream, stream.lines * 4)
    sure = stream.expect["verdict"] in ("found", "refused")
    assert (finding.form is not None) == sure or stream.expect["verdict"] == "not told", finding
    if "format" in stream.expect:
        assert finding.form == stream.expect["format"] and finding.field == stream.expect.get("field")
        assert finding.unit == stream.expect.get("unit", finding.unit)
        assert finding.decimal_comma == stream.expect.get("decimal_comma", False)
        assert finding.every_s is not None and finding.read <= finding.lines


@pytest.mark.parametrize("stream", FOUND, ids=lambda s: s.name)
def test_rubbish_before_and_after_changes_nothing(stream: Stream) -> None:
    rubbish = [b"\xff\x00\xfe rst cause\x07 \x80\x13", b"Booting, please wait"]
    clean, noisy = seen(stream, stream.lines * 4), seen(stream, [*rubbish, *stream.lines * 4, *rubbish])
    assert (noisy.form, noisy.field, noisy.unit, noisy.value) == (clean.form, clean.field, clean.unit, clean.value)


def test_nothing_and_too_little() -> None:
    assert recognise([]).why == "nothing came"
    assert recognise(heard([b"", b" \r"])).why == "nothing came"
    assert "only 2 of 2 lines" in recognise(heard([b"UV: 1"] * 2)).why
    assert recognise(heard([b"UV: 1"]), least=1).every_s is None
    # A few numbers among much else are no stream of readings.
    assert recognise(heard([b"ready"] * 40 + [b"7"] * 4)).form is None


def test_the_usual_pause_is_told() -> None:
    assert recognise(heard([b"UV: 1"] * 5, 60.0)).every_s == pytest.approx(60)


def test_noise_is_never_taken_for_a_sensor() -> None:
    """Random bytes, cut into lines where a newline happens to be, as a wrong speed gives them."""
    dice = random.Random(7)
    for _ in range(500):
        lines = dice.randbytes(400).split(b"\n")
        assert recognise(heard(lines)).form is None and not is_clean(lines)


def test_what_is_spoilt_never_raises_and_names_no_other_field() -> None:
    for stream in FOUND:
        clean = seen(stream, stream.lines * 4)
        for seed in range(20):
            spoilt = [*mutated(list(stream.lines), 12, seed)]
            finding = seen(stream, [line for data in spoilt for line in data.split(b"\n")])
            assert finding.form is None or finding.why == ""
            if finding.form == clean.form and clean.field is not None and finding.field is not None:
                assert says(finding.field) is not Says.OTHER


@pytest.mark.parametrize(
    ("name", "kind"),
    [
        ("uv", Says.UV), ("UvLevel", Says.UV), ("/VEML6070/UvLevel", Says.UV), ("uva", Says.UV), ("UVS", Says.UV),
        ("GUVA", Says.UV), ("uv_raw", Says.UV), ("Ultraviolet", Says.UV), ("UV Intensity (mW/cm^2)", Says.UV),
        ("UV Index", Says.INDEX), ("uvIndex", Says.INDEX), ("uv_index", Says.INDEX), ("uvi", Says.INDEX),
        ("garden/uv_index/state", Says.INDEX), ("uvi_max", Says.INDEX), ("UvIdx", Says.INDEX),
        ("uv_i2c", Says.UV), ("UVB", Says.SHORT_WAVE), ("uv_c", Says.SHORT_WAVE),
        ("temp", Says.OTHER), ("uv/temperature", Says.OTHER), ("Battery", Says.OTHER), ("rssi", Says.OTHER),
        ("suv", Says.NOTHING), ("a", Says.NOTHING), ("louver", Says.NOTHING), ("uv/indoor", Says.UV),
        ("light", Says.NOTHING), ("", Says.NOTHING),
    ],
)  # fmt: skip
def test_what_a_name_says(name: str, kind: Says) -> None:
    assert says(name) is kind
