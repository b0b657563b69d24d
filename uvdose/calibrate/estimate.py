"""A figure with its 95 % interval."""

from __future__ import annotations

import msgspec


class Estimate(msgspec.Struct, frozen=True):
    """best, and low..high that holds the truth with 95 %; all in the unit of what is estimated."""

    low: float
    best: float
    high: float
