"""Whether the sun's light of a moment still means the same to sensor and paper as when a target was proved.

A sensor and a paper weigh the wavelengths differently: a low sun has lost more of the short ones. From the place of
the bench, the sensor's part and the light in which the target was proved follows what its dose must be multiplied by
for the same effect. It is told, and moves the aim of a print only where a person wants it; it changes no dose.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import msgspec

from .config import Settings
from .exposure.setting import MOST_AIR_MASS
from .exposure.target import SUN, Target
from .model import ProvedLight, Refusal
from .placed import EMULSION, lying, plane_of, sensor_band_of

if TYPE_CHECKING:
    from .light.bands import Band

TELL = 0.03  # what lies nearer to 1 is not worth a word: sheets of one coat differ as much
AS_HIGH = 0.05  # so near to each other two air masses are, as a share, whose difference explains nothing
LONGEST_S = 4 * 3600.0  # in light that is too weak to print in, no middle of an exposure can be told
NO_PLACE = "the settings do not say where the bench stands: latitude and longitude under [bench]"
SUN_DOWN = "the sun is down, or so low that nothing is known of its light"
SAY_IT = "`uvdose target correct {} on --proved-at TIME`"


class Drift(msgspec.Struct, frozen=True):
    """How the sensor reads at a moment against the paper, relative to where the target was proved.

    aim: above 1 it reads too much, and the target's dose must be multiplied by this for the same effect; low, high
    hold it in 95 %. air_mass: at that moment; proved: that of the proof. otherwise: how the frame lies in another way,
    empty where it does not. tilted: the frame looks to one side, so that it matters where the sun stands, too.
    """

    aim: float
    low: float
    high: float
    air_mass: float
    proved: float
    otherwise: str
    tilted: bool = False

    @property
    def stops(self) -> float:
        """log2 of the aim."""
        return math.log2(self.aim)

    @property
    def way(self) -> str:
        """Why, in one word: the sun stands lower, or higher, or elsewhere, or the frame lies otherwise."""
        if self.tilted and not self.otherwise and abs(self.air_mass / self.proved - 1) < AS_HIGH:
            return "elsewhere"
        return "otherwise" if self.otherwise else "lower" if self.air_mass > self.proved else "higher"

    @property
    def worth_telling(self) -> bool:
        """Whether it is more than a print shows."""
        return abs(self.aim - 1) >= TELL

    def words(self, name: str) -> str:
        """What it is, without what may be done about it."""
        if self.otherwise:
            why = f"{self.otherwise} when {name} was proved"
        else:
            why = f"the sun stands {self.way} than when {name} was proved"
        much = "much" if self.aim > 1 else "little"
        low, high = (f"{round(100 * (end - 1)):+d}" for end in (self.low, self.high))
        return (
            f"{why} (air mass {self.air_mass:.1f}, then {self.proved:.1f}): under a clear sky this"
            f" sensor reads {100 * abs(self.aim - 1):.0f} % too {much} against the paper ({low} to {high} %);"
            f" {self.stops:+.2f} stop"
        )


class SameLight:
    """Asked with a target, a sensor's name and a moment; knows the place and the parts from the settings."""

    def __init__(self, settings: Settings) -> None:
        self._bench = settings.bench
        self._sensors = {sensor.name: sensor for sensor in settings.sensor}
        if self._bench.latitude is not None and any(s.part for s in self._sensors.values()):
            # Loaded now: at the first start of a print it would hold up the calls of others.
            from .light import mismatch  # noqa: F401

    @property
    def places(self) -> bool:
        """Whether it is known where the bench stands."""
        return self._bench.latitude is not None

    def proof(self, utc_s: float, utc: str) -> ProvedLight | str:
        """The sun's light at Unix seconds, as a target remembers it; a reason where it is not known."""
        if self._bench.latitude is None:
            return NO_PLACE
        sun = self._sun(utc_s)
        return SUN_DOWN if sun is None else lying(self._bench, sun[0], sun[1], utc)

    def proof_at(self, air_mass: float) -> ProvedLight:
        """The same where only the air mass is known."""
        return lying(self._bench, air_mass, None)

    def drift(self, target: Target, sensor: str, utc_s: float, light_in: str = "") -> Drift | str:
        """How the sensor reads at Unix seconds against the paper, in this of the `LIGHTS`, as at the proof where it is
        empty; a reason where that cannot be told."""
        held, proved = self._sensors.get(sensor), target.proved_light
        if held is None or held.light != SUN:
            return "only the sun's light is known so well"
        if self._bench.latitude is None:
            return NO_PLACE
        if held.part is None:
            return f"the settings do not say which part sensor {sensor} is: part under its [[sensor]]"
        lights = (target.light_in, light_in or target.light_in)
        if "window" in lights:
            return "what the glass of a window leaves of the light is not known"
        if proved is None:
            return f"nobody said in which light {target.name} was proved: {SAY_IT.format(target.name)}"
        sun, band = self._sun(utc_s), sensor_band_of(held)
        if sun is None or band is None:
            return SUN_DOWN
        now = lying(self._bench, sun[0], sun[1])
        if now.azimuth_deg is not None and proved.sun_azimuth_deg is None:
            return f"for a tilted frame it must be known when {target.name} was proved, not the air mass alone"
        return _between(band, proved, now, lights)

    def drift_of_print(
        self, target: Target, sensor: str, begin_s: float, takes_s: float | None, light_in: str = ""
    ) -> Drift | str:
        """The same in the middle of a print that is begun at Unix seconds; takes_s: None in the dark."""
        return self.drift(target, sensor, begin_s + min(takes_s or 0.0, LONGEST_S) / 2, light_in)

    def aim(
        self, target: Target, sensor: str, begin_s: float, takes_s: float | None, wanted: bool | None,
        light_in: str = "",
    ) -> tuple[float, str]:
        """What a print's dose is to be multiplied by, and what is to be said of it at its start.

        begin_s: Unix seconds; takes_s: how long it will take in the light of now, None in the dark. wanted: by the
        person, for this print; None: as the target says. Raises `Refusal` where a correction is asked for that
        cannot be reckoned.
        """
        correct = target.correct if wanted is None else wanted
        found = self.drift_of_print(target, sensor, begin_s, takes_s, light_in)
        if isinstance(found, str):
            if wanted:
                raise Refusal(f"--correct cannot be reckoned: {found}; leave it out to print without")
            return 1.0, f"not corrected: {found}" if correct else ""
        words = found.words(target.name)
        if correct:
            return found.aim, f"{words}: it is corrected"
        if not found.worth_telling:
            return 1.0, ""
        never = "" if wanted is None else ", not corrected"
        return 1.0, f"{words}{never}: `--correct` aims for it, `uvdose target correct {target.name} on` always"

    def _sun(self, utc_s: float) -> tuple[float, float] | None:
        """Air mass and azimuth; None below the horizon and where the air mass is beyond what any model holds."""
        from .light.airmass import air_mass
        from .light.sun import position

        bench = self._bench
        seen = position(utc_s, bench.latitude or 0.0, bench.longitude or 0.0, bench.height_m)
        mass = float(air_mass(seen.apparent_zenith_deg))
        return (mass, float(seen.azimuth_deg)) if mass <= MOST_AIR_MASS else None


def _between(sensor: Band, proved: ProvedLight, now: ProvedLight, lights: tuple[str, str]) -> Drift:
    from .light.bands import emulsion_band
    from .light.mismatch import Light, between

    then_plane, now_plane = plane_of(proved, lights[0]), plane_of(now, lights[1])
    found = between(
        sensor, emulsion_band(EMULSION), Light(then_plane, proved.air_mass, proved.sun_azimuth_deg),
        Light(now_plane, now.air_mass, now.sun_azimuth_deg),
    )
    # A dose that the sensor tells, times the factor, is what it would have told at the proof: the aim is the inverse.
    otherwise = "" if then_plane == now_plane else "the frame lies otherwise than"
    if then_plane.shade != now_plane.shade:
        otherwise = f"the frame lies in {'shade' if now_plane.shade else 'the sun'}, and did not"
    tilted = now_plane.tilt_deg > 0 and now_plane.azimuth_deg is not None and not now_plane.shade
    return Drift(1 / found.factor, 1 / found.high, 1 / found.low, now.air_mass, proved.air_mass, otherwise, tilted)
