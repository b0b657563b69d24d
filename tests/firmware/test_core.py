"""What the firmware's core counts, calls and keeps. Source: firmware_notes/wire-format.md, section by section."""

from __future__ import annotations

import itertools
import random

import pytest
from support.driven import answers, drive, order, readings, said

from uvdose.intake.node import SimulatedNode
from uvdose.intake.node_words import frame, unframe
from uvdose.model import RegisterReading

END_32 = 1 << 32
BUZZER, ARMED, REACHED, KEPT = 1, 2, 4, 8
NOW = order("now")


def last(script: list[str]) -> RegisterReading:
    """The line that `now` brings at the end of a script."""
    return readings(drive([*script, NOW]))[-1]


def buzzes(lines: list[str]) -> list[tuple[int, int, int]]:
    """(pattern, at ms, register) of each sound that began."""
    return [(int(a), int(b), int(c)) for _, a, b, c in (x.split() for x in lines if x.startswith("buzz "))]


# the meter ---------------------------------------------------------------------------------------------------


def test_the_register_is_the_sum_of_counts_and_milliseconds() -> None:
    rng = random.Random(5)
    steps = [(rng.randrange(4093), rng.randrange(1, 700)) for _ in range(200)]
    got = last([f"pass {c} {ms}" for c, ms in steps])
    assert got.register == sum(c * ms for c, ms in steps)
    assert got.uptime_ms == sum(ms for _, ms in steps)
    assert got.sat_ms == sum(ms for c, ms in steps if c == 4092)


def test_the_level_is_the_mean_since_the_last_line() -> None:
    got = readings(drive(["pass 10 2", "pass 11 1", NOW, "pass 4092 250", NOW, NOW]))
    assert [r.level_milli for r in got] == [10333, 4092000, 4092000]


@pytest.mark.parametrize(
    ("what", "field"), [("uptime", "uptime_ms"), ("seq", "seq"), ("presses", "presses"), ("sat", "sat_ms")]
)
def test_what_has_32_bits_wraps(what: str, field: str) -> None:
    before = [f"set {what} {END_32 - 2}", NOW]
    got = readings(drive([*before, "pass 4092 1", "press", "pass 4092 1", "press", "pass 4092 1", "press"]))
    values = [getattr(r, field) for r in got]
    assert values[0] == END_32 - 2
    assert [(v - values[0]) % END_32 for v in values] == [0, 1, 2, 3]


def test_the_register_goes_up_to_what_a_line_holds() -> None:
    """63 bits (wire format): beyond them it stands, since a line may not hold more."""
    got = readings(drive([f"set register {2**63 - 5000}", "pass 4092 1", NOW, "pass 4092 1", NOW, "pass 1 1", NOW]))
    assert [r.register for r in got] == [2**63 - 908, 2**63 - 1, 2**63 - 1]


@pytest.mark.parametrize("hz", ["0.1", "0.3", "1", "2.5", "3", "7", "10", "20"])
def test_lines_come_at_the_rate(hz: str) -> None:
    got = readings(drive([order(f"rate {hz}"), "pass 1 60000"]))
    assert abs(len(got) - 60 * float(hz)) <= 1
    each = [b.uptime_ms - a.uptime_ms for a, b in itertools.pairwise(got)]
    assert all(abs(ms - 1000 / float(hz)) < 1 for ms in each)


def test_a_flood_of_rates_holds_no_line_up() -> None:
    script = [line for _ in range(400) for line in ("pass 1 100", order("rate 0.2"))]
    assert len(readings(drive(script))) == 8


# armed -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("counts", [1, 7, 4092])
@pytest.mark.parametrize("value", [4092, 5000, 100000])
def test_it_calls_at_the_very_sample_that_reaches_the_value(counts: int, value: int) -> None:
    ms = -(-value // counts)
    lines = drive([order(f"arm 2 {value} 4"), f"pass {counts} {ms - 1}", "pin", f"pass {counts} 1", "pin", NOW])
    assert buzzes(lines) == [(4, ms, ms * counts)]
    assert [line for line in lines if line in "01"] == ["0", "1"]
    assert readings(lines)[-1].flags == BUZZER | REACHED


def test_a_value_long_past_calls_at_once_and_flags_tell_both() -> None:
    lines = drive(["pass 100 100", order("arm 0 10000 3"), order("arm 1 10001 4"), NOW])
    assert buzzes(lines) == [(3, 100, 10000)] and readings(lines)[-1].flags == BUZZER | ARMED | REACHED


def test_its_call_sounds_ten_seconds_in_thirty_for_half_an_hour() -> None:
    lines = drive([order("arm 0 1 4"), "pass 1 1900000", NOW])
    assert [at for _, at, _ in buzzes(lines)] == [1 + 30000 * n for n in range(60)]
    sounding = {r.uptime_ms for r in readings(lines) if r.flags & BUZZER}
    assert all((ms - 1) % 30000 < 10000 and ms < 1800000 for ms in sounding)
    assert abs(len(sounding) - 60 * 10 * 2) <= 60, "two lines a second, ten seconds in each call"
    assert readings(lines)[-1].flags == REACHED


@pytest.mark.parametrize("how", ["press", order("quiet"), order("disarm 0")])
def test_a_call_is_ended(how: str) -> None:
    lines = drive([order("arm 0 1 4"), "pass 1 5000", how, NOW, "pass 1 100000", NOW, "pin"])
    ended, after = readings(lines)[-1 - 200 - 1], readings(lines)[-1]
    assert not ended.flags & BUZZER and len(buzzes(lines)) == 1 and lines[-1] == "0"
    assert bool(after.flags & REACHED) == (how != order("disarm 0"))


def test_what_is_armed_twice_and_acknowledged_between_does_not_call_again() -> None:
    lines = drive([order("arm 0 1 4"), "pass 1 10", order("quiet"), order("arm 0 1 4"), "pass 1 100000", NOW])
    assert len(buzzes(lines)) == 1 and readings(lines)[-1].flags == REACHED
    lines = drive([order("arm 0 1 4"), "pass 1 10", order("quiet"), order("arm 0 2 4"), "pass 1 10", NOW])
    assert len(buzzes(lines)) == 2


def test_a_buzz_of_the_computer_is_not_ended_by_a_press_nor_by_another_slot() -> None:
    lines = drive(["pass 1 10", order("buzz 2 60"), "press", order("arm 1 99999 1"), order("disarm 1"), NOW])
    assert readings(lines)[-1].flags == BUZZER
    lines = drive(["pass 1 10", order("buzz 2 60"), "pass 1 60000", NOW])
    assert readings(lines)[-1].flags == 0


def test_a_buzz_takes_the_place_of_what_sounds() -> None:
    lines = drive([order("arm 0 1 4"), "pass 1 100", order("buzz 7 0"), NOW, "pass 1 29902", NOW])
    assert [r.flags for r in (readings(lines)[0], readings(lines)[-1])] == [REACHED, BUZZER | REACHED]


def test_arming_a_slot_anew_takes_its_call_back() -> None:
    lines = drive([order("arm 0 1 4"), "pass 1 100", order("arm 0 5000 4"), NOW])
    assert readings(lines)[-1].flags == ARMED


def test_a_slot_tells_what_it_holds_and_when_it_was_reached() -> None:
    waits = ["pass 10 50", order("arm 1 1000 4"), order("slot 0"), order("slot 1")]
    lines = drive([*waits, "pass 10 70", "press", order("slot 1"), order("disarm 1"), order("slot 1")])
    told = [a for a in answers(lines) if a.startswith("ok slot")]
    assert told == ["ok slot 0 -", "ok slot 1 1000 4 -", "ok slot 1 1000 4 100", "ok slot 1 -"]


# lease, button -----------------------------------------------------------------------------------------------


def chirps(lines: list[str]) -> list[int]:
    return [int(line.split()[1]) for line in lines if line.startswith("chirp ")]


def test_a_node_that_waits_and_hears_nobody_chirps() -> None:
    script = [order("arm 0 999999999 4"), "pass 1 7", order("lease 20"), "pass 1 50000"]
    lines = drive([*script, NOW, "pass 1 15000"])
    assert chirps(lines) == [20007, 30007, 40007, 50007], "the last command came then, and asked for 20 s more"
    assert readings(lines)[-31].flags == ARMED, "a chirp is no buzz"
    assert drive([*script[:3], "pass 1 20000", "pin", "pass 1 99", "pin", "pass 1 1", "pin"])[-3:] == ["1", "1", "0"]


@pytest.mark.parametrize("commands", [
    ["lease 5"], ["arm 0 99999999 4"], ["arm 0 1 4", "lease 5"], ["lease 5", "arm 0 99999999 4", "lease 0"],
])
def test_without_a_lease_or_a_slot_that_waits_nothing_chirps(commands: list[str]) -> None:
    assert chirps(drive([*map(order, commands), "pass 1 60000"])) == []


def test_a_line_without_a_proof_renews_no_lease() -> None:
    script = [order("arm 0 999999999 4"), order("lease 10"), "pass 1 9000"]
    assert chirps(drive([*script, "line " + b"who*0000\n".hex(), "pass 1 2000"])) == [10000]
    assert chirps(drive([*script, order("sing"), "pass 1 2000"])) == []


def test_a_press_counts_up_and_tells_it_at_once() -> None:
    got = readings(drive(["pass 3 123", "press", "press", "pass 3 1"]))
    assert [(r.presses, r.uptime_ms, r.register) for r in got] == [(1, 123, 369), (2, 123, 369)]


# reset -------------------------------------------------------------------------------------------------------


def test_a_reset_keeps_the_count_the_slots_and_the_call() -> None:
    before = ["pass 9 700", "press", order("arm 3 9000 4"), order("arm 1 1 5"), NOW]
    lines = drive([*before, "reset", NOW, "pass 9 400", NOW])
    _, _, a, b, _, c = readings(lines)
    assert (b.boot, b.register, b.uptime_ms, b.presses) == (a.boot, a.register, a.uptime_ms, a.presses)
    assert b.seq == a.seq + 1
    assert b.flags == KEPT | ARMED | REACHED and c.flags == KEPT | BUZZER | REACHED
    assert buzzes(lines)[-1] == (4, 1000, 9000)


def test_the_flag_stands_for_a_minute_of_uptime() -> None:
    got = readings(drive(["pass 1 1234", "reset", "pass 1 61000"]))
    kept = [r.uptime_ms for r in got if r.flags & KEPT]
    assert kept[0] == 1500 and kept[-1] == 61000 and len(kept) == 120


def test_a_loss_of_power_is_a_new_boot() -> None:
    got = readings(drive(["pass 1 1234", NOW, "power", NOW]))
    assert got[-1].boot != got[-2].boot
    assert (got[-1].seq, got[-1].uptime_ms, got[-1].register, got[-1].flags) == (0, 0, 0, 0)


# sounds ------------------------------------------------------------------------------------------------------


def test_the_patterns_can_be_told_apart() -> None:
    """By how many tones come before the longest pause, or by how long they are: a factor of two is heard. Common
    practice, no source."""
    told: dict[int, tuple[int, int, int]] = {}
    for pattern in range(1, 8):
        (pins,) = drive([f"pattern {pattern} 12000"])
        tones = [(level, len(list(run)) * 10) for level, run in itertools.groupby(pins)]
        assert tones[0][0] == "1", "it is heard at once"
        on = [ms for level, ms in tones[:-1] if level == "1"]
        off = [ms for level, ms in tones[:-1] if level == "0"]
        pause = max(off)
        before = off.index(pause) + 1 if pause >= 2 * max(on) else 0
        told[pattern] = (before, max(on), min(on))
    for a, b in itertools.combinations(told.values(), 2):
        assert a[0] != b[0] or a[1] >= 2 * b[1] or b[1] >= 2 * a[1] or a[2] >= 2 * b[2] or b[2] >= 2 * a[2], told
    assert len(told) == 7


# beside the simulated node -----------------------------------------------------------------------------------


def test_it_says_what_the_simulated_node_says() -> None:
    """The same commands, light and presses at the same moments: the same lines, answers, calls and chirps."""
    for seed in range(12):
        rng = random.Random(seed)
        light = 0
        node = SimulatedNode(1, lambda s: light, 4092, rate_hz=2.0)  # noqa: B023
        script: list[str] = []
        expected: list[bytes] = []
        at_ms = 0
        for _ in range(150):
            light = rng.choice((0, 3, 700, 4091))
            ms = rng.choice((10, 30, 170, 990, 12340))
            script.append(f"pass {light} {ms}")
            at_ms += ms
            expected += node.advance(at_ms)
            register, slot = node.register + rng.randrange(3_000_000), rng.randrange(4)
            command = rng.choice((
                "who?", "now", f"buzz {rng.randrange(9)} {rng.choice((0, 0.25, 1, 5, 40))}", "quiet",
                f"arm {slot} {register} {rng.randrange(1, 8)}", f"arm {slot} {register} {rng.randrange(1, 8)}",
                f"disarm {slot}", f"slot {slot}", f"lease {rng.choice((0, 4, 30))}", "sing", "arm 1 2", "now now",
            ))
            if command == "who?":
                node.press()
                script.append("press")
                expected += node.advance(at_ms)
            else:
                script.append(order(command))
                expected += node.command(frame(command), at_ms)
        lines = drive(script)
        assert _rough(said(lines)) == _rough([line.decode().rstrip("\n") for line in expected])
        assert chirps(lines) == node.chirps_ms
        began = [(b.pattern, b.at_ms, b.register) for b in node.buzzes if b.seconds]
        assert buzzes(lines) == [b for b in began if b in buzzes(lines)] and set(buzzes(lines)) == set(began)
        assert answers(lines)


def _rough(lines: list[str]) -> list[tuple[str, ...]]:
    """Lines without the level, which may be rounded the other way at a half, and without the checksum over it."""
    found = []
    for line in lines:
        text = unframe(line.encode() + b"\n")
        assert text is not None
        words = text.split(",")
        found.append(tuple(words[:4] + words[5:]) if words[0] == "uv1" else (text,))
    return found
