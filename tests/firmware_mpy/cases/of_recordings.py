"""Each driver against what was recorded of its bus: `shared/parts/*.json`, of which a new one is found here.

A step is a call of the driver: `do` is `start` or `read`, `bus` the transfers that it makes, each `[read or write,
register, bytes in hex]`, and what it must come to: `counts` (null: no new conversion yet) and `saturated`, or `fault`,
words that the person must be told.
"""

import binascii
import json
import os

import config
from common import HOW
from registers import SensorFault


class Recorded:
    """A bus on which only what was recorded may happen, in that order."""

    def __init__(self, address):
        self._address = address
        self.expected = []

    def readfrom_mem_into(self, address, register, buffer):
        data = self._next("read", address, register)
        assert len(data) == len(buffer), (register, len(buffer))
        buffer[:] = data

    def writeto_mem(self, address, register, data):
        found = self._next("write", address, register)
        assert found == bytes(data), (register, bytes(data), found)

    def _next(self, way, address, register):
        assert address == self._address, address
        assert self.expected, f"{way} {register} is not in the recording"
        told = self.expected.pop(0)
        assert told[:2] == [way, register], (told, way, register)
        return binascii.unhexlify(told[2])


def recordings():
    """(name of the file, what it holds) of each."""
    folder = HOW["vectors"].rsplit("/", 2)[0] + "/parts"
    for name in sorted(os.listdir(folder)):
        with open(folder + "/" + name) as file:
            yield name, json.load(file)


def case_each_driver_has_a_recording():
    told = {recording["sensor"] for _, recording in recordings()}
    for word in config.PARTS:
        assert word in told, f"no recording of {word}: add shared/parts/{word}.json, as the others there are"


def case_each_driver_does_on_the_bus_what_was_recorded():
    for name, recording in recordings():
        part, module = config.PARTS[recording["sensor"]]
        assert recording["gain"] in module.GAINS and recording["integration_ms"] in module.TIMES, name
        bus = Recorded(part.address)
        driver = part(bus, recording["gain"], recording["integration_ms"])
        assert driver.full_scale == recording["full_scale"] and driver.word == recording["sensor"], name
        assert driver.gain_word == "{}x{}ms".format(recording["gain"], recording["integration_ms"]), name
        assert 0 < driver.interval_ms <= 1000, name
        for number, step in enumerate(recording["steps"], 1):
            at = f"{name}, step {number}"
            bus.expected = list(step["bus"])
            try:
                counts, fault = driver.start() if step["do"] == "start" else driver.read(), ""
            except SensorFault as err:
                counts, fault = None, str(err)
            except AssertionError as err:
                raise AssertionError(f"{at}: {err}") from None
            assert not bus.expected, f"{at}: it left out {bus.expected}"
            assert step["fault"] in fault if "fault" in step else not fault, (at, fault)
            assert counts == step.get("counts"), (at, counts)
            if counts is not None:
                assert driver.saturated is step["saturated"], at


def case_a_bus_that_fails_is_an_error_and_never_a_value():
    """Each transfer of each recorded step fails once: the driver lets it through as OSError, whatever came before."""

    class Failing(Recorded):
        left = 0

        def _next(self, way, address, register):
            if not self.left:
                raise OSError(19)
            self.left -= 1
            return super()._next(way, address, register)

    for name, recording in recordings():
        part, _ = config.PARTS[recording["sensor"]]
        for step in recording["steps"]:
            for good in range(len(step["bus"])):
                bus = Failing(part.address)
                driver = part(bus, recording["gain"], recording["integration_ms"])
                bus.expected, bus.left = list(step["bus"]), good
                try:
                    driver.start() if step["do"] == "start" else driver.read()
                except OSError:
                    continue
                raise AssertionError(f"{name}: a value was made of a transfer that failed")
