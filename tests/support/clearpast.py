"""A bench on the equator where it is about noon, whose journal knows clear days, and whose sensor reads a share of one.

The light is invented: past days are the model's clear sky, the sensor's now is steady.
"""

from __future__ import annotations

import time
from pathlib import Path

import msgspec
import numpy as np

from uvdose.clock import Epoch
from uvdose.config import load_settings
from uvdose.dose.response import identity_of, response_of
from uvdose.journal.pack import pack
from uvdose.journal.recorder import Recorder
from uvdose.journal.schema import open_writing
from uvdose.light.outlook import clear_light
from uvdose.model import MomentReading
from uvdose.placed import band_of, spot_of

from .bench import RunningBench

PACE = 60.0
LEVEL = 0.8  # of the model's clear sky: what this sensor reads
SHARE = 0.3  # out of the beam: a third of a clear sky is scattered under a high sun (check values: .35 at air mass 1)


def settings_at_noon(node: Path) -> str:
    longitude = (12.0 - time.time() % 86400 / 3600) * 15.0
    return (
        f'[bench]\nname = "bindery"\nlatitude = 0.0\nlongitude = {(longitude + 180) % 360 - 180:.2f}\n[[sensor]]\n'
        f'name = "sill"\nlink = "serial"\nport = "{node}"\nscale = 0.01\nfull_scale = 1000000\npart = "GUVA-S12SD"\n'
    )


def past_days(bench: RunningBench, days: int = 2) -> float:
    """Writes clear days into the journal; returns what the sensor would say of the clear sky of now, in counts."""
    told = load_settings(bench.home)
    sensor, spot, now_s = told.sensor[0], spot_of(told.bench), time.time()
    times = now_s - 3600.0 - days * 86400.0 + 60.0 * np.arange(days * 1440)
    clear = LEVEL * clear_light(spot, np.append(times, now_s), band_of(sensor)) / response_of(sensor).factor
    db = open_writing(bench.home.journal_file)
    t_us = [60_000_000 * k for k in range(len(times))]
    rows = [(at, MomentReading(value)) for at, value in zip(t_us, clear[:-1].tolist(), strict=True)]
    wall_us = int(times[0] * 1e6)
    statements = Recorder(db, lambda at: wall_us + at).sensor(identity_of(sensor))
    for number, first in enumerate(range(0, len(rows), 60), 1):
        part = rows[first : first + 60]
        values = (number, 1, 2, part[0][0], part[-1][0], wall_us + part[0][0], len(part), pack(part))
        statements.append(("INSERT INTO chunk VALUES (?, ?, ?, ?, ?, ?, ?, ?)", values))
    then = Epoch("another boot", 1.0, 0, 0, wall_us)
    statements.append(("INSERT INTO epoch (epoch) VALUES (?)", (msgspec.json.encode(then).decode(),)))
    db.execute("BEGIN")
    for sql, bound in statements:
        db.execute(sql, bound)
    db.execute("COMMIT")
    db.close()
    return float(clear[-1])
