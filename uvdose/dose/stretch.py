"""A stretch of readings of one sensor, looked at for the sensor's own sake: pace, noise, zero. Pure.

Noise is what is left within some ten readings about a straight line, so that the light's own change is not taken for
it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

import msgspec

from ..model import Reading, RegisterReading
from ..units import US_PER_S
from .integrator import reading_value
from .timebase import WRAP_32, after_32

STEADY = 12  # readings about one straight line
LEAST = 5
BLOCKS = 10
FIRST_SHARE, KNOWN_SHARE = 0.5, 0.02  # of the span: how far from the zero of the settings it may be dark
MOVE_SHARE, MOVE_SIGMAS = 0.005, 6.0
MOST_MOVE_SHARE = 0.1  # of the span: noise and coarse steps excuse no more, since a cap that comes off looks like both

Rows = Sequence[tuple[int, Reading]]  # dose time in microseconds, reading


class Sight(msgspec.Struct, frozen=True):
    """What a stretch shows. Values in the sensor's unit, the zero not taken off.

    noise: standard deviation from reading to reading; own: of the light itself, what the noise does not explain.
    saturated: share of the time, or of the values; highest: the strongest value. step: the least change seen, 0 where
    nothing changed.
    """

    n: int
    seconds: float
    rate_hz: float
    mean: float
    last: float
    highest: float
    noise: float
    own: float
    saturated: float
    step: float


class Dark(msgspec.Struct, frozen=True):
    """A zero as it was read, in the sensor's unit.

    sd: of one reading. u: standard uncertainty of the mean. drift: from the first reading to the last, by a straight
    line. spread: between the lowest and the highest of ten means. step: the least change seen.
    """

    n: int
    seconds: float
    mean: float
    sd: float
    u: float
    drift: float
    spread: float
    step: float


def sight(rows: Rows, full_scale: float | None) -> Sight | None:
    """What a stretch shows; None for fewer than two readings."""
    if len(rows) < 2:
        return None
    values = [reading_value(reading) for _, reading in rows]
    seconds = (rows[-1][0] - rows[0][0]) / US_PER_S
    noise = steady_noise(rows)
    mean = math.fsum(values) / len(values)
    var = math.fsum((v - mean) ** 2 for v in values) / (len(values) - 1)
    return Sight(
        len(rows), seconds, (len(rows) - 1) / seconds if seconds > 0 else 0.0, mean, values[-1], max(values), noise,
        math.sqrt(max(0.0, var - noise * noise)), _saturated(rows, full_scale), _step(values),
    )


def steady_noise(rows: Rows) -> float:
    """Standard deviation of the readings about straight lines of twelve: the median of all such stretches.

    The median of s² with so many degrees of freedom lies below the variance by (1 - 2/(9 dof))³ (Wilson and Hilferty
    1931), which is made good. A cloud's edge makes some stretches rough, and does not move the median.
    """
    size = min(STEADY, len(rows))
    if size < LEAST:
        return 0.0
    found = sorted(_residual(rows[i : i + size]) for i in range(0, len(rows) - size + 1, size))
    middle = len(found) // 2
    median = found[middle] if len(found) % 2 else (found[middle - 1] + found[middle]) / 2
    dof = size - 2
    return math.sqrt(median / (1 - 2 / (9 * dof)) ** 3) if len(found) > 2 else math.sqrt(median)


def dark(rows: Rows, resolution: float) -> Dark | None:
    """The zero that a capped sensor shows; None for fewer readings than say anything.

    u combines (JCGM 100:2008) the mean's own, from single readings or from ten means if those say more (4.2.3); the
    sensor's step, as a rectangle (F.2.2.1); and a drift beyond what noise makes of it, as a rectangle (4.3.7).
    A single change is light that went or came, and no step.
    resolution: the least that the sensor's form can tell, for one that did not move at all; 0 where that is not known.
    """
    if len(rows) < LEAST:
        return None
    values = [reading_value(reading) for _, reading in rows]
    n = len(values)
    mean = math.fsum(values) / n
    sd = math.sqrt(math.fsum((v - mean) ** 2 for v in values) / (n - 1))
    changes = sum(a != b for a, b in pairwise(values))
    step = _step(values) if changes > 1 else resolution
    seconds = (rows[-1][0] - rows[0][0]) / US_PER_S
    slope, _ = _line(rows)
    drift = slope * seconds
    drift_var = 12 * _residual(rows) / n  # of the line's rise over the whole, for readings at even steps
    means = _means(values)
    around = math.fsum(means) / len(means)
    mean_var = max(sd * sd / n, math.fsum((m - around) ** 2 for m in means) / (len(means) - 1) / len(means))
    u = math.sqrt(mean_var + step * step / 12 + max(0.0, drift * drift - 4 * drift_var) / 12)
    return Dark(n, seconds, mean, sd, u, drift, max(means) - min(means), step)


def why_not_dark(found: Dark, zero: float, span: float | None, first: bool, noise: float) -> str | None:
    """Why a reading cannot be a zero, as words; None where it can. span: full scale above the zero, or the strongest
    light known; None where neither is. first: no zero was ever taken, so that it may lie anywhere but in full light.
    """
    moves = max(MOVE_SHARE * (span or 0.0), MOVE_SIGMAS * noise / math.sqrt(max(1, found.n // BLOCKS)), found.step)
    moves = moves if span is None else min(moves, MOST_MOVE_SHARE * span)
    if found.spread > moves:
        return f"it moved by {found.spread:.4g}, and in the dark no more than {moves:.4g} would be noise"
    if span is not None:
        far = max((FIRST_SHARE if first else KNOWN_SHARE) * span, MOVE_SIGMAS * found.u)
        if abs(found.mean - zero) > far:
            return f"it says {found.mean:.4g}, more than {far:.4g} away from the last zero, {zero:.4g}"
    return None


def _line(rows: Rows) -> tuple[float, float]:
    """Slope (a second) and height in the middle of a straight line by least squares."""
    t0_us = rows[0][0]
    times = [(t_us - t0_us) / US_PER_S for t_us, _ in rows]
    values = [reading_value(reading) for _, reading in rows]
    t, v = math.fsum(times) / len(times), math.fsum(values) / len(values)
    square = math.fsum((x - t) ** 2 for x in times)
    slope = math.fsum((x - t) * (y - v) for x, y in zip(times, values, strict=True)) / square if square > 0 else 0.0
    return slope, v


def _residual(rows: Rows) -> float:
    """Variance about a straight line."""
    slope, height = _line(rows)
    times = [(t_us - rows[0][0]) / US_PER_S for t_us, _ in rows]
    t = math.fsum(times) / len(times)
    left = (reading_value(r) - height - slope * (x - t) for x, (_, r) in zip(times, rows, strict=True))
    return math.fsum(e * e for e in left) / (len(rows) - 2)


def _means(values: list[float]) -> list[float]:
    count = min(BLOCKS, len(values))
    ends = [round(i * len(values) / count) for i in range(count + 1)]
    return [math.fsum(values[a:b]) / (b - a) for a, b in pairwise(ends)]


def _step(values: list[float]) -> float:
    return min((abs(b - a) for a, b in pairwise(values) if a != b), default=0.0)


def _saturated(rows: Rows, full_scale: float | None) -> float:
    """The node's own count of saturated time where it keeps one, else the share of values at full scale."""
    told_ms = whole_ms = 0
    for (_, a), (_, b) in pairwise(rows):
        if isinstance(a, RegisterReading) and isinstance(b, RegisterReading) and a.boot == b.boot:
            whole_ms += (b.uptime_ms - a.uptime_ms) % WRAP_32
            told_ms += max(0, after_32(b.sat_ms, a.sat_ms))
    by_value = sum(full_scale is not None and reading_value(r) >= full_scale for _, r in rows) / len(rows)
    return max(by_value, min(1.0, told_ms / whole_ms) if whole_ms else 0.0)
