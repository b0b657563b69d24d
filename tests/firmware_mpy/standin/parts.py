"""Register models of the sensor parts, written apart from the firmware's drivers; for both Pythons.

A part is told the time in ms and the light in counts of its setting; `fail` makes the bus fail so many times.
Sources: Lite-On's data sheet of the LTR-390UV-01, ams-osram's DS001047 and Texas Instruments' SBAS444, from memory;
addresses, identities and bits were compared with the Linux kernel's drivers ltr390.c, as73211.c (which serves the
AS7331 too) and ti-ads1015.c.
"""


class Part:
    def __init__(self, clock, light):
        self.clock, self.light = clock, light
        self.fail = 0  # transactions that are not answered; below 0: all
        self.still = False  # no conversion ends any more
        self.readouts = []  # (ms, counts) as they were read
        self.power_on()

    def transaction(self):
        if self.fail:
            self.fail -= 1
            raise OSError(19)

    def ended(self):
        """How many conversions have ended since measuring began."""
        if self.began_ms is None:
            return 0
        if not self.still:
            self.count = (self.clock() - self.began_ms) // self.cycle_ms()
        return self.count

    def begin(self):
        self.began_ms, self.count, self.taken = self.clock(), 0, 0

    def took(self, counts):
        self.taken = self.ended()
        self.readouts.append((self.clock(), counts))
        return counts


class LtrPart(Part):
    ADDRESS = 0x53
    TIME_MS = (400, 200, 100, 50, 25, 12.5, 12.5, 12.5)
    BITS = (20, 19, 18, 17, 16, 13, 13, 13)
    RATE_MS = (25, 50, 100, 200, 500, 1000, 2000, 2000)
    WRITABLE = (0x00, 0x04, 0x05, 0x19, 0x1A, 0x21, 0x22, 0x23, 0x24, 0x25, 0x26)

    def power_on(self):
        self.registers = {0x00: 0x00, 0x04: 0x22, 0x05: 0x01, 0x06: 0xB2, 0x19: 0x10, 0x1A: 0x00}
        self.woken = 0x20
        self.began_ms = None
        self.begin()
        self.began_ms = None

    def cycle_ms(self):
        setting = self.registers[0x04]
        return max(self.TIME_MS[setting >> 4 & 7], self.RATE_MS[setting & 7])

    def read(self, register, size):
        self.transaction()
        if register == 0x07:
            value = self.woken | (0x08 if self.ended() > self.taken else 0)
            self.woken = 0
            self.taken = self.ended()
            return bytes((value,) * size)
        if register == 0x10:
            full = (1 << self.BITS[self.registers[0x04] >> 4 & 7]) - 1
            counts = self.took(min(self.light(), full))
            return bytes((counts & 255, counts >> 8 & 255, counts >> 16))[:size]
        return bytes(self.registers.get(register + i, 0) for i in range(size))

    def write(self, register, data):
        self.transaction()
        for i in range(len(data)):
            if register + i in self.WRITABLE:
                self.registers[register + i] = data[i]
        if register == 0x00:
            if data[0] & 0x0A == 0x0A:
                self.begin()
            else:
                self.began_ms = None


class AsPart(Part):
    ADDRESS = 0x74
    extra = 0  # bits of STATUS that are set as well

    def power_on(self):
        self.osr = 0x42
        self.registers = {0x02: 0x21, 0x06: 0xA6, 0x07: 0x40, 0x08: 0x50, 0x09: 0x19, 0x0A: 0x01, 0x0B: 0x73}
        self.began_ms = None
        self.begin()
        self.began_ms = None

    def cycle_ms(self):
        return (1 << (self.registers[0x06] & 15)) >> (self.registers[0x08] & 3)

    def read(self, register, size):
        self.transaction()
        if self.osr & 7 == 2:  # configuration: 8-bit registers
            found = [self.osr if r == 0 else self.registers.get(r, 0) for r in range(register, register + size)]
            return bytes(found)
        new = self.ended() - self.taken
        status = self.extra | (0x08 if new else 0) | (0x10 if new > 1 else 0) | 0x01
        words = (self.osr | status << 8, 1000, min(self.light(), 0xFFFF), 7, 0)
        if register == 2:
            self.took(words[2])
        found = b""
        for word in words[register:]:
            found += bytes((word & 255, word >> 8))
        return found[:size]

    def write(self, register, data):
        self.transaction()
        if register == 0:
            self.osr = data[0] & 0x47
            if data[0] & 0x87 == 0x83 and not data[0] & 0x40:
                self.begin()
            else:
                self.began_ms = None
        elif self.osr & 7 == 2:
            for i in range(len(data)):
                if register + i > 2:
                    self.registers[register + i] = data[i]


class AdsPart(Part):
    ADDRESS = 0x48
    RATES = (8, 16, 32, 64, 128, 250, 475, 860)

    def power_on(self):
        self.config = 0x0583
        self.began_ms, self.counts = None, 0

    def done(self):
        return not self.still and self.clock() - self.began_ms >= 1000 / self.RATES[self.config >> 5 & 7]

    def read(self, register, size):
        self.transaction()
        assert size == 2, "its registers have 16 bits"
        if self.began_ms is not None and self.done():
            self.began_ms = None
            self.counts = max(-32768, min(self.light(), 32767)) & 0xFFFF if self.config & 0x7000 == 0x4000 else 0x1234
        word = self.counts if register == 0 else self.config | (0x8000 if self.began_ms is None else 0)
        if register == 0:
            self.readouts.append((self.clock(), word))
        return bytes((word >> 8, word & 255))

    def write(self, register, data):
        self.transaction()
        assert register == 1 and len(data) == 2
        self.config = (data[0] << 8 | data[1]) & 0x7FFF
        if data[0] & 0x80 and data[0] & 0x01:  # begin one, in single shot
            self.began_ms = self.clock()


class Bus:
    """What the drivers are handed: one part on a bus."""

    def __init__(self, part):
        self.part = part

    def readfrom_mem_into(self, address, register, buffer):
        self._see(address)
        buffer[:] = self.part.read(register, len(buffer))

    def writeto_mem(self, address, register, data):
        self._see(address)
        self.part.write(register, bytes(data))

    def _see(self, address):
        if address != self.part.ADDRESS:
            raise OSError(19)
