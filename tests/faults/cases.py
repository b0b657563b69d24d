"""The fault matrix: every case, in one table."""

from __future__ import annotations

from faults import daemon_cases, mqtt_cases, sensor_cases, serial_cases

CASES = [*serial_cases.CASES, *mqtt_cases.CASES, *daemon_cases.CASES, *sensor_cases.CASES]
