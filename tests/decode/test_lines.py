"""The cutting of a stream into bounded lines."""

from __future__ import annotations

import tracemalloc

import pytest
from decode.cases import cut
from hypothesis import given
from hypothesis import strategies as st

from uvdose.decode.lines import MAX_LINE, LineBuffer, excerpt, is_overlong, whole_lines


def test_lines_end_with_lf_or_cr_lf() -> None:
    buffer = LineBuffer()
    assert buffer.feed(b"a\nb\r\n\r\n\nc\rd\n\r\r\ne") == [b"a", b"b", b"", b"", b"c\rd", b"\r"]
    assert buffer.feed(b"\r") == []
    assert buffer.feed(b"\n") == [b"e"]


@given(
    st.lists(st.sampled_from([b"\n", b"\r", b"\r\n", b"a", b"\0", b"x" * 700, b"y" * (MAX_LINE - 1), b"z" * MAX_LINE])),
    st.lists(st.integers(0, 20_000)),
)
def test_chunking_never_changes_lines(parts: list[bytes], places: list[int]) -> None:
    data = b"".join(parts)
    buffer = LineBuffer()
    found: list[bytes] = []
    for chunk in cut(data, places):
        found += buffer.feed(chunk)
        assert buffer.held <= MAX_LINE
    assert found == LineBuffer().feed(data)


@pytest.mark.parametrize("length", [MAX_LINE - 1, MAX_LINE, MAX_LINE + 1, 3 * MAX_LINE])
@pytest.mark.parametrize("ending", [b"\n", b"\r\n"])
@pytest.mark.parametrize("step", [1, 1000, 1 << 20])
def test_the_bound_is_exact(length: int, ending: bytes, step: int) -> None:
    line = b"x" * (length - len(ending) + 1)  # the CR counts, the LF does not
    data = line + ending + b"next\n"
    buffer = LineBuffer()
    found = [got for i in range(0, len(data), step) for got in buffer.feed(data[i : i + step])]
    assert len(found) == 2 and found[1] == b"next"
    assert is_overlong(found[0]) == (length > MAX_LINE)
    if length <= MAX_LINE:
        assert found[0] == line


def test_rubbish_without_newline_costs_bounded_memory_and_is_told_once() -> None:
    buffer = LineBuffer()
    chunk = b"\xaa" * 500
    found: list[bytes] = []
    tracemalloc.start()
    try:
        for _ in range(200):
            found += buffer.feed(chunk)
            assert buffer.held <= MAX_LINE
        assert tracemalloc.get_traced_memory()[1] < 50_000
    finally:
        tracemalloc.stop()
    assert len(found) == 1 and is_overlong(found[0])
    assert buffer.feed(b"tail\nok\n") == [b"ok"]


@given(st.lists(st.sampled_from([b"\n", b"\r", b"a", b"b" * 4093, b"c" * 3])).map(b"".join))
def test_a_message_is_cut_as_a_stream_is(data: bytes) -> None:
    assert whole_lines(data) == LineBuffer().feed(data if data.endswith(b"\n") else data + b"\n")


def test_whole_lines_need_no_last_newline() -> None:
    assert whole_lines(b"a\r\nb") == whole_lines(b"a\nb\n") == [b"a", b"b"]
    assert whole_lines(b"a\r") == [b"a"]


def test_an_excerpt_is_short_and_printable() -> None:
    assert excerpt(b"\x00\x1b[31m\xff " + b"x" * 200) == r"\x00\x1b[31m\xff " + "x" * 63
    assert len(excerpt(b"\x00" * 300)) == 80
    assert excerpt("µW/cm²".encode() * 40) == ("µW/cm²" * 14)[:80]
