"""The real image on the simulated chip: what it says, measures, calls and keeps, each against a sum it had no hand in.

The light is given in millivolts; `counts` is what a converter of 10 bits on 1.1 V makes of it (data sheet of the part,
scaled by 1023 as the simulator does it). Source of what must hold: firmware_notes/wire-format.md.
"""

from __future__ import annotations

import itertools
import json
import random
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from support.chip import FULL_SCALE, Chip, Talk, counts
from support.firmware import ROOT
from support.payerne import day_w_m2

from uvdose.decode.native import frame_command

BUZZER, ARMED, REACHED, KEPT = 1, 2, 4, 8
VECTORS = json.loads((ROOT / "shared" / "wire" / "vectors.json").read_text(encoding="utf-8"))
LATE_SAMPLES = 6  # while a line is written, some milliseconds are taken in together: the call waits for that


@pytest.fixture
def chip(tmp_path: Path) -> Iterator[Chip]:
    """A chip in real time, in the dark."""
    with Chip(tmp_path / "port") as running:
        yield running


@pytest.fixture
def fast(tmp_path: Path) -> Iterator[Chip]:
    """A chip eight times as fast."""
    with Chip(tmp_path / "port", pace=8) as running:
        yield running


def test_it_answers_every_command_of_the_vectors(chip: Chip) -> None:
    with Talk(chip) as talk:
        assert talk.ask("who").startswith("ok who ") and talk.ask("who").split()[6] == str(FULL_SCALE)
        for vector in VECTORS["commands"]:
            assert talk.answer(vector["line"].encode()).split()[:2] == ["ok", vector["text"].split()[0]]
        for line in VECTORS["refused_commands"]:
            assert talk.answer(line.encode("latin-1") + b"\n") == "err checksum"
        for line in VECTORS["invalid"][:40]:
            assert talk.answer(line["line"].encode("latin-1")[:400] + b"\n").startswith("err ")
        assert talk.ask("sing") == "err unknown" and talk.ask("rate 9999") == "err value"
        before = len(talk.answers)
        talk.write(b"\n\r\n" + frame_command("quiet"))
        talk.wait_for(lambda: len(talk.answers) > before, 5, "an answer")
        assert talk.answers[before:] == ["ok quiet"] and not talk.bad


def test_lines_come_at_the_rate_and_now_at_once(chip: Chip) -> None:
    with Talk(chip) as talk:
        assert talk.ask("rate 10") == "ok rate"
        talk.wait_lines(2)
        got = talk.wait_lines(10)
        assert [b.uptime_ms - a.uptime_ms for a, b in itertools.pairwise(got)] == [100] * 9
        assert [b.seq - a.seq for a, b in itertools.pairwise(got)] == [1] * 9
        assert talk.ask("rate 0.1") == "ok rate"
        a, b = talk.now(), talk.now()
        assert b.seq == a.seq + 1 and b.uptime_ms - a.uptime_ms < 10000, "long before the next one is due"


@pytest.mark.parametrize("mv", [0, 1, 2, 333, 1000, 1099, 1100, 1500])
def test_in_steady_light_the_register_is_exact(fast: Chip, mv: int) -> None:
    with Talk(fast) as talk:
        fast.light(mv)
        fast.tell()
        a = talk.wait_lines(2)[-1]
        b = talk.wait_lines(6)[-1]
        assert b.register - a.register == counts(mv) * (b.uptime_ms - a.uptime_ms)
        assert b.level_milli == counts(mv) * 1000
        assert b.sat_ms - a.sat_ms == (b.uptime_ms - a.uptime_ms if mv >= 1100 else 0)


def test_on_a_measured_day_the_register_is_what_the_converter_was_given(fast: Chip) -> None:
    """BSRN Payerne, UVA one-minute means of 17 June 2016, broken cloud (see support.payerne): each minute in 40 ms."""
    minute_ms = 40
    mv = [round(15 * mean) for mean in day_w_m2(17)[600:900]]
    rows: list[tuple[float, float]] = [(n * minute_ms, float(v)) for n, v in enumerate([*mv, 0])]
    with Talk(fast) as talk:
        before = talk.now().register
        fast.table(rows)
        fast.wait_for(lambda: bool(fast.said), 5, "a line")
        end_ms = fast.tell().ms + rows[-1][0] + 50
        while fast.tell().ms < end_ms:
            talk.read(0.2)
        got = talk.now()
        told = fast.tell()
    # What the simulator gave the converter to read, to the last count: in the dark at the end nothing is under way.
    assert got.register == told.register == told.steps
    # And what the table itself comes to: each change of the light falls into one sample.
    changes = sum(abs(counts(b) - counts(a)) for a, b in itertools.pairwise([0, *mv, 0]))
    assert abs(got.register - before - sum(counts(v) for v in mv) * minute_ms) <= changes
    assert changes < 0.01 * got.register


def test_light_between_two_rows_is_straight(fast: Chip) -> None:
    """A ramp from 0 to 1 V in 4 s has half the sum of 1 V for 4 s, but for the converter's rounding down: half a step
    of each conversion, and half a millivolt."""
    with Talk(fast) as talk:
        fast.table([(0, 0), (4000, 1000), (4001, 0)], linear=True)
        end_ms = fast.tell().ms + 4100
        while fast.tell().ms < end_ms:
            talk.read(0.1)
        got = talk.now()
    per_mv = 1023 / 1100 * 4
    assert got.register == pytest.approx(500 * per_mv * 4000, rel=3e-3)


def test_an_armed_value_calls_with_nobody_at_the_port(fast: Chip) -> None:
    with Talk(fast) as talk:
        value = talk.now().register + 3_000_000
        assert talk.ask(f"arm 1 {value} 4") == f"ok arm 1 {value} 4"
    fast.light(700)
    edge = fast.wait_edge(1, 10)
    assert 0 <= edge.register - value < LATE_SAMPLES * counts(700)
    # the target's pattern, one second long, for ten seconds in thirty: the next call after the first one's ten tones
    fast.wait_for(lambda: len([e for e in fast.edges if e.level]) >= 12, 10, "two calls")
    ups = [e.uptime_ms - edge.uptime_ms for e in fast.edges if e.level]
    due = [*range(0, 10000, 1000), 30000, 31000]
    assert all(abs(ms - at) <= LATE_SAMPLES for ms, at in zip(ups[:12], due, strict=True))
    downs = [e.uptime_ms - edge.uptime_ms for e in fast.edges if not e.level]
    assert all(abs(ms % 1000 - 800) <= LATE_SAMPLES for ms in downs)
    with Talk(fast) as talk:
        assert talk.now().flags == BUZZER | REACHED
        assert talk.ask("quiet") == "ok quiet" and talk.now().flags == REACHED
        assert talk.ask("disarm 1") == "ok disarm" and talk.now().flags == 0


def test_a_press_sends_a_line_and_ends_the_nodes_own_call(chip: Chip) -> None:
    with Talk(chip) as talk:
        assert talk.ask("rate 0.1") == "ok rate"
        chip.light(500)
        assert talk.ask("arm 0 1 5").startswith("ok arm")
        chip.wait_edge(1, 5)
        pressed = chip.press()
        (line,) = talk.wait_lines(1, 2)
        assert line.presses == 1 and not line.flags & BUZZER
        assert 19 <= line.uptime_ms - pressed.uptime_ms < 30, "the bounce is waited for, and no more"
        edges = len(chip.edges)
        time.sleep(0.4)
        assert chip.tell().level == 0 and len(chip.edges) <= edges + 1, "it is quiet"
        assert talk.ask("buzz 5 60") == "ok buzz"
        chip.press()
        (line,) = talk.wait_lines(1, 2)
        assert line.presses == 2 and line.flags & BUZZER, "a buzz of the computer is the computer's to end"


def test_a_reset_keeps_memory_and_the_call_comes(chip: Chip) -> None:
    with Talk(chip) as talk:
        chip.light(400)
        before = talk.now()
        value = before.register + 2_000_000
        talk.ask(f"arm 2 {value} 3")
        chip.press()
        before = talk.wait_lines(1)[-1]
        chip.reset(300)
        after = talk.wait_lines(1)[-1]
        assert after.boot == before.boot and after.flags == KEPT | ARMED and after.presses == before.presses
        assert after.seq == before.seq + 1 and before.register <= after.register
        assert after.register - before.register == counts(400) * (after.uptime_ms - before.uptime_ms)
        edge = chip.wait_edge(1, 5)
        assert 0 <= edge.register - value < LATE_SAMPLES * counts(400)


def test_a_reset_at_any_moment_never_takes_a_line_back(tmp_path: Path) -> None:
    """Also in the middle of a write of the kept state, of a line, of a command: same boot, no line is ever ahead."""
    rng = random.Random(20)
    with Chip(tmp_path / "port", pace=4) as chip, Talk(chip) as talk:
        talk.ask("rate 20")
        chip.light(900)
        chip.tell()
        talk.wait_lines(1)
        lit = talk.wait_lines(1)[-1]
        for _ in range(120):
            talk.write(frame_command("now"))
            time.sleep(rng.uniform(0, 0.03))
            talk.read()
            chip.reset(rng.uniform(0, 3))
        talk.wait_lines(3)
        lines = chip.readings()
    assert len(lines) > 40 and {line.boot for line in lines} == {lit.boot}
    for a, b in itertools.pairwise(lines):
        assert b.seq > a.seq and b.uptime_ms >= a.uptime_ms and b.register >= a.register
    settled = [line for line in lines if line.uptime_ms >= lit.uptime_ms]
    for a, b in itertools.pairwise(settled):
        assert b.register - a.register == counts(900) * (b.uptime_ms - a.uptime_ms)


def test_the_watchdog_resets_a_program_that_stands_still(fast: Chip) -> None:
    with Talk(fast) as talk:
        fast.light(300)
        fast.tell()
        before = talk.wait_lines(1)[-1]
        fast.hang()
        fast.wait_for(lambda: fast.barks == 1, 5, "the watchdog")
        after = talk.wait_lines(2)[-1]
        assert after.boot == before.boot and after.flags & KEPT and after.register > before.register


def test_a_loss_of_power_is_another_boot(tmp_path: Path) -> None:
    """Power-ups with memory that holds chance, and with the very same memory each time: no boot comes twice."""
    boots: list[int] = []
    with Chip(tmp_path / "port", pace=20) as chip:
        chip.light(200)
        boots.append(chip.readings()[-1].boot)
        for n in range(24):
            chip.power_cycle(paint=n % 2 == 1)
            chip.wait_for(lambda: chip.readings()[-1].boot != boots[-1], 10, "a line of another boot")
            line = next(r for r in chip.readings() if r.boot not in boots)
            assert (line.seq, line.uptime_ms, line.flags) == (0, 500, 0)
            assert line.register == 500 * counts(200)
            boots.append(line.boot)
    assert len(set(boots)) == 25
    same_memory = boots[2::2]
    ones = sum((a ^ b).bit_count() for a, b in itertools.pairwise(same_memory))
    assert 6 < ones / (len(same_memory) - 1) < 26, "the same memory, and half of the bits change: not a mere count"


def test_a_node_that_hears_nobody_chirps(fast: Chip) -> None:
    with Talk(fast) as talk:
        talk.ask("arm 0 9223372036854775807 4")
        talk.ask("lease 2")
        heard = talk.now().uptime_ms
    fast.wait_for(lambda: len(fast.edges) >= 4, 10, "two chirps")
    up, down, again = fast.edges[:3]
    assert abs(up.uptime_ms - heard - 2000) <= LATE_SAMPLES
    assert abs(again.uptime_ms - up.uptime_ms - 10000) <= LATE_SAMPLES
    assert abs(down.uptime_ms - up.uptime_ms - 100) <= LATE_SAMPLES


def test_a_port_that_nobody_reads_holds_nothing_up(tmp_path: Path) -> None:
    with Chip(tmp_path / "port", pace=20) as chip:
        with Talk(chip) as talk:
            talk.ask("rate 20")
            chip.light(600)
            chip.tell()
            before = talk.now()
        # more than a terminal holds (some 20 kB, as measured), and then it is read again
        chip.wait_for(lambda: sum(map(len, chip.said)) > 60_000, 20, "60 kB nobody reads")
        with Talk(chip) as talk:
            reopened_ms = chip.tell().uptime_ms
            talk.wait_for(lambda: any(r.uptime_ms > reopened_ms for r in talk.readings), 5, "what was said since")
            after = talk.now()
        assert after.register - before.register == counts(600) * (after.uptime_ms - before.uptime_ms)


def test_a_full_buffer_loses_no_answer_and_cuts_no_line(chip: Chip) -> None:
    """As many commands at once as wait in its ring, each with more to say than its output holds three times of."""
    with Talk(chip) as talk:
        assert talk.ask("rate 20") == "ok rate"
        for _ in range(4):
            talk.answers.clear()
            burst = ["now", "who", "now"] * 4
            talk.write(b"".join(map(frame_command, burst)))
            talk.wait_for(lambda: len(talk.answers) >= 12, 5, "all answers")
            assert [a.split()[1] for a in talk.answers] == burst
        assert not talk.bad and len(talk.readings) > 32
        assert {b.seq - a.seq for a, b in itertools.pairwise(talk.readings)} == {1}


def test_a_flood_of_rubbish_changes_nothing(chip: Chip) -> None:
    with Talk(chip) as talk:
        chip.light(800)
        chip.tell()
        before = talk.wait_lines(2)[-1]
        rng = random.Random(3)
        talk.write(bytes(rng.randrange(256) for _ in range(3000)) + b"\n" * 200)
        talk.write(b"".join(frame_command("who") for _ in range(60)))  # more answers than its wire carries in that time
        talk.drain()
        talk.write(b"\n")  # where the end of the last one was lost
        talk.drain()
        assert any(answer.startswith("ok who") for answer in talk.answers)
        assert [talk.ask("who").split()[1] for _ in range(20)] == ["who"] * 20
        after = talk.wait_lines(2)[-1]
        assert not talk.bad, "no line of its own was cut"
        assert after.register - before.register == counts(800) * (after.uptime_ms - before.uptime_ms)
