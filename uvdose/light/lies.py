"""Where a print seems to lie: under open sky, out of the sun's beam, behind glass. A guess, and none under clouds.

Out of the beam the scattered light alone is left: from a third of a clear sky's under a high sun to two thirds where
the sun stands 20 degrees high, less where walls hide sky. A cloud takes as much; but clouds move, and light under an
open clear sky keeps to its course. So only steady light is told, by means of whole minutes over the clear sky's: its
strays from their mean must lie below 0.05 % for each minute that is looked at, over five, ten or fifteen of them.

Bounds by UVA measured at Payerne in June 2016 (BSRN), under open sky, sun above 20 degrees: of all starts 0.5 % were
taken for shade, 0.04 % for glass. With the beam taken away from the same light half of the starts in clear sky were
told as shade (tests/light/test_lies.py). Needs no numpy: the daemon asks it.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Sequence
from typing import Literal

import msgspec

SPANS_MIN = (5, 10, 15)
STEADY_PER_MIN = 0.0005
# Above this share of scattered light (the sun lower than some 20 degrees) shade and a thin haze look alike.
MOST_SCATTERED = 0.7
# Below this share of a clear sky a sensor is covered or indoors: one minute in a thousand of that June had 0.036.
COVERED = 0.035
MARGIN, APART = 1.1, 1.15  # over the scattered light: shade up to here, something else from here on
# Window glass passes 75 to 85 % of UVA (common practice, no source); what lies above is open sky.
GLASS = (0.6, 0.88)
MOST_OPEN = 1.12


class ClearLight(msgspec.Struct, frozen=True):
    """What a sensor says of a clear sky. utc_s: Unix seconds, rising. open: under all of it, in W/m² or in the sensor's
    own unit; scattered: the share of it that is left in shade, 0 to 1."""

    utc_s: tuple[float, ...]
    open: tuple[float, ...]
    scattered: tuple[float, ...]

    def at(self, utc_s: float) -> tuple[float, float] | None:
        """Both at a moment; None where it is not known, or dark."""
        place = bisect_right(self.utc_s, utc_s) - 1
        if not 0 <= place < len(self.utc_s) - 1:
            return None
        part = (utc_s - self.utc_s[place]) / (self.utc_s[place + 1] - self.utc_s[place])
        here, scattered = (row[place] + part * (row[place + 1] - row[place]) for row in (self.open, self.scattered))
        return (here, scattered) if here > 0 else None


class Lies(msgspec.Struct, frozen=True):
    """light_in: one of `LIGHTS`; share: of a clear sky's light, 0 to 1 and a little more."""

    light_in: Literal["open", "shade", "window"]
    share: float


def guess(minutes: Sequence[float | None], utc_s: float, clear: ClearLight) -> Lies | None:
    """Where the sensor seems to lie; None where nothing can be told.

    minutes: means of the last ones, the newest first and ending at utc_s (Unix seconds), in the unit of `clear`.
    """
    now = clear.at(utc_s)
    if now is None or now[1] > MOST_SCATTERED:
        return None
    shares: list[float] = []
    for place, mean in enumerate(minutes[: SPANS_MIN[-1]]):
        then = clear.at(utc_s - 60.0 * (place + 0.5))
        if mean is None or then is None:
            break
        shares.append(mean / then[0])
    for span in SPANS_MIN:
        found = _of(shares[:span], now[1]) if len(shares) >= span else None
        if found is not None:
            return found
    return None


def _of(shares: Sequence[float], scattered: float) -> Lies | None:
    mean = math.fsum(shares) / len(shares)
    stray = math.sqrt(math.fsum((share - mean) ** 2 for share in shares) / len(shares))
    if mean <= COVERED or stray >= STEADY_PER_MIN * len(shares) * mean:
        return None
    if mean < scattered * MARGIN:
        return Lies("shade", mean)
    if GLASS[0] < mean < GLASS[1] and mean > scattered * APART:
        return Lies("window", mean)
    return Lies("open", mean) if GLASS[1] <= mean <= MOST_OPEN else None
