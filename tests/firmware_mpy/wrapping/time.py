"""A board's tick count of 30 bits, that wraps `TICKS_LEFT` ms after the start: from `wrap` on, for whoever asks `time`.

asyncio was loaded before and keeps the true ticks: its C half compares them by the period of this build, 62 bits, which
no stand-in reaches. On a board both have the same period.
"""

import os

import utime
from utime import *  # noqa: F403

_MASK = (1 << 30) - 1


def wrap():
    """Called once the program's own imports are done, before it counts."""
    global ticks_ms, ticks_add, ticks_diff
    shift = (1 << 30) - int(os.getenv("TICKS_LEFT")) - utime.ticks_ms()

    def ticks_ms():
        return utime.ticks_ms() + shift & _MASK

    def ticks_add(ticks, delta):
        return ticks + delta & _MASK

    def ticks_diff(a, b):
        return (a - b + (1 << 29) & _MASK) - (1 << 29)
