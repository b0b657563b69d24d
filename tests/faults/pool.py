"""How many cases run at once, and with which draws."""

from __future__ import annotations

import os

AT_ONCE = int(os.environ.get("UVDOSE_AT_ONCE", "7"))
SEEDS = range(1, 1 + int(os.environ.get("UVDOSE_SEEDS", "1")))
