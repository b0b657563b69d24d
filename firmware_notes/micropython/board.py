"""The board: its bus, pins and memory, made from the settings. The only file, with `main`, that knows `machine`."""

import machine

DEBOUNCE_MS = 30
BUS_HZ = 100_000
BUS_TIMEOUT_US = 10_000


def bus(at):
    """The I2C bus. The soft one is slower, is on every port, and gives up on a stuck wire in bounded time."""
    return machine.SoftI2C(scl=machine.Pin(at.SCL), sda=machine.Pin(at.SDA), freq=BUS_HZ, timeout=BUS_TIMEOUT_US)


class Button:
    """A press counts once it has been held for `DEBOUNCE_MS`."""

    def __init__(self, pin):
        self._pin = None if pin is None else machine.Pin(pin, machine.Pin.IN, machine.Pin.PULL_UP)
        self._since_ms = None
        self._told = False

    def pressed(self, now_ms):
        """True once for each press."""
        if self._pin is None or self._pin.value():
            self._since_ms, self._told = None, False
            return False
        if self._since_ms is None:
            self._since_ms = now_ms
        if self._told or now_ms - self._since_ms < DEBOUNCE_MS:
            return False
        self._told = True
        return True


class Light:
    """A lamp or an active buzzer on a pin; written only where it changes."""

    def __init__(self, pin, on):
        self._on = on
        self._pin = None if pin is None else machine.Pin(pin, machine.Pin.OUT, value=1 - on)
        self._is = False

    def set(self, is_on):
        if is_on != self._is:
            self._is = is_on
            if self._pin is not None:
                self._pin.value(self._on if is_on else 1 - self._on)


class Piezo:
    """A bare piezo: the same with a tone."""

    def __init__(self, pin, hz):
        self._pwm = machine.PWM(machine.Pin(pin), freq=hz, duty_u16=0)
        self._is = False

    def set(self, is_on):
        if is_on != self._is:
            self._is = is_on
            self._pwm.duty_u16(32768 if is_on else 0)


def buzzer(at):
    """What sounds."""
    return Piezo(at.BUZZER, at.BUZZER_HZ) if at.BUZZER is not None and at.BUZZER_HZ else Light(at.BUZZER, at.BUZZER_ON)


def memory():
    """`memory` of the real-time clock, which a reset without power loss does not clear; None on ports without it."""
    return getattr(machine.RTC(), "memory", None) if hasattr(machine, "RTC") else None


def unique():
    """The board's own number in hex."""
    return "".join(f"{b:02x}" for b in machine.unique_id())
