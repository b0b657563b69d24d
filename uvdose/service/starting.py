"""How a print begins: what is asked of a start is checked, and the exposure put on the bench.

Runs on the daemon's loop.
"""

from __future__ import annotations

import msgspec

from ..asked import StartRequest
from ..core import Core
from ..dose.response import Response
from ..exposure.beginning import may_start
from ..exposure.gate import gate_for
from ..exposure.record import LightGate, Plan
from ..exposure.setting import check_light_in
from ..exposure.states import ENDED
from ..exposure.target import Target, check_fit, plan_with, told_of
from ..listed import AimDoc
from ..messages import Part, Taken
from ..model import Refusal
from ..units import US_PER_S, from_screen, irradiance_unit
from .mending import Mender
from .next_up import NextUp
from .said import Said
from .showing import Showing
from .start_light import StartLight
from .taking import check_text, taken

MAX_COUNT_IN_S = 60
DEFAULT_FRAME = "1"


class Starting:
    """The starts of one daemon."""

    def __init__(
        self, core: Core, mender: Mender, said: Said, showing: Showing, next_up: NextUp, start_light: StartLight
    ) -> None:
        self._core = core
        self._mender = mender
        self._said = said
        self._showing = showing
        self._next_up = next_up
        self._start_light = start_light

    async def start(self, request: StartRequest) -> Taken:
        """Begin an exposure, now or at the beat of a count-in."""
        core = self._core
        now_us = core.clock.dose_us()
        if not 0 <= request.count_in_s <= MAX_COUNT_IN_S:
            raise Refusal(f"count-in {request.count_in_s}: give seconds from 0 to {MAX_COUNT_IN_S}", 2)
        for what, text in (("label", request.label), ("frame", request.frame or "")):
            check_text(what, text)
        light_in = check_light_in(request.light_in)
        self._check_part(request.part)
        self._next_up.check(request.queued)
        target = self._said.wanted(request)
        plan = plan_with(target.calls, request.looks, request.lead_s, request.overshoots)
        frame = request.frame or DEFAULT_FRAME
        sensor = self._choose_sensor(request.sensor, target)
        channel = may_start(core.bench, sensor, frame, now_us)
        response = channel.track.response
        light_in = light_in or target.light_in
        changed = check_fit(target, channel.identity, response, request.override, light_in)
        if request.count_in_s:
            core.count_in(sensor, request.count_in_s)
        began_us = self._mender.moment(request.when, now_us)
        if began_us < now_us and (request.count_in_s or request.by_light):
            raise Refusal("a start in the past has no count-in and is not begun by the light", 2)
        if began_us < now_us:
            self._mender.refuse_trouble()
            self._mender.refuse_unread(sensor, began_us, now_us)
        begin_us = began_us + int(request.count_in_s * US_PER_S * core.clock.pace)
        lit = self._start_light.at(request, target, channel, begin_us, now_us, light_in)
        exposure = Plan(
            core.recorder.next_exposure(), msgspec.structs.replace(target, calls=plan), sensor, frame, response,
            begin_us, core.clock.pace, request.label, tuple(changed),
            self._gate(request, lit.aim * target.dose_base, response), request.part, lit.aim, light_in,
        )
        out = core.bench.start(exposure, now_us)
        if began_us < now_us:
            core.settle(out)
            out = self._mender.count_from_the_start(exposure.id, now_us)
        self._next_up.begun(exposure.id, request.queued)
        answer = await taken(core, out, core.bench.exposures[exposure.id])
        self._showing.began()  # now that it can be read
        self._start_light.tell(exposure.id, sensor, lit)
        told = told_of(target, channel.identity)
        return msgspec.structs.replace(answer, told=told, light=lit.light, seems=lit.seems)

    def aim(self, name: str, sensor: str | None) -> AimDoc:
        """What a print of a target begun now would aim at. Raises `Refusal`."""
        target = self._said.wanted(StartRequest(name))
        return self._start_light.aim(target, self._choose_sensor(sensor, target))

    def _check_part(self, part: Part | None) -> None:
        """Two who ask for the next sheet at once are not both given the same one."""
        if part is None:
            return
        check_text("part", f"{part.kind} {part.name}")
        for exposure in self._core.bench.exposures.values():
            if exposure.plan.part == part and exposure.state not in ENDED:
                sheet = f", sheet {part.sheet}, layer {part.layer}," if part.sheet else ""
                raise Refusal(f"{part.kind} {part.name}{sheet} is {exposure.state} already, exposure {exposure.id}")

    @staticmethod
    def _gate(request: StartRequest, aim_base: float, response: Response) -> LightGate | None:
        if not request.by_light:
            return None
        on = request.light_on
        if on is not None and not 0 < on < 1e6:
            raise Refusal(f"light {on:g}: give the irradiance at which it begins, above 0", 2)
        return gate_for(aim_base, None if on is None else from_screen(on, irradiance_unit(response.unit)))

    def _choose_sensor(self, asked: str | None, target: Target) -> str:
        names = list(self._core.bench.channels)
        if asked is not None:
            return asked
        if target.identity is not None and target.identity.name in names:
            return target.identity.name
        if len(names) == 1:
            return names[0]
        raise Refusal(f"which sensor? name one with --sensor: {', '.join(names)}", 2)
