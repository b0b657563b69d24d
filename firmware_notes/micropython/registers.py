"""The registers of a sensor on an I2C bus.

The bus is handed in: `readfrom_mem_into(address, register, buffer)` and `writeto_mem(address, register, data)`, which
raise OSError.
"""


class SensorFault(Exception):
    """The part answers, and what it says is wrong; in words."""


class Registers:
    """One part's registers. All of it raises OSError."""

    def __init__(self, bus, address):
        self._bus = bus
        self._address = address
        self._one = bytearray(1)  # kept, so that a conversion allocates nothing

    def read(self, register):
        """One byte."""
        self._bus.readfrom_mem_into(self._address, register, self._one)
        return self._one[0]

    def read_into(self, register, buffer):
        """As many bytes as the buffer holds."""
        self._bus.readfrom_mem_into(self._address, register, buffer)

    def write(self, register, value):
        """One byte."""
        self._one[0] = value
        self._bus.writeto_mem(self._address, register, self._one)

    def write_from(self, register, buffer):
        """All bytes of the buffer in one transfer, as a register of 16 bits wants."""
        self._bus.writeto_mem(self._address, register, buffer)
