"""AS7331 class sensor on an I2C bus, its UVA channel. Registers as in ams-osram's data sheet DS001047.

The part converts without a pause at its 1.024 MHz clock (mode CONT). It asks for a quiet bus while it converts, so the
caller reads when a conversion is due and not before.
"""

from registers import Registers, SensorFault

# In the configuration state; in the measuring state the same addresses hold 16-bit results.
OSR, AGEN, CREG1, CREG2, CREG3 = 0x00, 0x02, 0x06, 0x07, 0x08
RESULT_UVA = 0x02
DOS_MASK, DOS_CONFIGURE, DOS_MEASURE, START = 0x07, 0x02, 0x03, 0x80
NEW_DATA, ADC_OVER, RESULT_OVER = 0x08, 0x20, 0x40
IDENTITY = 0x21
GAINS = (1, 2, 4, 8, 16, 32, 64, 128, 256, 512, 1024, 2048)
TIMES = {16: 4, 32: 5, 64: 6, 128: 7, 256: 8, 512: 9}


class As7331:
    word = "as7331"
    address = 0x74

    def __init__(self, bus, gain, integration_ms):
        self._registers = Registers(bus, self.address)
        time = TIMES[integration_ms]
        self._creg1 = (11 - GAINS.index(gain)) << 4 | time
        # The converter counts one for each clock at most; results have 16 bits.
        self.full_scale = min((1024 << time) - 1, 0xFFFF)
        self.interval_ms = integration_ms
        self.gain_word = f"{gain}x{integration_ms}ms"
        self.saturated = False
        self._two = bytearray(2)

    def start(self):
        """See that it is the part, and set it up. Raises OSError, `SensorFault`."""
        self._registers.write(OSR, DOS_CONFIGURE)  # ends measuring, and the power-down that it starts in
        identity = self._registers.read(AGEN)
        if identity != IDENTITY:
            raise SensorFault(f"identity {identity:02x} at 0x{self.address:02x}: this is no AS7331")
        self._registers.write(CREG1, self._creg1)
        self._registers.write(CREG2, 0x40)
        self._registers.write(CREG3, 0x00)  # CONT, 1.024 MHz
        if self._registers.read(CREG1) != self._creg1 or self._registers.read(CREG3) & 0xC3:
            raise SensorFault("the settings were not taken")
        self._registers.write(OSR, START | DOS_MEASURE)

    def read(self):
        """The counts of a new conversion, None while there is none. Raises OSError, `SensorFault`.

        An overflow may be that of another channel: then the counts stand as they were read, as a lower bound.
        """
        two = self._two
        self._registers.read_into(OSR, two)
        status = two[1]
        if two[0] & DOS_MASK != DOS_MEASURE:
            raise SensorFault("it has stopped measuring: it lost its power")
        if not status & NEW_DATA:
            return None
        self._registers.read_into(RESULT_UVA, two)
        counts = two[0] | two[1] << 8
        self.saturated = counts >= self.full_scale or bool(status & (ADC_OVER | RESULT_OVER))
        return counts
