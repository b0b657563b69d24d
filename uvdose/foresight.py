"""How long each print will still take, for screens: asked of the forecast every few seconds at most.

numpy is loaded beside the daemon's work and not in it: until then the light of now tells.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from .bench_settings import BenchSettings
from .dose.integrator import Track
from .exposure.channel import Channel
from .exposure.coming import eta_s
from .exposure.exposure import Exposure
from .model import Left
from .units import US_PER_S

if TYPE_CHECKING:
    from .light.path import Place, SunPath

NO_PLACE = BenchSettings()
EACH_S = 3.0  # real time; between, what was told runs down
_MOST_KEPT = 64


class Foresight:
    """Forecasts for the exposures of one bench."""

    def __init__(self, settings: BenchSettings = NO_PLACE) -> None:
        self._settings = settings
        self._ready = False
        self._place: Place | None = None
        self._path: SunPath | None = None
        self._path_until = self._path_from = 0.0
        self._told: dict[int, tuple[object, float, int, Left]] = {}

    def warm(self) -> None:
        """Load what a forecast needs, from any thread; before, there are none."""
        from .light.forecast import fitted

        self._place = _place(self._settings)
        fitted("new" if self._place is None else "placed")
        self._ready = True

    def left(self, exposure: Exposure, channel: Channel, now_us: int, utc_s: float, real_s: float) -> Left | None:
        """What is left of a counting exposure in the sun; None where the light of now is all there is to tell.

        utc_s: what the wall clock labels now_us with. real_s: only goes forward, of the host.
        """
        track = channel.track
        if not self._ready or channel.identity.light != "sun" or eta_s(exposure, track, now_us) is None:
            return None
        about = (len(exposure.acts), exposure.plan.target.dose_base, exposure.account.windows[-1:])
        known = self._told.get(exposure.id)
        if known is not None and known[0] == about and 0 <= real_s - known[1] < EACH_S and now_us >= known[2]:
            return _later(known[3], (now_us - known[2]) / US_PER_S)
        left = self._forecast(exposure, track, now_us, utc_s)
        if len(self._told) >= _MOST_KEPT:
            self._told.clear()
        self._told[exposure.id] = (about, real_s, now_us, left)
        return left

    def _forecast(self, exposure: Exposure, track: Track, now_us: int, utc_s: float) -> Left:
        from .light.forecast import forecast

        factor, zero = exposure.plan.response.factor, exposure.plan.response.zero
        minutes = [math.nan if mean is None else factor * max(0.0, mean - zero) for mean in track.history.minutes()]
        remaining = exposure.plan.target.dose_base - exposure.light(track, now_us).dose
        return forecast(minutes, remaining, self._sun(utc_s), utc_s)

    def _sun(self, utc_s: float) -> SunPath | None:
        """The path of now; made anew when the old one is used up, or the wall clock has been set."""
        if self._place is None:
            return None
        if self._path is None or not self._path_from <= utc_s < self._path_until or self._path.clear(utc_s) <= 0.0:
            from .light.path import GOOD_FOR_S, sun_path

            self._path, self._path_from, self._path_until = sun_path(self._place, utc_s), utc_s, utc_s + GOOD_FOR_S
        return self._path


def _later(told: Left, seconds: float) -> Left:
    def less(value: float | None) -> float | None:
        return None if value is None else max(0.0, value - seconds)

    return Left(less(told.median_s), less(told.low_s), less(told.high_s), told.not_today)


def _place(settings: BenchSettings) -> Place | None:
    from .light.path import Place
    from .light.plane import HORIZONTAL, TOWARD_SUN, Plane

    if settings.latitude is None or settings.longitude is None:
        return None
    if settings.facing == "tilted" and settings.tilt_deg is not None:
        plane = Plane(settings.tilt_deg, settings.azimuth_deg)
    else:
        plane = TOWARD_SUN if settings.facing == "sun" else HORIZONTAL
    return Place(settings.latitude, settings.longitude, settings.height_m, plane)
