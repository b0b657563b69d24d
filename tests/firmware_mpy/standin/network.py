"""Stands in for `network`: a Wi-Fi that lets everybody in after a moment, unless the test has switched it off."""

import machine
import utime

STA_IF = 0


class WLAN:
    def __init__(self, interface):
        self._wanted = False
        self._from_ms = None

    def active(self, on):
        pass

    def connect(self, name, password):
        self._wanted = True

    def disconnect(self):
        self._wanted = False

    def isconnected(self):
        if not (machine.network_up and self._wanted):
            self._from_ms = None
        elif self._from_ms is None:
            self._from_ms = utime.ticks_ms()
        return self._from_ms is not None and utime.ticks_ms() - self._from_ms >= 50
