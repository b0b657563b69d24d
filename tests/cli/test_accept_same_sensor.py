"""A calibration print makes a target for the sensor setting that it was counted with, and for no other."""

from __future__ import annotations

import time

from .conftest import SIMULATED, Daemon


def test_a_sheet_counted_with_another_setting_makes_no_target(daemon: Daemon) -> None:
    assert daemon.call("tablet", "plan", "--dose", 400, "--tablet", "21x0.15", "--json").code == 0
    assert daemon.call("tablet", "run", 1, "--no-wait", "--count-in", 0).code == 0
    time.sleep(0.5)
    assert daemon.call("finish", 1).code == 0
    daemon.stop()
    read = daemon.call("tablet", "read", 1, "--full", 4, "--tone", 14)
    assert read.code == 0, read
    daemon.write(SIMULATED.replace("0.0125", "0.02"))
    daemon.run("tablet", "accept", 1, "--name", "blue").refused(4, "tablet 1", "scale was 0.0125, is 0.02", "put that")
    daemon.write(SIMULATED.replace('"sill"', '"roof"'))
    daemon.call("tablet", "accept", 1, "--name", "blue").refused(4, "sensor sill", "no longer")
    daemon.write(SIMULATED)
    assert daemon.call("tablet", "accept", 1, "--name", "blue").code == 0
