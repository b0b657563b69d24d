"""How alike figures are: their mean and spread, and which of them stand apart."""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence

FEWEST = 5
APART = 3.5  # modified z-scores above it: NIST/SEMATECH e-Handbook 1.3.5.17, after Iglewicz and Hoaglin
_SD_PER_MAD = 1 / 0.6745


def mean_and_spread(values: Sequence[float]) -> tuple[float | None, float | None]:
    """Mean, and standard deviation of a sample (from two values on); None where there are too few."""
    if not values:
        return None, None
    mean = math.fsum(values) / len(values)
    if len(values) < 2:
        return mean, None
    return mean, math.sqrt(math.fsum((v - mean) ** 2 for v in values) / (len(values) - 1))


def apart(values: Sequence[float], least: float = 0.0) -> list[int]:
    """Places of the values that stand apart from the others, by the median and the median deviation from it.

    least: no value that lies nearer to the median than this stands apart, however alike the others are. From `FEWEST`
    values on; empty with fewer.
    """
    if len(values) < FEWEST:
        return []
    middle = statistics.median(values)
    deviation = statistics.median(abs(v - middle) for v in values)
    far = max(APART * _SD_PER_MAD * deviation, least)
    return [i for i, v in enumerate(values) if abs(v - middle) > far]
