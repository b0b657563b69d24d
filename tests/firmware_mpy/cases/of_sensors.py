"""The drivers on register models of their parts, and what becomes of faults."""

import ads1115
import as7331
import ltr390
from ads1115 import Ads1115
from as7331 import As7331
from common import bench
from ltr390 import Ltr390
from parts import AdsPart, AsPart, LtrPart
from sensor import Watch

LTR, AS, ADS = (Ltr390, LtrPart), (As7331, AsPart), (Ads1115, AdsPart)
ALL = ((LTR, 3, 100), (AS, 32, 64), (ADS, 1, 125))


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


def case_ads1115_settings():
    """Data sheet: bits 14:12 the input (4: AIN0), 11:9 the range (1: 4.096 V), 8 single shot, 7:5 the rate, 1:0 3."""
    for gain, code in ((1, 1), (2, 2), (4, 3), (8, 4), (16, 5)):
        for ms, rate in ((125, 0), (63, 1), (32, 2), (16, 3)):
            driver, model, _, _ = bench(ADS, gain, ms)
            driver.start()
            assert model.config == 4 << 12 | code << 9 | 1 << 8 | rate << 5 | 3
            assert driver.full_scale == 32767 and driver.interval_ms - 1 < 1000 / AdsPart.RATES[rate] <= ms
    assert sorted(ads1115.TIMES) == [16, 32, 63, 125] and ads1115.GAINS == (1, 2, 4, 8, 16)


def case_conversions_are_read_once():
    for kind, gain, ms in ALL:
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
    driver, model, now, light = bench(ADS, 1, 125)
    driver.start()
    for counts, sat in ((32766, False), (32767, True), (1 << 20, True), (-3, False)):
        now[0] += 125
        light[0] = counts
        assert driver.read() == max(0, min(counts, 32767)) and driver.saturated is sat
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
    for kind, gain, ms in ALL:
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
    for kind, gain, ms in ALL:
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
