"""`uvdose` on a host whose clocks a test moves: shifted.py arguments… The file that UVDOSE_SHIFT names says how.

It holds a JSON object: wall_us is added to the wall clock, boot_us to the time since boot, boot_id replaces the boot's
id, tz is the time zone at start. It is read at every look at a clock, so that the clock can be set while it runs.
"""

from __future__ import annotations

import json
import os
import sys
import time
from pathlib import Path
from typing import Any

from uvdose import clock
from uvdose.cli import main

place = Path(os.environ["UVDOSE_SHIFT"])
wall_us, boot_us, boot_id = clock.host_wall_us, clock.host_boot_us, clock.host_boot_id


def shift() -> dict[str, Any]:
    found: dict[str, Any] = json.loads(place.read_text())
    return found


clock.host_wall_us = lambda: wall_us() + shift().get("wall_us", 0)
clock.host_boot_us = lambda: boot_us() + shift().get("boot_us", 0)
clock.host_boot_id = lambda: shift().get("boot_id") or boot_id()
if "tz" in shift():
    os.environ["TZ"] = shift()["tz"]
    time.tzset()
sys.exit(main())
