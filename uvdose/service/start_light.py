"""The light at a start: what the print aims at for it, what is told of it, and what a page is shown before.

It tells the person, over all the ways an event goes, what a press of a node's button could not say; it decides only
what target and person have asked for. Runs on the daemon's loop.
"""

from __future__ import annotations

import math

import msgspec

from ..asked import StartRequest
from ..core import Core
from ..exposure.channel import Channel
from ..exposure.target import SUN, Target, other_light_unsaid
from ..listed import AimDoc
from ..messages import SeemsDoc
from ..model import Refusal
from ..same_light import SameLight
from ..units import US_PER_S
from ..whereabouts import Whereabouts


class Lit(msgspec.Struct, frozen=True):
    """aim: what the dose is multiplied by. light: how the light of now differs from that of the proof. seems: where the
    frame seems to lie otherwise than is said."""

    aim: float = 1.0
    light: str = ""
    seems: SeemsDoc | None = None


class StartLight:
    """whereabouts: None at a bench whose place is not known."""

    def __init__(self, core: Core, same: SameLight, whereabouts: Whereabouts | None) -> None:
        self._core = core
        self._same = same
        self._whereabouts = whereabouts

    def at(
        self, request: StartRequest, target: Target, channel: Channel, begin_us: int, now_us: int, light_in: str
    ) -> Lit:
        """Of a start at begin_us, dose time. light_in: as it is said, else of the target. Raises `Refusal`."""
        if request.light_in and channel.identity.light != SUN:
            raise Refusal(f"--light-in is of daylight, and sensor {channel.name} stands under"
                          f" {channel.identity.light}: leave it out", 2)  # fmt: skip
        seems = None
        if self._whereabouts is not None and begin_us >= now_us and channel.track.last is not None:
            by = "you say" if request.light_in else f"{target.name} was proved in"
            seems = self._whereabouts.seems(channel, self._label_s(channel.track.last.t_us), light_in, by)
        if request.trial is not None:
            return Lit(seems=seems)
        takes_s = channel.takes_s(target.dose_base)
        aim, light = self._same.aim(target, channel.name, self._label_s(begin_us), takes_s, request.correct, light_in)
        if not light and (odd := other_light_unsaid(target, light_in)):
            light = (
                f"{target.name} was {odd}: sensor and paper may not agree there as they did. If it was proved there,"
                f" too, say so: `uvdose target set {target.name} --dose {target.dose:g} --light-in {light_in}`"
            )
        return Lit(aim, light, seems)

    def tell(self, exposure: int, sensor: str, lit: Lit) -> None:
        """As events: whoever pressed a button was given no answer."""
        for line in (lit.light, lit.seems.words if lit.seems is not None else ""):
            if line:
                self._core.tell_fact("light", exposure, sensor, {"line": line})

    def aim(self, target: Target, sensor: str) -> AimDoc:
        """What a print of it, begun now, would aim at. Raises `Refusal` for a sensor that is not there."""
        channel = self._core.bench.channels.get(sensor)
        if channel is None:
            raise Refusal(f"no sensor {sensor!r}: one of {', '.join(self._core.bench.channels)}", 2)
        takes_s = channel.takes_s(target.dose_base)
        found = self._same.drift_of_print(target, sensor, self._label_s(self._core.clock.dose_us()), takes_s)
        doc = AimDoc(target.name, target.version, sensor, target.correct)
        if isinstance(found, str) or not (found.worth_telling or target.correct):
            return doc
        stops, low, high = (round(math.log2(value), 3) for value in (found.aim, found.low, found.high))
        return msgspec.structs.replace(doc, stops=stops, low_stops=low, high_stops=high, way=found.way)

    def _label_s(self, t_us: int) -> float:
        return self._core.label(t_us) / US_PER_S
