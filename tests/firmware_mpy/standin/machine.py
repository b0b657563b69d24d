"""Stands in for a board's `machine`: pins, bus and memory, told what to do through files in the node's folder.

`orders` is appended to by the test, one a line; `trace` is written here: `<ms> pin <number> <level>` and
`<ms> read <counts>`. The ms are the machine's own, whatever the node's ticks are made to do.
"""

import os
import sys
import time

import parts
import utime

if hasattr(time, "wrap"):
    time.wrap()
FOLDER = os.getenv("NODE_FOLDER")
_trace = open(FOLDER + "/trace", "ab")
_orders = open(FOLDER + "/orders", "rb")
_rest = b""
levels = {}
network_up = True
_light = [(0, 0)]  # (from ms, counts)


def trace(text):
    _trace.write(f"{utime.ticks_ms()} {text}\n".encode())


def light():
    now, found = utime.ticks_ms(), 0
    for since, counts in _light:
        if now >= since:
            found = counts
    return found


part = (parts.LtrPart if os.getenv("NODE_PART") == "ltr390" else parts.AsPart)(utime.ticks_ms, light)


def obey():
    """Carry out what was ordered since the last look."""
    global _rest
    _rest += _orders.read()
    while b"\n" in _rest:
        line, _rest = _rest.split(b"\n", 1)
        _order(line.decode().split())


def _order(words):
    global network_up
    what, value = words[0], words[1]
    if what == "light":  # counts, or ms:counts,ms:counts from now on
        since = utime.ticks_ms()
        _light.clear()
        for step in value.split(","):
            ms, _, counts = ("0:" + step if ":" not in step else step).partition(":")
            _light.append((since + int(ms), int(counts)))
    elif what == "pin":
        number, _, level = value.partition("=")
        levels[int(number)] = int(level)
    elif what == "fail":
        part.fail = int(value)
    elif what == "still":
        part.still = value == "1"
    elif what == "status":
        part.extra = int(value, 16)
    elif what == "part":  # off and on again
        part.power_on()
    elif what == "identity":
        part.registers[6 if part.ADDRESS == 0x53 else 2] = int(value, 16)
    elif what == "network":
        network_up = value == "1"
    elif what == "bug":
        raise RuntimeError(value)
    elif what == "stall":  # as a board does that looks up a name
        utime.sleep_ms(int(value))


class Pin:
    IN, OUT, PULL_UP = 0, 1, 2

    def __init__(self, number, mode=-1, pull=-1, value=None):
        self.number = number
        if value is not None:
            self.value(value)

    def value(self, level=None):
        obey()
        if level is None:
            return levels.get(self.number, 1)
        trace(f"pin {self.number} {level}")


class PWM:
    def __init__(self, pin, freq, duty_u16):
        self._pin, self.freq = pin, freq
        self.duty_u16(duty_u16)

    def duty_u16(self, duty):
        trace(f"pin {self._pin.number} {self.freq if duty else 0}")


class SoftI2C(parts.Bus):
    def __init__(self, scl, sda, freq, timeout):
        super().__init__(part)

    def readfrom_mem_into(self, address, register, buffer):
        obey()
        super().readfrom_mem_into(address, register, buffer)
        if part.readouts:
            for _, counts in part.readouts:
                trace(f"read {counts}")
            part.readouts.clear()


class RTC:
    def memory(self, data=None):
        name = FOLDER + "/memory"
        if data is not None:
            with open(name + ".new", "wb") as file:
                file.write(data)
            os.rename(name + ".new", name)
            return None
        try:
            with open(name, "rb") as file:
                return file.read()
        except OSError:
            return b""


if os.getenv("NODE_MEMORY") == "none":
    del RTC


def unique_id():
    return b"\x00\x01\x02\x03\x04" + bytes((os.getenv("NODE_NUMBER", "0").encode()[0],))


def reset():
    sys.exit(75)
