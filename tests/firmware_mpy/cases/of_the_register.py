"""What is counted, what is not, and what a reset keeps."""

import gc

import keep
from common import Dice, ask, fields, make, readings
from uptime import Uptime


def case_register_is_exact():
    """Samples and ticks at odd moments, over more than 2^53: equal to the sum of what was held, as integers."""
    dice, node = Dice(7), make(rate_milli=10_000)
    now, total, sat, last = 0, 0, 0, None
    node.sample(0, False, 0)
    readings(node)
    held = (0, False)
    for i in range(4000):
        step = 1 + dice(40)
        now += step
        total += held[0] * step
        sat += step if held[1] else 0
        if dice(4) == 0 or i % 15 == 0:
            held = (dice(1 << 40 if i > 2000 else 1 << 20), dice(9) == 0)
            node.sample(held[0], held[1], now)
        else:
            node.advance(now)
        for found in readings(node):
            last = found
            assert found["uptime"] == now, "a line tells the register of its own moment"
            assert found["register"] == total
            assert found["sat"] == sat
    assert last["register"] > 1 << 53 and last["seq"] > 500


def case_level_is_the_mean():
    node = make(rate_milli=1000)
    node.sample(100, False, 0)
    for ms in (250, 500, 750):
        node.sample(ms, False, ms)
    node.advance(1000)
    found = readings(node)
    assert [f["level"] for f in found] == ["100", "400"], found  # (100 + 250 + 500 + 750) / 4
    node.sample(1, False, 1001)
    _, before = ask(node, "now", 1003)
    assert fields(before[0])["level"] == "250.667"  # (750 + 2 x 1) / 3


def case_a_failed_sample_is_no_zero():
    """The last line tells what was counted; then silence; then a new boot from 0, whose slots keep what was left."""
    node = make(rate_milli=5000)
    node.sample(10, False, 0)
    boot = readings(node)[0]["boot"]
    ask(node, "arm 2 5000 4", 50)
    node.press(100)
    node.blind(130)
    last = readings(node)[-1]
    assert (last["uptime"], last["register"], last["boot"], last["presses"]) == (130, 1300, boot, 1)
    node.press(135)
    for ms in range(140, 3000, 10):
        node.advance(ms)
    assert node.out == [] and node.register() == 1300
    node.sample(20, False, 3000)
    first = readings(node)[0]
    assert first["boot"] != boot and first["flags"] == 2
    assert (first["seq"], first["uptime"], first["register"], first["presses"], first["sat"]) == (0, 0, 0, 0, 0)
    for ms in range(3010, 3180, 10):
        node.sample(20, False, ms)
        assert not node.calls.reached()
    node.advance(3190)  # 3700 were left of the 5000: 185 ms at 20
    assert node.calls.reached()


def case_a_value_holds_for_a_while_only():
    """A board that stood still: what lies beyond the longest hold is not counted, and told as another boot."""
    node = make(hold_ms=300, rate_milli=100)
    node.sample(7, False, 0)
    boot = readings(node)[0]["boot"]
    node.sample(9, False, 2500)
    last, first = readings(node)
    assert (last["boot"], last["uptime"], last["register"]) == (boot, 300, 2100)
    assert (first["uptime"], first["register"]) == (0, 0) and first["boot"] != boot


def case_wraps_of_32_bits():
    node = make(rate_milli=10_000)
    node.resume(0xABC, 0xFFFFFFFE, 0xFFFFFF00, 1 << 62, 0xFFFFFFFF, 0xFFFFFFFF)
    node.sample(3, True, 0)
    for ms in range(10, 400, 10):
        node.advance(ms)
    node.press(400)
    found = readings(node)
    assert [f["seq"] for f in found[:3]] == [0xFFFFFFFE, 0xFFFFFFFF, 0]
    assert found[-1]["uptime"] == 400 - 256 and found[-1]["presses"] == 0 and found[-1]["sat"] == 399
    assert found[-1]["register"] == (1 << 62) + 1200 and found[-1]["flags"] == 8


def case_ticks_that_wrap():
    """Ticks of 12 bits, asked at odd moments: the count goes through twenty wraps as the true time does."""
    true = [0]
    uptime = Uptime(lambda: (true[0] + 4000) & 4095, lambda a, b: ((a - b + 2048) & 4095) - 2048)
    dice = Dice(3)
    while true[0] < 20 * 4096:
        true[0] += dice(1500)
        assert uptime.now() == true[0]


def case_a_reset_keeps_all():
    node = make(rate_milli=2000)
    node.sample(1 << 20, False, 0)
    node.presses = 3
    for text in ("arm 0 20 4", "arm 2 99000000000 3", "lease 600"):
        ask(node, text, 0)
    for ms in range(10, 5000, 10):
        node.sample(1 << 20, True, ms)
    ask(node, "quiet", 5000)
    buffer = bytearray(keep.SIZE)
    keep.pack(node, buffer)
    other = make(seed=9)
    assert keep.unpack(bytes(buffer), other, 40)
    other.sample(7, False, 100)
    last, first = readings(node), readings(other)[0]
    last = fields(ask(node, "now", 5000)[1][0])
    for key in ("boot", "register", "sat", "presses", "uptime"):
        assert first[key] == last[key], key
    assert first["flags"] == 2 | 4 | 8 and first["seq"] == last["seq"]
    assert other.rate_milli == 2000 and other.calls.lease_ms == 600_000
    assert ask(other, "slot 0", 150)[0] == ask(node, "slot 0", 5000)[0] == "ok slot 0 20 4 10"
    assert ask(other, "slot 2", 150)[0] == "ok slot 2 99000000000 3 -" and ask(other, "slot 1", 150)[0] == "ok slot 1 -"
    assert other.calls.sounding(200) == 0, "a call that was quieted stays so"
    other.advance(100 + 500)
    flags = []
    for ms in range(200, 62_000, 500):
        other.sample(7, False, ms)
        flags += [(f["uptime"], f["flags"] & 8) for f in readings(other)]
    assert all(bool(flag) == (uptime < 5000 + 60_000) for uptime, flag in flags), "for the next 60 s of uptime"


def case_a_damaged_memory_is_a_new_boot():
    node = make()
    node.sample(9, False, 0)
    node.advance(900)
    buffer = bytearray(keep.SIZE)
    keep.pack(node, buffer)
    for bit in range(keep.SIZE * 8):
        bad = bytearray(buffer)
        bad[bit // 8] ^= 1 << bit % 8
        assert not keep.unpack(bytes(bad), make(), 0), bit
    for bad in (None, b"", bytes(keep.SIZE), bytes(buffer[:-1])):
        assert not keep.unpack(bad, make(), 0)
    node.blind(900)
    keep.pack(node, buffer)
    assert not keep.unpack(bytes(buffer), make(), 0), "what is not known is not kept"


def board_case_a_tick_allocates_nothing():
    """In MicroPython alone: eight minutes of ticks between two lines, with a slot armed, leave the heap as it was."""
    node = make(rate_milli=100, hold_ms=1 << 30)
    node.sample(1000, False, 0)
    ask(node, "arm 0 99999999999 4", 0)
    node.advance(10_000)
    node._next_ms = 1 << 30
    loud = node.calls.loud
    gc.collect()
    gc.disable()
    before = gc.mem_alloc()
    for ms in range(10_010, 490_000, 10):
        node.advance(ms)
        loud(ms)
    after = gc.mem_alloc()
    gc.enable()
    assert after == before, after - before
    assert node.register() == 1000 * 489_990
