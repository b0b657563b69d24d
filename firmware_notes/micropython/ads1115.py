"""ADS1115 converter on an I2C bus, its input AIN0 against ground: for a photodiode behind an amplifier (volts).

Registers as in Texas Instruments' data sheet SBAS444; addresses, fields, rates and ranges were compared with the Linux
kernel's driver ti-ads1015.c, the meaning of OS with public driver code (`ads1115_device.h` of TRAPSat). Each conversion
is asked for (single shot): only so does the part say that one has ended, and none is read twice.
"""

from registers import Registers, SensorFault

CONVERSION, CONFIG = 0x00, 0x01
OS = 0x80  # in the upper byte. Written: begin; read: no conversion is under way
AIN0, SINGLE_SHOT = 0x40, 0x01  # in the upper byte
NO_COMPARATOR = 0x03  # in the lower byte
# 1: up to 4.096 V, and half of that for each next; the input may not go above the part's own supply.
GAINS = (1, 2, 4, 8, 16)
# ms, rounded up, to the code of the rate: 8, 16, 32 and 64 conversions a second, within 10 %
TIMES = {125: 0, 63: 1, 32: 2, 16: 3}
# An offset of a few counts is usual; more below ground than that is a wire.
LOWEST = -16


class Ads1115:
    word = "ads1115"
    address = 0x48  # ADDR to ground

    def __init__(self, bus, gain, integration_ms):
        self._registers = Registers(bus, self.address)
        upper = AIN0 | (GAINS.index(gain) + 1) << 1 | SINGLE_SHOT
        self._begin = bytes((OS | upper, TIMES[integration_ms] << 5 | NO_COMPARATOR))
        self.full_scale = 0x7FFF
        self.interval_ms = integration_ms
        self.gain_word = f"{gain}x{integration_ms}ms"
        self.saturated = False
        self._two = bytearray(2)  # kept, so that a conversion allocates nothing

    def start(self):
        """Set it up and begin a conversion. Raises OSError, `SensorFault`; the part has no identity to look at."""
        self._registers.write_from(CONFIG, self._begin)
        if not self._is_set_up():
            raise SensorFault(f"the settings were not taken at 0x{self.address:02x}: is this an ADS1115?")

    def read(self):
        """The counts of a new conversion, None while there is none. Raises OSError, `SensorFault`.

        Counts just below ground are told as 0: the register counts up, and an amplifier's zero lies above it.
        """
        if not self._is_set_up():
            raise SensorFault("it lost its power")
        if not self._two[0] & OS:
            return None
        two = self._two
        self._registers.read_into(CONVERSION, two)
        counts = two[0] << 8 | two[1]
        self._registers.write_from(CONFIG, self._begin)  # the next one
        if counts & 0x8000:
            counts -= 0x10000
            if counts < LOWEST:
                raise SensorFault("its input is below ground: see to the amplifier's wires")
        self.saturated = counts >= self.full_scale
        return max(counts, 0)

    def _is_set_up(self):
        """What it is set to, read into `_two`; after a loss of power it is another input."""
        two, begin = self._two, self._begin
        self._registers.read_into(CONFIG, two)
        return two[0] | OS == begin[0] and two[1] == begin[1]
