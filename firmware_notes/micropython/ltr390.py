"""LTR-390UV class sensor on an I2C bus. Registers as in Lite-On's data sheet of the LTR-390UV-01.

The bus is handed in: `readfrom_mem_into(address, register, buffer)` and `writeto_mem(address, register, data)`, which
raise OSError. The part has no overflow flag: its full scale is the largest count of its resolution.
"""

MAIN_CTRL, MEAS_RATE, GAIN, PART_ID, MAIN_STATUS, UVS_DATA = 0x00, 0x04, 0x05, 0x06, 0x07, 0x10
UVS_ON = 0x0A  # bit 3 ultraviolet, not visible; bit 1 on
LOST_POWER, NEW_DATA = 0x20, 0x08
GAINS = (1, 3, 6, 9, 18)
# integration in ms: (code of the resolution, bits, code of the repeat rate, ms from one conversion to the next)
TIMES = {
    400: (0, 20, 4, 500),
    200: (1, 19, 3, 200),
    100: (2, 18, 2, 100),
    50: (3, 17, 1, 50),
    25: (4, 16, 0, 25),
}


class SensorFault(Exception):
    """The part answers, and what it says is wrong; in words."""


class Ltr390:
    word = "ltr390"
    address = 0x53

    def __init__(self, bus, gain, integration_ms):
        self._bus = bus
        self._gain = GAINS.index(gain)
        resolution, bits, rate, self.interval_ms = TIMES[integration_ms]
        self._rate = resolution << 4 | rate
        self.full_scale = (1 << bits) - 1
        self.gain_word = f"{gain}x{integration_ms}ms"
        self.saturated = False
        self._one, self._three = bytearray(1), bytearray(3)  # kept, so that a conversion allocates nothing

    def start(self):
        """See that it is the part, and set it up. Raises OSError, `SensorFault`."""
        part = self._read(PART_ID)
        if part >> 4 != 0xB:
            raise SensorFault(f"part id {part:02x} at 0x{self.address:02x}: this is no LTR-390UV")
        self._write(MAIN_CTRL, 0)  # standby, so that no conversion is half of one setting
        self._write(MEAS_RATE, self._rate)
        self._write(GAIN, self._gain)
        if self._read(MEAS_RATE) != self._rate or self._read(GAIN) != self._gain:
            raise SensorFault("the settings were not taken")
        self._write(MAIN_CTRL, UVS_ON)
        self._read(MAIN_STATUS)  # forgets the power-up that it tells, and a conversion of before

    def read(self):
        """The counts of a new conversion, None while there is none. Raises OSError, `SensorFault`."""
        status = self._read(MAIN_STATUS)
        if status & LOST_POWER:
            raise SensorFault("it lost its power")
        if not status & NEW_DATA:
            return None
        data = self._three
        self._bus.readfrom_mem_into(self.address, UVS_DATA, data)
        counts = (data[0] | data[1] << 8 | data[2] << 16) & 0xFFFFF
        self.saturated = counts >= self.full_scale
        return counts

    def _read(self, register):
        self._bus.readfrom_mem_into(self.address, register, self._one)
        return self._one[0]

    def _write(self, register, value):
        self._one[0] = value
        self._bus.writeto_mem(self.address, register, self._one)
