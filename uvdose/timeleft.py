"""How long each print will still take, for screens: asked of the forecast every few seconds at most.

The sun's path wants numpy: a process of its own reckons it once a day, and only for a print in the light of a bench
whose place is known. Until it is there, and where it fails, the forecast does without a place.
"""

from __future__ import annotations

import asyncio
import contextlib
import math
import threading

import msgspec

from .apart import done_apart
from .dose.integrator import Track
from .exposure.channel import Channel
from .exposure.coming import eta_s
from .exposure.exposure import Exposure
from .light.forecast import SunPath, forecast
from .model import Left
from .settings_bench import BenchSettings
from .units import US_PER_S

EACH_S = 3.0  # real time; between, what was told runs down
LIMIT_S = 60.0
AGAIN_S = 60.0  # so long after a path that failed, or that was made in the dark, another is made
HOUR_S = 3600.0
_MOST_KEPT = 64


class TimeLeft:
    """Forecasts for the exposures of one bench. Runs on the daemon's loop."""

    def __init__(self) -> None:
        self._bench = BenchSettings()
        self._path: SunPath | None = None
        self._asked_s = -math.inf  # when a path was asked for last, real time
        self._asking: threading.Thread | None = None
        self._told: dict[int, tuple[object, float, int, Left]] = {}

    def stands(self, bench: BenchSettings) -> None:
        """Where the bench is."""
        self._bench = bench

    def of(self, exposure: Exposure, channel: Channel, now_us: int, utc_s: float, real_s: float) -> Left | None:
        """What is left of a counting exposure in the sun; None where the light of now is all there is to tell.

        utc_s: what the wall clock labels now_us with. real_s: only goes forward, of the host.
        """
        if channel.identity.light != "sun" or eta_s(exposure, channel.track, now_us) is None:
            return None
        about = (len(exposure.acts), exposure.plan.aim_base, exposure.account.windows[-1:], self._path)
        known = self._told.get(exposure.id)
        if known is not None and known[0] == about and 0 <= real_s - known[1] < EACH_S and now_us >= known[2]:
            return _later(known[3], (now_us - known[2]) / US_PER_S)
        left = self._forecast(exposure, channel.track, now_us, self._sun(utc_s, real_s), utc_s)
        if len(self._told) >= _MOST_KEPT:
            self._told.clear()
        self._told[exposure.id] = (about, real_s, now_us, left)
        return left

    @staticmethod
    def _forecast(exposure: Exposure, track: Track, now_us: int, path: SunPath | None, utc_s: float) -> Left:
        response = exposure.plan.response
        minutes = [
            math.nan if mean is None else response.factor * max(0.0, mean - response.zero)
            for mean in track.history.minutes()
        ]
        return forecast(minutes, exposure.plan.aim_base - exposure.light(track, now_us).dose, path, utc_s)

    def _sun(self, utc_s: float, real_s: float) -> SunPath | None:
        """The path where it holds this moment, or its light has just gone; else another one is asked for."""
        if self._bench.latitude is None:
            return None
        path = self._path
        begun = path is not None and path.utc_s[0] + HOUR_S <= utc_s
        if path is not None and begun and utc_s < path.utc_s[-1]:
            return path
        if real_s - self._asked_s >= AGAIN_S or (path is not None and not begun):
            self._ask(utc_s, real_s)
        return path if path is not None and begun and utc_s < path.utc_s[-1] + HOUR_S else None

    def _ask(self, utc_s: float, real_s: float) -> None:
        if self._asking is None or not self._asking.is_alive():
            self._asked_s = real_s
            # Nothing waits for it, when the daemon ends either.
            self._asking = threading.Thread(target=self._reckon, args=(utc_s,), name="sun path", daemon=True)
            self._asking.start()

    def _reckon(self, utc_s: float) -> None:
        task = msgspec.json.encode({"bench": self._bench, "utc_s": utc_s})
        with contextlib.suppress(OSError, TimeoutError, msgspec.MsgspecError):
            out = asyncio.run(done_apart("sunward", task, LIMIT_S))
            self._path = msgspec.json.decode(out, type=SunPath)


def _later(told: Left, seconds: float) -> Left:
    def less(value: float | None) -> float | None:
        return None if value is None else max(0.0, value - seconds)

    return Left(less(told.median_s), less(told.low_s), less(told.high_s), told.not_today)
