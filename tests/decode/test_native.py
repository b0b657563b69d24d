"""The native line, against the vectors that nodes are tested on too."""

from __future__ import annotations

import json
import random
from pathlib import Path
from typing import Any

import pytest
from crccheck.crc import Crc16CcittFalse  # type: ignore[import-untyped]
from decode.cases import LONG, check_types, cut, decoder, mutated, readings, three_ways
from hypothesis import given
from hypothesis import strategies as st

from uvdose.decode.native import (
    REASONS,
    NativeDecoder,
    crc16,
    format_line,
    frame_command,
    parse_command,
)
from uvdose.model import Answer, BadInput, RegisterReading

VECTORS: dict[str, Any] = json.loads(
    (Path(__file__).parents[2] / "shared" / "wire" / "vectors.json").read_text(encoding="ascii")
)
READING = RegisterReading(0xA1B2C3D4, 17, 1700, 512250, 870825, 0, 2, 3)

U32 = st.integers(0, (1 << 32) - 1)
READINGS = st.builds(
    RegisterReading, U32, U32, U32, st.integers(0, (1000 << 32) - 1), st.integers(0, (1 << 63) - 1), U32, U32,
    st.integers(0, 255),
)


def _bytes(line: str) -> bytes:
    return line.encode("latin-1")


def _framed(body: bytes) -> bytes:
    return body + b"*%04X" % Crc16CcittFalse.calc(body)


def test_crc_check_value() -> None:
    # CRC catalogue: CRC-16/CCITT-FALSE (also IBM-3740) of "123456789" is 0x29B1.
    check = VECTORS["crc"]
    assert crc16(_bytes(check["check_of"])) == int(check["check"], 16) == 0x29B1


@given(st.binary(max_size=200))
def test_crc_against_another_implementation(data: bytes) -> None:
    assert crc16(data) == Crc16CcittFalse.calc(data)


@pytest.mark.parametrize("vector", VECTORS["readings"], ids=lambda v: v["line"][:60])
def test_valid_lines(vector: dict[str, str]) -> None:
    wanted = RegisterReading(*(int(vector[name]) for name in RegisterReading.__struct_fields__))
    assert three_ways(lambda: decoder("native"), _bytes(vector["line"])) == [wanted]


@pytest.mark.parametrize("vector", VECTORS["answers"], ids=lambda v: v["text"])
def test_answers(vector: dict[str, str]) -> None:
    assert three_ways(lambda: decoder("native"), _bytes(vector["line"])) == [Answer(vector["text"])]


@pytest.mark.parametrize("number", range(len(VECTORS["invalid"])))
def test_invalid_lines(number: int) -> None:
    vector = VECTORS["invalid"][number]
    (found,) = three_ways(lambda: decoder("native"), _bytes(vector["line"]))
    assert isinstance(found, BadInput)
    assert found.reason == vector["reason"]


def test_every_reason_word_is_known_and_every_field_reason_has_a_vector() -> None:
    used = {vector["reason"] for vector in VECTORS["invalid"]}
    assert used <= set(REASONS)
    assert set(REASONS) - used == {"overlong", "rubbish before line", "empty message"}  # not faults of one line


@pytest.mark.parametrize("vector", VECTORS["commands"], ids=lambda v: v["text"])
def test_commands(vector: dict[str, str]) -> None:
    line = _bytes(vector["line"])
    assert frame_command(vector["text"]) == line == _bytes(f"{vector['text']}*{vector['crc']}\n")
    for form in (line, line[:-1], line[:-1] + b"\r\n", _bytes(f"{vector['text']}*{vector['crc'].lower()}")):
        assert parse_command(form) == vector["text"]


@pytest.mark.parametrize("line", VECTORS["refused_commands"])
def test_refused_commands(line: str) -> None:
    assert parse_command(_bytes(line)) is None


@pytest.mark.parametrize("text", ["", "a*b", "wh\no", "caf\u00e9", "x" * 4092])
def test_what_cannot_be_framed(text: str) -> None:
    with pytest.raises(ValueError):
        frame_command(text)


def test_the_longest_frame_is_read_back() -> None:
    text = "ok " + "x" * 4088
    assert NativeDecoder().feed(frame_command(text)) == [Answer(text)]


@given(READINGS)
def test_format_is_the_inverse_of_decoding(reading: RegisterReading) -> None:
    line = format_line(reading)
    assert line.endswith(b"\n") and line.count(b"\n") == 1
    assert NativeDecoder().feed(line) == [reading]
    assert NativeDecoder().message(line[:-1]) == [reading]


@pytest.mark.parametrize(("milli", "text"), [(0, b"0"), (512250, b"512.25"), (1023000, b"1023"), (7, b"0.007")])
def test_level_has_the_fewest_decimals(milli: int, text: bytes) -> None:
    assert format_line(RegisterReading(1, 2, 3, milli, 4, 5, 6, 7)).split(b",")[4] == text


@given(st.decimals(0, 4294967295, allow_nan=False, allow_infinity=False, places=6))
def test_level_is_rounded_half_to_even(level: Any) -> None:
    body = b"uv1,00000001,1,1,%s,1,0,0,00" % format(level, "f").encode()
    (found,) = NativeDecoder().feed(_framed(body) + b"\n")
    assert isinstance(found, RegisterReading)
    assert found.level_milli == int((level * 1000).to_integral_value("ROUND_HALF_EVEN"))


@given(st.lists(READINGS, max_size=6), st.lists(st.integers(0, 900)), st.sampled_from([b"\n", b"\r\n"]))
def test_chunking_never_changes_readings(made: list[RegisterReading], places: list[int], ending: bytes) -> None:
    data = b"".join(format_line(r)[:-1] + ending for r in made)
    node = NativeDecoder()
    assert [item for chunk in cut(data, places) for item in node.feed(chunk)] == made


def test_a_message_holds_one_or_several_lines() -> None:
    line = format_line(READING)
    assert NativeDecoder().message(line + b"ok buzz*E33E\r\n" + line[:-1]) == [READING, Answer("ok buzz"), READING]
    assert NativeDecoder().message(b"") == [BadInput("empty message", "")]


def test_a_message_leaves_the_stream_alone() -> None:
    line = format_line(READING)
    node = NativeDecoder()
    assert node.feed(line[:20]) == []
    assert node.message(line) == [READING]
    assert node.feed(line[20:]) == [READING]


def test_a_node_reset_in_the_middle_of_a_line_costs_that_line_only() -> None:
    line = format_line(READING)
    assert NativeDecoder().feed(line[:25] + b"\x00boot" + line) == [
        BadInput("rubbish before line", "uv1,a1b2c3d4,17,1700,512.\\x00boot"), READING,
    ]
    assert NativeDecoder().feed(b"\xff\xffok buzz*E33E\n")[1:] == [Answer("ok buzz")]
    # Two lines without the newline between them: the first cannot be told apart from rubbish.
    assert readings(NativeDecoder().feed(line[:-1] + line)) == [READING]


def test_a_partial_first_line_is_bad_input_and_a_whole_one_counts() -> None:
    line = format_line(READING)
    first, second = NativeDecoder().feed(line[9:] + line)
    assert isinstance(first, BadInput) and second == READING
    assert decoder("native", from_start=False).feed(line) == [READING]


def test_rubbish_without_newline_is_one_bad_input() -> None:
    node = NativeDecoder()
    found = [item for _ in range(100) for item in node.feed(b"uv1," * 250)]
    assert [item.reason for item in found if isinstance(item, BadInput)] == ["overlong"] and len(found) == 1
    assert node.feed(b"\n" + format_line(READING)) == [READING]


def test_every_single_bit_error_is_refused() -> None:
    line = format_line(READING)[:-1]
    for bit in range(8 * len(line)):
        spoilt = bytearray(line)
        spoilt[bit // 8] ^= 1 << bit % 8
        if bytes(spoilt).lower() == line.lower() and bit // 8 > line.index(b"*"):
            continue  # the case of a checksum digit means nothing
        assert readings(NativeDecoder().message(bytes(spoilt))) == [], bytes(spoilt)


def test_numbers_are_read_as_strictly_as_a_slow_reader_would() -> None:
    """Fields drawn from odd spellings, framed with a right checksum, against a plain grammar."""
    dice = random.Random(5)
    odd = ["0", "1", "4294967295", "4294967296", "-1", "+1", " 1", "1_0", "", "0x1", "\u0661", "1.5", "1.", ".5", "00",
           "9223372036854775807", "9223372036854775808", "1e3", "12", "a1b2c3d4", "A1B2C3D4", "ff", "0g", "1.0005"]

    def whole(text: str, end: int) -> bool:
        return text != "" and all(c in "0123456789" for c in text) and int(text) < end

    def hexa(text: str, count: int) -> bool:
        return len(text) == count and all(c in "0123456789abcdefABCDEF" for c in text)

    def level(text: str) -> bool:
        parts = text.split(".")
        return len(parts) <= 2 and whole(parts[0], 1 << 32) and (len(parts) == 1 or whole(parts[1], 10**20))

    valid = 0
    for _ in range(20_000):
        fields = ["a1b2c3d4", "1", "2", "3", "4", "5", "6", "0f"]
        for _ in range(dice.randint(0, 2)):
            fields[dice.randrange(8)] = dice.choice(odd)
        right = (
            hexa(fields[0], 8) and all(whole(fields[i], 1 << 32) for i in (1, 2, 5, 6))
            and level(fields[3]) and whole(fields[4], 1 << 63) and hexa(fields[7], 2)
        )
        (found,) = NativeDecoder().message(_framed(("uv1," + ",".join(fields)).encode()))
        assert isinstance(found, RegisterReading if right else BadInput), fields
        valid += right
    assert 1000 < valid < 19_000


def test_fuzz() -> None:
    made = [_bytes(v["line"]) for part in ("readings", "answers", "invalid") for v in VECTORS[part]]
    known = set(REASONS)
    stream, passed = NativeDecoder(), 0
    for line in mutated(made, 1_000_000 if LONG else 20_000, seed=1):
        for found in (stream.feed(line), NativeDecoder().message(line)):
            check_types(found)
            assert all(item.reason in known for item in found if isinstance(item, BadInput))
            passed += len(readings(found))
    assert passed > 1000
