"""The simulated node: its register against a direct sum, its lines and framing against the decoder's."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from uvdose.decode.native import NativeDecoder, format_line, frame_command, parse_command
from uvdose.intake.node import SimulatedNode
from uvdose.intake.node_words import frame, unframe
from uvdose.model import Answer, RegisterReading


def wavy(seconds: float) -> float:
    return 400 + 300 * math.sin(seconds / 3) + 40 * math.sin(seconds * 5)


def node(light=wavy, full_scale: int = 1023, zero: float = 0.0, rate_hz: float = 1.0) -> SimulatedNode:
    return SimulatedNode(0xDEADBEEF, light, full_scale, zero, rate_hz)


def readings(lines: list[bytes]) -> list[RegisterReading]:
    found = [item for line in lines for item in NativeDecoder().feed(line)]
    return [item for item in found if isinstance(item, RegisterReading)]


def said(lines: list[bytes]) -> list[str]:
    found = [item for line in lines for item in NativeDecoder().feed(line)]
    return [item.text if isinstance(item, Answer) else "line" for item in found]


def ask(which: SimulatedNode, text: str, at_ms: int) -> list[str]:
    return said(which.command(frame_command(text), at_ms))


def direct_sum(ms: int, light=wavy, full_scale: int = 1023, zero: float = 0.0) -> int:
    """Millisecond by millisecond, in the plainest way there is."""
    return sum(min(max(round(light((t // 10) * 10 / 1000) + zero), 0), full_scale) for t in range(ms))


def test_every_line_carries_the_exact_register() -> None:
    got = readings(node(rate_hz=3).advance(7000))
    assert [r.uptime_ms for r in got][:3] == [340, 670, 1000]
    assert [r.seq for r in got] == list(range(21))
    for reading in got:
        assert reading.register == direct_sum(reading.uptime_ms)


def test_levels_are_the_mean_since_the_last_line() -> None:
    got = readings(node().advance(5000))
    assert len(got) == 5
    for before, after in pairwise(got):
        assert after.level_milli == round((after.register - before.register) * 1000 / 1000)


@given(st.lists(st.integers(1, 4000), max_size=12))
def test_how_time_is_cut_changes_nothing(steps: list[int]) -> None:
    cut, whole, now = node(), node(), 0
    lines = []
    for step in steps:
        now += step
        lines += cut.advance(now)
    assert lines == whole.advance(now)
    assert cut.register == whole.register == cut.total(now)


def test_saturation_zero_and_darkness() -> None:
    bright = node(light=lambda s: 5000.0)
    assert readings(bright.advance(1000))[0] == RegisterReading(0xDEADBEEF, 0, 1000, 1023000, 1023000, 1000, 0, 0)
    assert readings(node(light=lambda s: 0.0, zero=3).advance(1000))[0].register == 3000
    assert readings(node(light=lambda s: -50.0).advance(1000))[0].register == 0


def test_now_gives_a_line_at_once_then_its_answer() -> None:
    n = node()
    lines = n.command(frame_command("now"), 1234)
    assert said(lines) == ["line", "line", "ok now"]
    reading = readings(lines)[1]
    assert (reading.uptime_ms, reading.register) == (1234, direct_sum(1234))
    assert n.next_line_ms == 2000


def test_who_rate_and_presses() -> None:
    n = node(zero=2.5)
    assert ask(n, "who", 0) == ["ok who simulated 1 invented 1 1023 2.5"]
    assert ask(n, "rate 10", 100) == ["ok rate"]
    n.press()
    n.press()
    got = readings(n.advance(600))
    assert [r.uptime_ms for r in got] == [100, 200, 300, 400, 500, 600], "two presses are told at once, in one line"
    assert got[-1].presses == 2


@pytest.mark.parametrize(
    ("command", "answer"),
    [
        ("dance", "err unknown"), ("buzz 4", "err arguments"), ("buzz 9 3", "err value"), ("buzz 4 nan", "err value"),
        ("buzz 4 -1", "err value"), ("rate 0", "err value"), ("rate 101", "err value"), ("arm 4 100 4", "err value"),
        ("arm 1 -5 4", "err value"), ("arm 1 9223372036854775808 4", "err value"), ("lease x", "err value"),
        ("now now", "err arguments"), ("disarm 3", "ok disarm"), ("quiet", "ok quiet"),
    ],
)  # fmt: skip
def test_answers(command: str, answer: str) -> None:
    assert ask(node(), command, 5) == [answer]


@pytest.mark.parametrize("number", ["1e3", "1_0", "5.", ".5", "+1", "inf", "0x1"])
def test_a_number_that_the_boards_refuse_is_refused_here(number: str) -> None:
    """What a daemon that was tried on the simulated node alone would find out on a board. Source: both firmwares."""
    assert ask(node(), f"buzz 4 {number}", 10) == ask(node(), f"lease {number}", 10) == ["err value"]
    assert ask(node(), "buzz 4 0.25", 10) == ["ok buzz"]


def test_a_broken_checksum_is_refused_and_an_empty_line_passed_over() -> None:
    assert said(node().command(b"now*0000\n", 5)) == ["err checksum"]
    assert said(node().command(b"now\n", 5)) == ["err checksum"]
    assert node().command(b"\r\n", 5) == []


def test_buzz_shows_in_the_flags_until_it_ends_or_is_quieted() -> None:
    n = node()
    assert ask(n, "buzz 2 1.5", 100) == ["ok buzz"]
    n.advance(1599)
    assert n.flags == 1
    n.advance(1600)
    assert n.flags == 0
    ask(n, "buzz 4 60", 2000)
    ask(n, "quiet", 3000)
    assert n.flags == 0
    assert [(b.at_ms, b.pattern, b.seconds) for b in n.buzzes] == [(100, 2, 1.5), (2000, 4, 60.0)]
    assert n.buzzes[0].register == direct_sum(100)


def test_an_armed_slot_buzzes_at_the_first_ms_that_reaches_it() -> None:
    n = node(light=lambda s: 400.0)
    assert ask(n, "arm 0 500001 4", 10) == ["ok arm 0 500001 4"]
    assert n.flags == 2
    n.advance(5000)
    assert n.flags == 4 | 1
    assert [(b.at_ms, b.pattern) for b in n.buzzes] == [(1251, 4)]
    assert n.buzzes[0].register == 1251 * 400
    n.advance(12_000)
    assert n.flags == 4, "reached stays until it is disarmed"
    n.advance(60_000)
    assert [b.at_ms for b in n.buzzes] == [1251, 31_251], "ten seconds in each thirty"
    ask(n, "disarm 0", 60_001)
    assert n.flags == 0
    n.advance(200_000)
    assert len(n.buzzes) == 2


def test_a_slot_tells_what_it_holds_and_when_it_was_reached() -> None:
    n = node(light=lambda s: 400.0)
    ask(n, "arm 0 500001 4", 10)
    ask(n, "arm 2 9000000 3", 10)
    n.advance(5000)
    assert [ask(n, f"slot {i}", 5000)[0] for i in range(4)] == [
        "ok slot 0 500001 4 1251", "ok slot 1 -", "ok slot 2 9000000 3 -", "ok slot 3 -",
    ]
    assert ask(n, "slot 4", 5000) == ["err value"]


def test_its_own_call_ends_after_half_an_hour() -> None:
    n = node(light=lambda s: 400.0)
    ask(n, "arm 0 400000 4", 0)
    n.advance(2_000_000)
    assert [b.at_ms for b in n.buzzes] == [1000 + 30_000 * k for k in range(60)]
    assert n.flags == 4


@pytest.mark.parametrize("how", ["press", "quiet", "disarm 0"])
def test_its_own_call_is_ended_by_a_press_a_quiet_and_a_disarm(how: str) -> None:
    n = node(light=lambda s: 400.0)
    ask(n, "arm 0 400000 4", 0)
    n.advance(2000)
    assert n.flags == 5
    if how == "press":
        n.press()
        line = readings(n.advance(2000))[-1]
        assert (line.uptime_ms, line.presses, line.flags) == (2000, 1, 4), "told at once"
    else:
        ask(n, how, 2000)
    n.advance(100_000)
    assert n.flags == (0 if how == "disarm 0" else 4) and len(n.buzzes) == 1


def test_what_is_armed_twice_and_acknowledged_between_does_not_call_again() -> None:
    n = node(light=lambda s: 400.0)
    ask(n, "arm 0 400000 4", 0)
    ask(n, "quiet", 2000)
    assert ask(n, "arm 0 400000 4", 3001)[-1] == "ok arm 0 400000 4"
    n.advance(90_000)
    assert len(n.buzzes) == 1 and n.flags == 4
    ask(n, "arm 0 400001 4", 90_000)
    assert len(n.buzzes) == 2


def test_a_call_of_the_computer_sounds_on_when_another_slot_is_disarmed() -> None:
    n = node()
    ask(n, "buzz 3 60", 0)
    ask(n, "disarm 2", 10)
    assert n.flags == 1


def test_arming_changes_no_register_and_a_value_long_past_calls_at_once() -> None:
    n = node()
    for slot in range(4):
        ask(n, f"arm {slot} {200_000 * (slot + 1) + 7} 3", 10)
    n.advance(4000)
    assert n.register == direct_sum(4000)
    ask(n, "arm 3 1 4", 4000)
    assert (n.buzzes[-1].at_ms, n.buzzes[-1].pattern) == (4000, 4)


def test_beyond_the_lease_a_waiting_node_chirps_and_calls_in_any_case() -> None:
    n = node(light=lambda s: 400.0)
    ask(n, "lease 3", 0)
    ask(n, "arm 0 12000000 4", 1000)
    n.advance(24_999)
    assert n.chirps_ms == [4000, 14_000, 24_000]
    ask(n, "quiet", 25_000)  # whatever is heard: the computer is there
    n.advance(40_000)
    assert n.chirps_ms == [4000, 14_000, 24_000, 28_000], "none once the value is reached"
    assert [(b.at_ms, b.pattern) for b in n.buzzes] == [(30_000, 4)]


def test_without_a_lease_or_a_slot_nothing_chirps() -> None:
    armed, leased = node(), node()
    ask(armed, "arm 0 9000000000 4", 0)
    ask(leased, "lease 3", 0)
    armed.advance(60_000)
    leased.advance(60_000)
    assert armed.chirps_ms == leased.chirps_ms == []


@given(st.text(st.characters(min_codepoint=32, max_codepoint=126, exclude_characters="*"), min_size=1, max_size=60))
def test_framing_equals_the_decoders(text: str) -> None:
    assert frame(text) == frame_command(text)
    assert unframe(frame_command(text)) == parse_command(frame(text)) == text


@given(st.binary(max_size=40))
def test_rubbish_is_refused_as_the_decoder_refuses_it(data: bytes) -> None:
    assert unframe(data) == parse_command(data)


def test_lines_equal_the_decoders() -> None:
    lines = node(rate_hz=7).advance(20_000)
    assert [format_line(reading) for reading in readings(lines)] == lines
