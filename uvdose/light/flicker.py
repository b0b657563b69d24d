"""What readings at a given rate see of a lamp that flickers with the mains: 100 or 120 times a second.

A sensor that reads momentary values at a steady rate folds the ripple down to a slow beat, or to a standstill: then
each reading falls on the same height of the ripple, and the dose is off by up to its depth, however long it is. Reading
over whole periods of the ripple, or faster than twice its rate, does away with that.
"""

from __future__ import annotations

import math

import msgspec

RIPPLES_HZ = (100.0, 120.0)
# So far the frequency of public mains strays as a rule: 0.2 of 50 Hz (common practice, no source).
MAINS_WANDER = 0.004
BEATS = 2.0


class Seen(msgspec.Struct, frozen=True):
    """apparent_hz: the rate at which the readings seem to go up and down, 0 where they stand still. share: how much
    of the ripple's depth they show, 0 to 1, after the time over which each is taken."""

    apparent_hz: float
    share: float


def seen(ripple_hz: float, sample_hz: float, over_s: float = 0.0) -> Seen:
    """What evenly spaced readings see of a sine ripple. over_s: the time over which each reading is averaged.

    Sources: folding about half the sampling rate (sampling theorem), and |sin x / x| for a mean over a window.
    Raises `ValueError` for a rate that is not above 0.
    """
    _check(ripple_hz, sample_hz, over_s)
    nearest = round(ripple_hz / sample_hz)
    return Seen(abs(ripple_hz - nearest * sample_hz), _window(ripple_hz, over_s))


def _window(ripple_hz: float, over_s: float) -> float:
    x = math.pi * ripple_hz * over_s
    return 1.0 if x == 0 else abs(math.sin(x) / x)


def _check(ripple_hz: float, sample_hz: float, over_s: float) -> None:
    if not (ripple_hz > 0 and sample_hz > 0 and over_s >= 0):
        raise ValueError("flicker: give rates above 0, in Hz, and a time from 0 on, in seconds")


class Cost(msgspec.Struct, frozen=True):
    """What a ripple may cost a print. ripple_hz: of the light. slowest_hz, fastest_hz: between these its beat in the
    readings lies, as mains and clock wander. shown: the readings would show the beat: it goes round twice within them
    at least. error: by how much the print's dose may be off, relative: of the ripple that the readings show, where they
    show it; else of one of depth 1, to be multiplied by the lamp's own depth."""

    ripple_hz: float
    slowest_hz: float
    fastest_hz: float
    shown: bool
    error: float


def cost(
    ripple_hz: float, sample_hz: float, sample_u: float, over_s: float, strays: float, read_s: float, print_s: float
) -> Cost:
    """What it may cost, by samples at this rate, each the mean over over_s.

    sample_u: how far the rate may be off, relative. strays: standard deviation of the readings over read_s, relative to
    their mean: a sine of this much is sqrt(2) of it high, and no ripple that shows is higher. print_s: in the light.
    """
    beat, wander = seen(ripple_hz, sample_hz).apparent_hz, MAINS_WANDER * ripple_hz + sample_u * ripple_hz
    slowest, fastest = max(0.0, beat - wander), min(sample_hz / 2, beat + wander)
    shown = slowest * read_s >= BEATS
    count = max(1, round(print_s * sample_hz))
    if shown:
        height = min(1.0, math.sqrt(2) * strays)
        return Cost(ripple_hz, slowest, fastest, True, height * _at_most(slowest, sample_hz, count))
    return Cost(ripple_hz, slowest, fastest, False, _window(ripple_hz, over_s) * _at_most(slowest, sample_hz, count))


def _at_most(beat_hz: float, sample_hz: float, count: int) -> float:
    """The mean of so many phases of a beat, at the worst of them, for this and every quicker beat."""
    return 1.0 if beat_hz == 0 else min(1.0, 1 / (count * math.sin(math.pi * min(0.5, beat_hz / sample_hz))))
