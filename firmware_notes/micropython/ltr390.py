"""LTR-390UV class sensor on an I2C bus. Registers as in Lite-On's data sheet of the LTR-390UV-01.

The part has no overflow flag: its full scale is the largest count of its resolution.
"""

from registers import Registers, SensorFault

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


class Ltr390:
    word = "ltr390"
    address = 0x53

    def __init__(self, bus, gain, integration_ms):
        self._registers = Registers(bus, self.address)
        self._gain = GAINS.index(gain)
        resolution, bits, rate, self.interval_ms = TIMES[integration_ms]
        self._rate = resolution << 4 | rate
        self.full_scale = (1 << bits) - 1
        self.gain_word = f"{gain}x{integration_ms}ms"
        self.saturated = False
        self._three = bytearray(3)  # kept, so that a conversion allocates nothing

    def start(self):
        """See that it is the part, and set it up. Raises OSError, `SensorFault`."""
        part = self._registers.read(PART_ID)
        if part >> 4 != 0xB:
            raise SensorFault(f"part id {part:02x} at 0x{self.address:02x}: this is no LTR-390UV")
        self._registers.write(MAIN_CTRL, 0)  # standby, so that no conversion is half of one setting
        self._registers.write(MEAS_RATE, self._rate)
        self._registers.write(GAIN, self._gain)
        if self._registers.read(MEAS_RATE) != self._rate or self._registers.read(GAIN) != self._gain:
            raise SensorFault("the settings were not taken")
        self._registers.write(MAIN_CTRL, UVS_ON)
        self._registers.read(MAIN_STATUS)  # forgets the power-up that it tells, and a conversion of before

    def read(self):
        """The counts of a new conversion, None while there is none. Raises OSError, `SensorFault`."""
        status = self._registers.read(MAIN_STATUS)
        if status & LOST_POWER:
            raise SensorFault("it lost its power")
        if not status & NEW_DATA:
            return None
        data = self._three
        self._registers.read_into(UVS_DATA, data)
        counts = (data[0] | data[1] << 8 | data[2] << 16) & 0xFFFFF
        self.saturated = counts >= self.full_scale
        return counts
