"""The settings read anew while the daemon runs: what a sensor's response says is taken at once, all else at the next
start. Runs on the daemon's loop.
"""

from __future__ import annotations

from concurrent.futures import Future

import msgspec

from ..config import Home, SensorSettings, Settings, load_settings
from ..core import Core
from ..dose.response import identity_of, response_of
from ..exposure.outcome import Outcome
from ..messages import SettingsTaken
from ..model import Fact, Refusal

AT_ONCE = ("zero", "zero_u", "scale", "repeat_u", "full_scale")


class Rereader:
    """Holds the settings that are in force. in_force: as they lie in the file when the daemon begins."""

    def __init__(self, core: Core, home: Home, in_force: Settings) -> None:
        self._core = core
        self._home = home
        self._in_force = in_force

    def reread(self) -> tuple[SettingsTaken, Future[None]]:
        """Take what can be taken at once. Raises `Refusal` for settings that no daemon would start with."""
        try:
            fresh = load_settings(self._home)
        except Refusal as err:
            raise Refusal(f"{err.line}; the daemon goes on with the settings that it has") from None
        in_file = {sensor.name: sensor for sensor in fresh.sensor}
        taken: list[str] = []
        later = [key for key in ("bench", "mqtt", "web", "call") if getattr(fresh, key) != getattr(self._in_force, key)]
        later += [f"sensor {name} (new)" for name in in_file if name not in self._core.bench.channels]
        sensors = []
        for held in self._in_force.sensor:
            wanted = in_file.get(held.name)
            if wanted is None:
                later.append(f"sensor {held.name} (gone)")
            else:
                changed = _other(held, wanted)
                # A unit that waits for the next start would make another sense of the figures that go with it.
                at_once = [key for key in AT_ONCE if key in changed and held.unit == wanted.unit]
                later += [f"sensor {held.name}.{key}" for key in changed if key not in at_once]
                taken += self._take(held, wanted, at_once)
                held = msgspec.structs.replace(held, **{key: getattr(wanted, key) for key in at_once})
            sensors.append(held)
        self._in_force = msgspec.structs.replace(self._in_force, sensor=sensors)
        return SettingsTaken(taken, later), self._core.flush_with([])

    def _take(self, held: SensorSettings, wanted: SensorSettings, keys: list[str]) -> list[str]:
        """A sensor's response is another one from its next reading on."""
        if not keys:
            return []
        core = self._core
        words = ", ".join(f"{key} was {_told(getattr(held, key))}, is {_told(getattr(wanted, key))}" for key in keys)
        fresh = msgspec.structs.replace(held, **{key: getattr(wanted, key) for key in AT_ONCE})
        channel = core.bench.channels[held.name]
        identity = msgspec.structs.replace(identity_of(fresh), node=channel.identity.node)
        channel.respond(identity, response_of(fresh))
        core.flush_with(core.recorder.sensor(identity))
        out = Outcome()
        out.facts.append(Fact(core.clock.dose_us(), "settings", None, held.name, {"what": words}))
        core.settle(out)
        return [f"{held.name}: {words}"]


def _other(a: SensorSettings, b: SensorSettings) -> list[str]:
    return [key for key in a.__struct_fields__ if getattr(a, key) != getattr(b, key)]


def _told(value: float | None) -> str:
    return "unknown" if value is None else f"{value:.6g}"
