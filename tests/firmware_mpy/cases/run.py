"""Runs every case in MicroPython: `run.py VECTORS FUZZ`; a JSON line for each, its name and "" or what went wrong."""

import json
import sys

import common
import of_calls
import of_recordings
import of_sensors
import of_the_network
import of_the_register
import of_the_wire

MODULES = (of_calls, of_recordings, of_sensors, of_the_network, of_the_register, of_the_wire)


def run_all():
    for module in MODULES:
        for name in sorted(k for k in dir(module) if k.startswith(("case_", "board_case_"))):
            try:
                getattr(module, name)()
                wrong = ""
            except Exception as err:
                sys.print_exception(err, sys.stderr)
                wrong = repr(err) or "wrong"
            print(json.dumps([name, wrong]))


if __name__ == "__main__":
    common.HOW.update(vectors=sys.argv[1], fuzz=int(sys.argv[2]))
    run_all()
