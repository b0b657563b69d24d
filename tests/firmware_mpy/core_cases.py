"""What the firmware's pure files must do, as plain functions that run under CPython and in MicroPython alike.

Each oracle is reckoned here in another way than the firmware does it. Lines come from `shared/wire/vectors.json`.
"""

import gc
import json
import sys

import as7331
import keep
import ltr390
import outbox
import packets
import wire
from as7331 import As7331
from calls import CALL_EACH_MS, CALL_FOR_MS, CALL_MS
from ltr390 import Ltr390
from node import Node
from parts import AsPart, Bus, LtrPart
from sensor import Watch
from uptime import Uptime

HOW = {"vectors": "", "fuzz": 10_000}


class Dice:
    """The same draws under both interpreters: a linear congruential generator (Numerical Recipes' constants)."""

    def __init__(self, seed):
        self._x = seed

    def __call__(self, below=1 << 32):
        self._x = (self._x * 1664525 + 1013904223) & 0xFFFFFFFF
        return (self._x * below) >> 32


def make(rate_milli=1000, hold_ms=1000, seed=1):
    return Node("sill", "ltr390", "3x100ms", 262143, "0", Dice(seed), rate_milli, hold_ms)


def fields(line):
    """Numbers of a reading's line, its proof looked at by the standard's own bitwise rule."""
    body, crc = line.rstrip(b"\n").split(b"*")
    assert crc == b"%04X" % bitwise_crc(body), line
    words = body.decode().split(",")
    assert words[0] == "uv1" and len(words) == 9, line
    return {
        "boot": int(words[1], 16), "seq": int(words[2]), "uptime": int(words[3]), "level": words[4],
        "register": int(words[5]), "sat": int(words[6]), "presses": int(words[7]), "flags": int(words[8], 16),
    }  # fmt: skip


def bitwise_crc(data):
    crc = 0xFFFF
    for byte in data:
        crc ^= byte << 8
        for _ in range(8):
            crc = (crc << 1 ^ (0x1021 if crc & 0x8000 else 0)) & 0xFFFF
    return crc


def readings(node):
    """The readings said since the last look."""
    found = [fields(line) for line in node.out if line.startswith(b"uv1,")]
    node.out.clear()
    return found


def ask(node, text, now_ms):
    """What a command is answered, and what is said before."""
    node.out.clear()
    node.command(wire.frame(text), now_ms)
    said = list(node.out)
    node.out.clear()
    return wire.unframe(said[-1]), said[:-1]


def raw(text):
    return bytes(ord(c) for c in text)


def vectors():
    with open(HOW["vectors"]) as file:
        return json.load(file)


# the wire -------------------------------------------------------------------------------------------------------


def case_vectors_crc():
    crc = vectors()["crc"]
    assert "{:04X}".format(wire.crc16(crc["check_of"].encode())) == crc["check"]


def case_vectors_readings():
    """The proof is taken; and a line made of the fields holds the very fields, in this one canonical spelling."""
    same = 0
    for v in vectors()["readings"]:
        assert wire.unframe(raw(v["line"])), v
        n = [int(v[k]) for k in ("boot", "seq", "uptime_ms", "level_milli", "register", "sat_ms", "presses", "flags")]
        made = wire.frame(wire.reading(*n))
        found = fields(made)
        whole, _, part = found["level"].partition(".")
        assert [found[k] for k in ("boot", "seq", "uptime", "register", "sat", "presses", "flags")] == n[:3] + n[4:]
        assert int(whole) * 1000 + int((part + "000")[:3]) == n[3], v
        same += made.rstrip(b"\n") == raw(v["line"])
    assert same >= 5


def case_vectors_answers():
    for v in vectors()["answers"]:
        assert wire.frame(v["text"]) == raw(v["line"] + "\n"), v
        assert wire.unframe(raw(v["line"])) == v["text"], v


def case_vectors_invalid():
    """A node hears no readings; of what is no line at all its frame must let nothing through."""
    seen = 0
    for v in vectors()["invalid"]:
        if v["reason"] in ("checksum", "no checksum"):
            seen += 1
            assert wire.unframe(raw(v["line"])) is None, v
    assert seen > 10


def case_vectors_commands():
    for v in vectors()["commands"]:
        node = make()
        node.sample(5, False, 0)
        node.out.clear()
        assert wire.frame(v["text"]) == raw(v["line"]), v
        for ending in ("\n", "\r\n", ""):
            node.command(raw(v["line"].rstrip("\n") + ending), 1)
        answers = [wire.unframe(line) for line in node.out if not line.startswith(b"uv1,")]
        name = v["text"].split()[0]
        more = {"who": " sill 1 ltr390 3x100ms 262143 0", "arm": v["text"][3:], "slot": v["text"][4:] + " -"}
        assert answers == ["ok " + name + more.get(name, "")] * 3, (v, answers)


def case_vectors_refused_commands():
    for line in vectors()["refused_commands"]:
        node = make()
        node.command(raw(line) + b"\n", 1)
        assert node.out == ([wire.frame("err checksum")] if line.strip() else []), line


def case_answers_to_wrong_commands():
    """firmware_notes/wire-format.md: `unknown`, `arguments`, `value`, and `sensor` where no line can be sent."""
    node = make()
    wanted = (
        ("sing", "unknown"), ("WHO", "unknown"), ("who 1", "arguments"), ("buzz 1", "arguments"),
        ("arm 1 2", "arguments"), ("buzz 0 1", "value"), ("buzz 8 1", "value"), ("buzz 1 3601", "value"),
        ("buzz 1 -1", "value"), ("buzz 1 nan", "value"), ("buzz 1 1e1", "value"), ("buzz 1 1.", "value"),
        ("arm 4 1 1", "value"), ("arm 0 9223372036854775808 1", "value"), ("arm 0 1 0", "value"),
        ("disarm 4", "value"), ("slot 4", "value"), ("slot", "arguments"),
        ("lease 86401", "value"), ("rate 0.09", "value"), ("rate 10.1", "value"),
        ("rate x", "value"), ("now", "sensor"),
    )  # fmt: skip
    for text, reason in wanted:
        assert ask(node, text, 1)[0] == "err " + reason, text
    node.command(b"\n \r\n", 2)
    assert node.out == []
    for text in ("buzz 7 0.5", "buzz 1 3600", "rate 0.1", "rate 10", "lease 0", "lease 86400", "disarm 3", "disarm 3"):
        assert ask(node, text, 3)[0] == "ok " + text.split()[0], text


# the register ---------------------------------------------------------------------------------------------------


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


# calls ----------------------------------------------------------------------------------------------------------


def run_to(node, now_ms, end_ms, counts=10, step=10):
    """Steady light; the stretches (from, to) in which the node says that its buzzer is on."""
    stretches, began = [], None
    while now_ms <= end_ms:
        node.sample(counts, False, now_ms)
        if len(node.out) > 100:
            node.out.clear()  # the board's program takes them each 10 ms
        on = node.flags() & 1
        if on and began is None:
            began = now_ms
        if not on and began is not None:
            stretches.append((began, now_ms))
            began = None
        now_ms += step
    if began is not None:
        stretches.append((began, None))
    return stretches


def case_calls_by_itself_for_half_an_hour():
    """10 s in each 30 s, for 30 min at most, from the first sample that reaches the value (wire-format.md)."""
    node = make()
    node.sample(10, False, 0)
    assert ask(node, "arm 1 50000 4", 0)[0] == "ok arm 1 50000 4"
    assert node.flags() == 2
    assert ask(node, "slot 1", 0)[0] == "ok slot 1 50000 4 -"
    stretches = run_to(node, 10, 5000 + 31 * 60_000)
    assert stretches[0] == (5000, 15000)
    assert stretches == [(a, a + 10_000) for a in range(5000, 5000 + 30 * 60_000, 30_000)]
    assert node.flags() == 4
    assert ask(node, "slot 1", node._now_ms)[0] == "ok slot 1 50000 4 5000"
    assert ask(node, "disarm 1", node._now_ms)[0] == "ok disarm" and node.flags() == 0
    assert (CALL_MS, CALL_EACH_MS, CALL_FOR_MS) == (10_000, 30_000, 1_800_000)


def case_what_ends_a_call():
    for how in ("quiet", "press", "disarm 0"):
        node = make()
        node.sample(10, False, 0)
        ask(node, "arm 0 0 4", 0)
        assert node.flags() == 5 and node.calls.loud(0), "at once where it is reached already"
        node.press(100) if how == "press" else ask(node, how, 100)
        assert run_to(node, 110, 60_000, step=100) == [], how
        assert node.flags() == (0 if how == "disarm 0" else 4), how


def case_a_press_is_told_at_once():
    node = make(rate_milli=100)
    node.sample(1, False, 0)
    readings(node)
    node.press(123)
    (found,) = readings(node)
    assert (found["presses"], found["uptime"], found["register"]) == (1, 123, 123)
    ask(node, "buzz 2 60", 200)
    node.press(300)
    assert node.calls.sounding(301) == 2, "what the computer sounds is for the computer to end"


def case_two_calls_at_once():
    """The one that was reached last sounds; when it is disarmed the other one still calls."""
    node = make()
    node.sample(10, False, 0)
    ask(node, "arm 0 10000 3", 0)
    ask(node, "arm 1 20000 4", 0)
    run_to(node, 10, 1500)
    assert node.calls.sounding(1500) == 3 and node.flags() == 7
    run_to(node, 1510, 2500)
    assert node.calls.sounding(2500) == 4 and node.flags() == 5
    ask(node, "disarm 1", 2500)
    assert node.calls.sounding(2500) == 3
    ask(node, "buzz 6 0.5", 2600)
    assert node.calls.sounding(2700) == 6 and node.calls.sounding(3100) == 3


def case_commands_that_come_twice():
    """QoS 1 may deliver again, and late: what was quieted does not call again, a phase of lines is not begun anew."""
    once, twice = make(), make()
    for node in (once, twice):
        node.sample(10, False, 0)
        again = ("arm 0 1000 4", "arm 1 900000 3", "disarm 2", "lease 5", "rate 2")
        for text in again:
            for _ in range(1 if node is once else 2):
                ask(node, text, 50)
        run_to(node, 60, 2990)
        ask(node, "quiet", 3000)
        if node is twice:
            ask(node, "quiet", 3000)
            for text in again:
                ask(node, text, 3000)
        node.out.clear()
        node.sounds = run_to(node, 3010, 40_000)
        node.sounds += run_to(node, 40_010, 95_000)
    assert once.sounds == twice.sounds == [(90_000, None)]
    assert once.out == twice.out and once.out and once.register() == twice.register()


def case_the_chirp_of_a_lease():
    """0.1 s each 10 s from the moment at which no proved command came for the lease, only while a slot waits."""
    node = make()
    node.sample(1, False, 0)
    ask(node, "lease 20", 0)
    ask(node, "arm 0 1000000 4", 1000)
    loud = []
    for ms in range(1010, 60_000, 10):
        node.sample(1, False, ms)
        if node.calls.loud(ms):
            loud.append(ms)
            assert not node.flags() & 1
    wanted = [a + b for a in (21_000, 31_000, 41_000, 51_000) for b in range(0, 100, 10)]
    assert loud == wanted, loud[:20]
    node.command(b"who*0000\n", 60_000)  # no proof: nobody is there
    assert node.calls.loud(61_000)
    ask(node, "who", 60_000)
    assert not node.calls.loud(61_000)
    ask(node, "disarm 0", 60_000)
    assert not node.calls.loud(90_000)


def case_fuzz_of_commands():
    """Whatever comes: each line that is not empty has one answer of the page's list, and the light counts on."""
    dice, node = Dice(11), make(rate_milli=100)
    node.sample(3, False, 0)
    names = ("who", "now", "buzz", "quiet", "arm", "disarm", "slot", "lease", "rate", "",
             "Who", "arm\t", "uv1,0", "*", "\xe9")
    args = ("", "0", "1", "3", "4", "7", "9", "60", "0.5", "-1", "1e9", "nan", "9" * 19, "9" * 40, ".", "1_0", "0x1")
    total = 0
    for now in range(1, HOW["fuzz"] + 1):
        words = [names[dice(len(names))]] + [args[dice(len(args))] for _ in range(dice(5))]
        text = " ".join(words)
        kind = dice(8)
        line = wire.frame(text) if kind else bytes(dice(256) for _ in range(dice(300)))
        if kind == 1:
            at = dice(len(line))
            line = line[:at] + bytes((dice(256),)) + line[at + 1 :]
        total += 3
        node.out.clear()
        node.advance(now)
        node.out.clear()
        node.command(line, now)
        answers = [wire.unframe(said) for said in node.out if not said.startswith(b"uv1,")]
        assert len(answers) == sum(1 for part in line.split(b"\n") if part.strip()), line
        for answer in answers:
            head = answer.split()
            assert (head[0] == "ok" and head[1] in names[:9]) or answer in (
                "err checksum", "err unknown", "err arguments", "err value"
            ), answer  # fmt: skip
        if now % 100 == 0:
            node.sample(3, False, now)
            assert node.register() == total


# what a reset keeps ---------------------------------------------------------------------------------------------


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


# sensors --------------------------------------------------------------------------------------------------------


def bench(kind, gain, integration_ms):
    """A driver on a model of its part, with a clock and a light to be set."""
    now, light = [0], [0]
    model = kind[1](lambda: now[0], lambda: light[0])
    return kind[0](Bus(model), gain, integration_ms), model, now, light


LTR, AS = (Ltr390, LtrPart), (As7331, AsPart)


def case_ltr390_settings():
    """Data sheet: gain codes 0 to 4 of register 5; bits 6:4 of register 4 the resolution, 2:0 the repeat rate."""
    for gain, code in ((1, 0), (3, 1), (6, 2), (9, 3), (18, 4)):
        driver, model, _, _ = bench(LTR, gain, 100)
        driver.start()
        assert model.registers[5] == code and model.registers[0] == 0x0A and model.registers[4] == 0x22
        assert driver.gain_word == f"{gain}x100ms"
    for ms, code, bits in ((400, 0x04, 20), (200, 0x13, 19), (100, 0x22, 18), (50, 0x31, 17), (25, 0x40, 16)):
        driver, model, _, _ = bench(LTR, 1, ms)
        driver.start()
        assert model.registers[4] == code and driver.full_scale == (1 << bits) - 1
        assert driver.interval_ms == model.cycle_ms() >= ms
    assert sorted(ltr390.TIMES) == [25, 50, 100, 200, 400]


def case_as7331_settings():
    """Data sheet: CREG1 gain 0 is 2048x, 11 is 1x; time 2^n ms; CREG3 0 is CONT at 1.024 MHz; OSR 0x83 measures."""
    for n in range(12):
        driver, model, _, _ = bench(AS, 1 << n, 64)
        driver.start()
        assert model.registers[6] == (11 - n) << 4 | 6 and model.registers[8] & 0xC3 == 0 and model.osr == 0x03
        assert driver.full_scale == 65535 and driver.gain_word == f"{1 << n}x64ms"
    for ms, code, full in ((16, 4, 16383), (32, 5, 32767), (64, 6, 65535), (512, 9, 65535)):
        driver, model, _, _ = bench(AS, 1, ms)
        driver.start()
        assert model.registers[6] & 15 == code and driver.full_scale == full
        assert driver.interval_ms == model.cycle_ms() == ms
    assert len(as7331.GAINS) == 12


def case_conversions_are_read_once():
    for kind, gain, ms in ((LTR, 3, 100), (AS, 32, 64)):
        driver, _model, now, light = bench(kind, gain, ms)
        driver.start()
        found = []
        for at in range(1, 10 * ms + 1):
            now[0] = at
            light[0] = at
            counts = driver.read()
            if counts is not None:
                found.append((at, counts, driver.saturated))
        assert found == [(n * ms, n * ms, False) for n in range(1, 11)], (kind, found)


def case_saturation():
    driver, model, now, light = bench(LTR, 18, 100)
    driver.start()
    for counts, sat in ((262142, False), (262143, True), (1 << 22, True)):
        now[0] += 100
        light[0] = counts
        assert driver.read() == min(counts, 262143) and driver.saturated is sat
    driver, model, now, light = bench(AS, 32, 64)
    driver.start()
    seen = ((65534, 0, False), (65535, 0, True), (900, 0x20, True), (900, 0x40, True), (9, 0, False))
    for counts, extra, sat in seen:
        now[0] += 64
        light[0], model.extra = counts, extra
        assert driver.read() == counts and driver.saturated is sat, (counts, extra)


def case_another_part_is_refused():
    for kind, gain, ms, register in ((LTR, 3, 100, 6), (AS, 32, 64, 2)):
        for wrong in (0x00, 0xFF, 0x47):
            driver, model, now, _ = bench(kind, gain, ms)
            model.registers[register] = wrong
            watch = Watch(driver, 1000)
            for at in range(0, 2000, 10):
                now[0] = at
                assert watch.poll(at) is None
            assert f"{wrong:02x}" in watch.fault and "this is no" in watch.fault


def case_bus_faults():
    """One disturbed transfer loses nothing; a bus that stays dead is told, tried again each second, never a zero."""
    for kind, gain, ms in ((LTR, 3, 100), (AS, 32, 64)):
        driver, model, now, light = bench(kind, gain, ms)
        light[0] = 500
        watch = Watch(driver, 1000)
        got, faults = [], []
        for at in range(0, 8000, 10):
            now[0] = at
            if at % 700 == 650 and at < 2000:
                model.fail = 2
            if at == 3000:
                model.fail = -1
            if at == 6000:
                model.fail = 0
            counts = watch.poll(at)
            if counts is not None:
                got.append((at, counts))
            if watch.fault and (not faults or faults[-1][1] != watch.fault):
                faults.append((at, watch.fault))
        assert {c for _, c in got} == {500}, kind
        times = [t for t, _ in got]
        assert not [t for t in times if 3000 + ms < t < 6000]
        assert max(b - a for a, b in zip(times, times[1:]) if b < 3000) <= ms + 10, "disturbances cost nothing"
        assert "bus" in faults[-1][1] and 3000 <= faults[-1][0] <= 3000 + ms + 10
        assert next(t for t in times if t > 6000) <= 7000 + 2 * ms + 30 and watch.fault == ""


def case_lost_power_and_no_conversions():
    for kind, gain, ms in ((LTR, 3, 100), (AS, 32, 64)):
        driver, model, now, light = bench(kind, gain, ms)
        light[0] = 500
        watch, said = Watch(driver, 1000), []
        for at in range(0, 9000, 10):
            now[0] = at
            if at == 2000:
                model.power_on()
            model.still = 5000 <= at < 7000
            watch.poll(at)
            if watch.fault and watch.fault not in said:
                said.append(watch.fault)
        assert [("power" in s, "no new" in s) for s in said[1:]] == [(True, False), (False, True)], said
        assert watch.fault == ""


# the network's pure parts ---------------------------------------------------------------------------------------


def case_packets():
    """Lengths as the tables of MQTT 3.1.1, section 2.2.3, have them; the flags of section 3.1.2.3."""
    for size, head in ((127, b"\x7f"), (128, b"\x80\x01"), (16383, b"\xff\x7f"), (16384, b"\x80\x80\x01")):
        assert packets.publish("a", b"x" * (size - 3))[1 : 1 + len(head)] == head, size
    data = packets.connect("uv1", 12, "", "", "p/n/online", b"0")
    assert data[2:12] == b"\x00\x04MQTT\x04\x2e\x00\x0c" and data[12:] == b"\x00\x03uv1\x00\x0ap/n/online\x00\x010"
    assert packets.connect("u", 12, "me", "pw", "t", b"0")[9] == 0xEE
    assert packets.connect("u", 12, "me", "pw", "t", b"0").endswith(b"\x00\x02me\x00\x02pw")
    assert packets.message(0x33, b"\x00\x03a/b\x01\x02hello") == (b"a/b", b"hello", 0x102, True)
    assert packets.message(0x30, b"\x00\x01ahello") == (b"a", b"hello", 0, False)
    assert packets.puback(0x102) == b"\x40\x02\x01\x02"


def case_no_backlog():
    box = outbox.Outbox()
    box.put(b"uv1,1")
    assert box.take() is None, "nobody is there: dropped"
    box.set_open(True)
    for i in range(100):
        box.put(b"uv1,%d" % i)
        if i % 20 == 0:
            box.put(b"ok %d" % i)
    found = []
    while True:
        line = box.take()
        if line is None:
            break
        found.append(line)
    assert len(found) <= 12 and found[-1] == b"uv1,99"
    assert [f for f in found if f.startswith(b"ok")] == [b"ok %d" % i for i in (0, 20, 40, 60, 80)], "in their order"


def case_waits_are_capped():
    dice = Dice(5)
    waits = outbox.Waits(500, 15_000, dice)
    found = [waits.next() for _ in range(50)]
    caps = [min(500 << i, 15_000) for i in range(50)]
    assert all(cap // 2 <= ms <= cap for ms, cap in zip(found, caps))
    assert len(set(found[10:])) > 20
    waits.reset()
    assert waits.next() <= 500


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


def run_all():
    """Each case's name, and "" or what went wrong; one JSON line each, as it is done."""
    for name in sorted(k for k in globals() if k.startswith(("case_", "board_case_"))):
        try:
            globals()[name]()
            wrong = ""
        except Exception as err:
            sys.print_exception(err, sys.stderr)
            wrong = repr(err) or "wrong"
        print(json.dumps([name, wrong]))


if __name__ == "__main__":
    HOW["vectors"] = sys.argv[1]
    HOW["fuzz"] = int(sys.argv[2])
    run_all()
