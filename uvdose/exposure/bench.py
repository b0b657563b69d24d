"""Bench: all sensors and exposures of one daemon as one value that time and input move. Pure: no I/O, no clock.

Each call returns an `Outcome`: what to keep in the journal, whom to call, whom to ask. The daemon commits first
and calls then. The bench itself never waits for either.
"""

from __future__ import annotations

from ..dose.health import Change
from ..dose.response import Identity, Response
from ..model import BadInput, Chosen, Decoded, Mark, Reading, Refusal, RegisterRun, Segment
from ..units import US_PER_S, to_screen
from .at_hand import AtHand
from .button import press
from .calls import LEAD, REACHED, REMINDER
from .channel import Channel, Timed, told_change
from .coming import crossed, crossed_in
from .due import Dues
from .exposure import Exposure
from .outcome import Outcome
from .pauses import pauses
from .record import Crossing, Plan
from .runs import take_run
from .settling import closing, settle_due_us
from .states import ENDED, Act, State
from .telling import hush, ring, tell_act, tell_changes, tell_crossing, tell_fact, tell_holes

SNAP_S = 0.25  # an act is fixed on a line that comes within a quarter of a real second


class Bench:
    """Sensors by name, exposures by id."""

    def __init__(self, pace: float = 1.0) -> None:
        self.pace = pace
        self.channels: dict[str, Channel] = {}
        self._dues = Dues(pace)
        self.exposures = AtHand(self._dues.touch)
        self.snap_us = int(SNAP_S * US_PER_S * pace)

    def add_sensor(self, name: str, identity: Identity, response: Response) -> Channel:
        """A sensor of the settings."""
        self.channels[name] = Channel(name, identity, response, self.pace)
        self._dues.touch(name)
        return self.channels[name]

    # -- input -----------------------------------------------------------------------------------------------

    def take(self, sensor: str, items: list[Decoded], arrival_us: int) -> Outcome:
        """Decoded input of one sensor."""
        out = Outcome()
        channel = self._touched(sensor)
        self._beat(channel, arrival_us, out)
        channel.lit = self._lit(channel)
        for item in items:
            if isinstance(item, BadInput):
                tell_changes(channel, channel.bad(item, arrival_us), arrival_us, out)
            elif isinstance(item, Chosen):
                tell_changes(channel, channel.health.set("chosen", bool(item.text), item.text), arrival_us, out)
            elif isinstance(item, RegisterRun):
                take_run(self, channel, item, arrival_us, out)
            elif isinstance(item, Reading):
                self.line(channel, item, arrival_us, out)
        tell_changes(channel, channel.lateness(arrival_us), arrival_us, out)
        self._predict(channel, arrival_us, out)
        return out

    def line(self, channel: Channel, item: Reading, arrival_us: int, out: Outcome) -> None:
        """One reading, and what it told beside its light, before the next: so acts cut where they belong."""
        self._grow(channel, *channel.take(item, arrival_us), arrival_us, out)
        news, channel.news = channel.news, None
        if news is not None and news.called:
            out.news.append(news)
        if news is not None and news.presses:
            press(self, news, out)

    def concerned(self, channel: Channel) -> list[Exposure]:
        """Its exposures whose light is not yet added up."""
        return [e for e in self.exposures.of(channel.name) if not e.settled]

    def link(self, sensor: str, up: bool, line: str, t_us: int) -> Outcome:
        """A sensor's link came up or went down."""
        channel = self._touched(sensor)
        tell_changes(channel, channel.health.link(up, line, t_us), t_us, out := Outcome())
        return out

    def introduced(self, sensor: str, was: str | None, now: str, t_us: int) -> Outcome:
        """A node has said who it is: `ok who <name> <firmware> <sensor> <gain> <full_scale> <zero>`."""
        line = told_change(was, now, self.channels[sensor].track.response.full_scale)
        return self.alarm(sensor, "changed", line is not None, t_us, line or "")

    def alarm(self, sensor: str, key: str, on: bool, t_us: int, line: str = "") -> Outcome:
        """Switch an alarm of a sensor that is found outside of its readings."""
        channel = self._touched(sensor)
        tell_changes(channel, channel.health.set(key, on, line), t_us, out := Outcome())
        return out

    def tick(self, now_us: int) -> Outcome:
        """Time passed: the beat of a count-in, silence, predicted crossings."""
        out = Outcome()
        for channel in map(self._touched, self.channels):
            self._beat(channel, now_us, out)
            channel.lit = self._lit(channel)
            self._grow(channel, *channel.tick(now_us), now_us, out)
            self._settle(channel, now_us, out)
            tell_changes(channel, pauses(channel, self.exposures.of(channel.name), now_us), now_us, out)
            self._predict(channel, now_us, out)
        return out

    def next_us(self, now_us: int) -> int:
        """When `tick` is due next, if no input comes."""
        return self._dues.next_us(self.channels, self.exposures, now_us)

    # -- acts ------------------------------------------------------------------------------------------------

    def start(self, plan: Plan, now_us: int) -> Outcome:
        """Begin an exposure, now or at the beat of a count-in. Check it with `may_start` before."""
        out = Outcome()
        exposure = Exposure(plan)
        self.exposures[plan.id] = exposure
        out.changed.append(exposure)
        if plan.begin_us <= now_us and plan.gate is None:
            self._act(exposure, Act.LIGHT, self.channels[plan.sensor].mark(plan.begin_us), out)
        return out

    def act(self, number: int, act: Act, now_us: int) -> Outcome:
        """The person's act, at a moment. It ends the calls that are on. Raises `Refusal`."""
        out = Outcome()
        exposure = self.exposure(number)
        self.act_at(exposure, act, self.channels[exposure.plan.sensor].mark(now_us), out)
        self._predict(self.channels[exposure.plan.sensor], now_us, out)
        return out

    def act_at(self, exposure: Exposure, act: Act, mark: Mark, out: Outcome) -> None:
        """The person's act at its mark; light beyond the mark must not have been added yet. Raises `Refusal`."""
        channel = self._touched(exposure.plan.sensor)
        self._act(exposure, act, mark, out)
        for segment in exposure.keeper.acted(mark.t_us) if exposure.keeper is not None else ():
            self._light(exposure, segment, channel, out)
        hush(exposure, list(exposure.open_calls), mark.t_us, out, tell=False)

    def mend(self, exposure: Exposure, what: str, now_us: int) -> Outcome:
        """Take in an exposure that was counted anew, after the person has mended its acts or its light."""
        out = Outcome()
        channel = self._touched(exposure.plan.sensor)
        if exposure.id in self.exposures:
            exposure.open_calls = dict(self.exposures[exposure.id].open_calls)
        exposure.reconcile(channel.track, now_us)
        self.exposures[exposure.id] = exposure
        gone = [key for key in exposure.open_calls if key not in exposure.passed or exposure.state in ENDED]
        hush(exposure, gone, now_us, out, tell=False)
        unit = exposure.plan.response.unit
        dose = to_screen(exposure.figures(channel.track, now_us).dose, unit)
        tell_fact(out, exposure, "mended", now_us, {"what": what, "dose": dose, "unit": unit})
        out.changed.append(exposure)
        self._predict(channel, now_us, out)
        return out

    def quiet(self, number: int | None, now_us: int) -> Outcome:
        """Silence the present calls, of one exposure or of all. Raises `Refusal` when none is on."""
        out = Outcome()
        chosen = [self.exposure(number)] if number is not None else list(self.exposures.values())
        for exposure in chosen:
            if exposure.open_calls:
                hush(exposure, list(exposure.open_calls), now_us, out, tell=True)
        if not out.hushes:
            raise Refusal("no call is on; nothing to silence")
        return out

    def exposure(self, number: int) -> Exposure:
        """Raises `Refusal` for an exposure that is not there."""
        found = self.exposures.get(number)
        if found is None:
            running = ", ".join(str(e.id) for e in self.running()) or "none"
            raise Refusal(f"no exposure {number} is running; running now: {running}")
        return found

    def running(self) -> list[Exposure]:
        """Exposures that have not ended."""
        return [e for e in self.exposures.values() if e.state not in ENDED]

    def proven(self, number: int, key: str) -> None:
        """A call that need not be insisted on has reached the person."""
        if number in self.exposures:
            self.exposures[number].open_calls.pop(key, None)

    def forget_settled(self, keep: int) -> None:
        """Drop ended exposures whose last light is added up, but the newest few."""
        done = [e.id for e in self.exposures.values() if e.settled and not e.open_calls]
        for number in done[: max(0, len(done) - keep)]:
            del self.exposures[number]

    # -- inside ----------------------------------------------------------------------------------------------

    def _touched(self, sensor: str) -> Channel:
        """A channel that something happens to: when it is due is reckoned anew."""
        self._dues.touch(sensor)
        return self.channels[sensor]

    def _act(self, exposure: Exposure, act: Act, mark: Mark, out: Outcome, by_light: bool = False) -> None:
        channel = self.channels[exposure.plan.sensor]
        record = exposure.apply(act, mark, by_light)
        if act is Act.LIGHT:
            exposure.skip_early_lead(exposure.light(channel.track, mark.t_us).fastest)
        out.acts.append((exposure.id, record))
        out.asks.append(channel.name)
        tell_act(out, exposure, act, mark.t_us, exposure.figures(channel.track, mark.t_us).dose, by_light)
        out.changed.append(exposure)

    def _grow(self, channel: Channel, timed: list[Timed], changes: list[Change], now_us: int, out: Outcome) -> None:
        concerned = self.concerned(channel)
        for item in timed:
            out.readings.append((channel.name, item.t_us, item.reading))
            for exposure in concerned:
                segments = item.segments if exposure.keeper is None else self._gated(exposure, item, out)
                for segment in segments:
                    if exposure.state is not State.WAITING:
                        self._light(exposure, segment, channel, out)
        tell_changes(channel, changes, now_us, out)

    def _gated(self, exposure: Exposure, item: Timed, out: Outcome) -> list[Segment]:
        """Begin, hold and resume by the light itself; returns the segments that are sure."""
        assert exposure.keeper is not None
        lit = exposure.lit_by_light
        mark, segments = exposure.keeper.feed(item, lit)
        if mark is not None:
            act = Act.HOLD if lit else Act.LIGHT if exposure.state is State.WAITING else Act.RESUME
            self._act(exposure, act, mark, out, by_light=True)
        return segments

    def _light(self, exposure: Exposure, segment: Segment, channel: Channel, out: Outcome) -> None:
        """Add a segment to an exposure, and see what it crossed."""
        account = exposure.account
        before, holes = account.reckoned(), account.hole_s
        for number, mark in exposure.add(segment, self.snap_us):
            out.refined.append((exposure.id, number, mark))
        if account.hole_s != holes:
            tell_holes(out, exposure, holes, segment.t1_us)
        if exposure.state not in ENDED:
            self._cross(exposure, crossed_in(exposure, segment, before, account.reckoned(), channel.track), out)
            if exposure.proved_less(segment.t1_us):
                hush(exposure, list(exposure.open_calls), segment.t1_us, out, tell=False)
                tell_fact(out, exposure, "mended", segment.t1_us, {
                    "what": "the light proved less than was estimated; the target will be called again",
                })
                out.changed.append(exposure)
        if exposure.settled:
            out.changed.append(exposure)

    def _settle(self, channel: Channel, now_us: int, out: Outcome) -> None:
        """Ends after which no reading has come in time: their light since the last reading is missing."""
        for exposure in self.exposures.of(channel.name):
            if settle_due_us(exposure, channel, self.pace) > now_us:
                continue
            for segment in exposure.keeper.release() if exposure.keeper is not None else ():
                self._light(exposure, segment, channel, out)
            segment, holes = closing(exposure, channel.track), exposure.account.hole_s
            record = exposure.close(segment)
            if record is not None:
                out.closed.append((exposure.id, record))
            tell_holes(out, exposure, holes, segment.t1_us)
            out.changed.append(exposure)

    def _beat(self, channel: Channel, now_us: int, out: Outcome) -> None:
        """Count-ins that are over, before any light is added: the segment in which the beat lies is the print's."""
        for exposure in self.exposures.of(channel.name):
            waits = exposure.state is State.WAITING and exposure.plan.gate is None
            if waits and exposure.plan.begin_us <= now_us:
                self._act(exposure, Act.LIGHT, channel.mark(exposure.plan.begin_us), out)

    def _predict(self, channel: Channel, now_us: int, out: Outcome) -> None:
        if channel.predicts(now_us):
            for exposure in self.exposures.of(channel.name):
                self._cross(exposure, crossed(exposure, channel.track, now_us), out)

    def _cross(self, exposure: Exposure, crossings: list[Crossing], out: Outcome) -> None:
        for crossing in crossings:
            threshold = crossing.threshold
            if threshold.key in exposure.passed:
                continue
            exposure.passed.add(threshold.key)
            in_light = exposure.state in (State.COUNTING, State.REACHED)
            if threshold.kind == REACHED:
                exposure.reach(crossing.t_us)
                exposure.passed.add(LEAD)
            elif not in_light and threshold.kind != REMINDER:
                out.changed.append(exposure)  # that it has passed is kept
                continue
            f = exposure.figures(self.channels[exposure.plan.sensor].track, crossing.t_us)
            dose = tell_crossing(out, exposure, crossing, f)
            out.changed.append(exposure)
            if in_light or threshold.kind == REMINDER:
                ring(exposure, crossing, dose, f.missing, out)

    def _lit(self, channel: Channel) -> bool:
        for exposure in self.exposures.of(channel.name):  # noqa: SIM110 - `any` takes longer, at each line
            if exposure.account.is_open:
                return True
        return False
