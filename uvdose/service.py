"""What the API asks of the daemon: acts and targets taken, the state told. Runs on the daemon's loop."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from concurrent.futures import Future

import msgspec

from .asked import CallTestRequest, MoveRequest, NoteRequest, ShadeRequest, StartRequest, TargetRequest, When
from .clock import iso_utc
from .core import Core
from .days import Days
from .dose.response import Response
from .exposure.exposure import Exposure
from .exposure.gate import gate_for
from .exposure.outcome import Outcome
from .exposure.record import LightGate, Plan
from .exposure.setting import check_light_in, next_version, trial_target
from .exposure.states import ENDED, Act, State, act_word
from .exposure.target import Target, check_fit, plan_with, told_of
from .exposure.telling import tell_fact
from .journal.store import Store
from .listed import AimDoc
from .mending import Mender
from .messages import CallTestDoc, EventDoc, NoteTaken, Part, SettingsTaken, StatusDoc, Taken, TakenBack, TargetTaken
from .model import Refusal
from .next_up import NextUp
from .notes import checked
from .outlooks import Outlooks
from .present import Present
from .reread import Rereader
from .showing import Showing
from .start_light import StartLight
from .subjects import check as check_subject
from .trying import Trier
from .units import US_PER_S, from_screen, irradiance_unit

ACT_PATIENCE_S = 2.0
MAX_COUNT_IN_S = 60
MAX_TEXT = 200
DEFAULT_FRAME = "1"
ACTS = ("hold", "resume", "finish", "again", "card", "undo")


class BenchService:
    """The API's side of one bench."""

    def __init__(
        self, core: Core, store: Store, home_id: str, present: Present, trier: Trier, showing: Showing,
        rereader: Rereader, outlooks: Outlooks, days: Days, start_light: StartLight,
    ) -> None:
        self.home_id = home_id
        self.showing, self.outlooks, self.days = showing, outlooks, days
        self._core = core
        self._store = store
        self._present = present
        self._mender = Mender(core, store)
        self._trier = trier
        self._rereader = rereader
        self._start_light = start_light
        self._next_up = NextUp(core, showing)
        self._fresh_targets: dict[str, Target] = {}

    # -- telling ---------------------------------------------------------------------------------------------

    def status(self) -> StatusDoc:
        """Every sensor; the exposures that have not ended, or that began today."""
        return self._present.status()

    async def follow(self, after: int) -> AsyncIterator[EventDoc]:
        """Events of the journal above `after`, then those to come, each once and in order."""
        live = self._core.herald.followers.follow()
        coming = asyncio.ensure_future(anext(live, None))
        await asyncio.sleep(0)  # the live side listens before the journal is read, so that none falls between
        try:
            while page := self._store.events(after):
                for event in page:
                    after = event.id
                    yield event
            while (coming_event := await coming) is not None:
                coming = asyncio.ensure_future(anext(live, None))
                if coming_event.id > after:
                    after = coming_event.id
                    yield coming_event
        finally:
            coming.cancel()

    def coming(self) -> AsyncIterator[EventDoc]:
        """Events from now on, until the daemon ends."""
        return self._core.herald.followers.follow()

    # -- acts ------------------------------------------------------------------------------------------------

    async def start(self, request: StartRequest) -> Taken:
        """Begin an exposure, now or at the beat of a count-in."""
        core = self._core
        now_us = core.clock.dose_us()
        if not 0 <= request.count_in_s <= MAX_COUNT_IN_S:
            raise Refusal(f"count-in {request.count_in_s}: give seconds from 0 to {MAX_COUNT_IN_S}", 2)
        for what, text in (("label", request.label), ("frame", request.frame or "")):
            _check_text(what, text)
        light_in = check_light_in(request.light_in)
        self._check_part(request.part)
        self._next_up.check(request.queued)
        target = self._wanted(request)
        plan = plan_with(target.calls, request.looks, request.lead_s, request.overshoots)
        frame = request.frame or DEFAULT_FRAME
        sensor = self._choose_sensor(request.sensor, target)
        channel = core.bench.check_start(sensor, frame, now_us)
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
        taken = await self._taken(out, core.bench.exposures[exposure.id])
        self.showing.began()  # now that it can be read
        self._start_light.tell(exposure.id, sensor, lit)
        told = told_of(target, channel.identity)
        return msgspec.structs.replace(taken, told=told, light=lit.light, seems=lit.seems)

    def aim(self, name: str, sensor: str | None) -> AimDoc:
        """What a print of a target begun now would aim at. Raises `Refusal`."""
        target = self._wanted(StartRequest(name))
        return self._start_light.aim(target, self._choose_sensor(sensor, target))

    def _wanted(self, request: StartRequest) -> Target:
        """The target to start with; for a calibration print one of its own, which no version list knows."""
        if request.trial is not None:
            return trial_target(request.target, request.trial)
        newest = self._fresh_targets.get(request.target)
        if newest is not None and request.version in (None, newest.version):
            return newest
        versions = self._store.versions(request.target)
        newest = newest or versions[-1]
        if request.version is None or newest.retired:  # a retired one retires its older versions too
            return newest
        for target in versions:
            if target.version == request.version:
                return target
        raise Refusal(f"target {request.target} has no version {request.version}; its newest is {versions[-1].version}")

    def _check_part(self, part: Part | None) -> None:
        """Two who ask for the next sheet at once are not both given the same one."""
        if part is None:
            return
        _check_text("part", f"{part.kind} {part.name}")
        for exposure in self._core.bench.exposures.values():
            if exposure.plan.part == part and exposure.state not in ENDED:
                sheet = f", sheet {part.sheet}, layer {part.layer}," if part.sheet else ""
                raise Refusal(f"{part.kind} {part.name}{sheet} is {exposure.state} already, exposure {exposure.id}")

    async def call_test(self, request: CallTestRequest) -> CallTestDoc:
        """Try the ways by which calls reach the person."""
        return await self._trier.test(request.way)

    async def reread_settings(self) -> SettingsTaken:
        """The settings as they lie in the file now."""
        taken, done = self._rereader.reread()
        return msgspec.structs.replace(taken, recorded=await _within(done, ACT_PATIENCE_S))

    async def note(self, request: NoteRequest) -> NoteTaken:
        """Something the person says that is no act."""
        core = self._core
        _check_text("subject", request.subject or "")
        note = checked(request.kind, request.data)
        check_subject(note, request.subject)
        noted = core.recorder.note(request.kind, request.subject, note, core.clock.wall_us(), request.based_on)
        self.showing.noted(note, noted.id)
        return NoteTaken(noted.subject, await _within(core.commit(noted.statements), ACT_PATIENCE_S), noted.id)

    async def act(self, exposure: int, act: str, when: When) -> Taken:
        """One of `ACTS`; all but again and undo also at a moment in the past."""
        core, now_us = self._core, self._core.clock.dose_us()
        if act not in ACTS:
            raise Refusal(f"no act {act!r}; one of {', '.join(ACTS)}", 2)
        t_us = self._mender.moment(when, now_us)
        back = None
        if act == "undo":
            last = self._mender.loaded(exposure).last_act
            out = self._mender.undo(exposure, now_us)
            if last is not None:
                back = TakenBack(act_word(last.act), iso_utc(core.label(last.when_us)))
        elif t_us < now_us and act != "again":
            out = self._mender.act_in_the_past(exposure, Act(act), t_us, now_us)
        else:
            known = self._mender.loaded(exposure)
            if act == "again":
                core.bench.check_start(known.plan.sensor, known.plan.frame, now_us)
            else:
                self._known(exposure)
            out = core.bench.act(exposure, Act(act), now_us)
        self._next_up.acted(exposure, core.bench.exposure(exposure).state is State.VOID)
        return await self._taken(out, core.bench.exposure(exposure), back)

    async def move(self, exposure: int, request: MoveRequest) -> Taken:
        """When the newest start, hold, resume or finish really happened."""
        out = self._mender.move(exposure, request, self._core.clock.dose_us())
        return await self._taken(out, self._core.bench.exposure(exposure))

    async def shade(self, exposure: int, request: ShadeRequest) -> Taken:
        """A stretch in which the sensor did not see the print's light."""
        out = self._mender.shade(exposure, request, self._core.clock.dose_us())
        return await self._taken(out, self._core.bench.exposure(exposure))

    async def quiet(self, exposure: int | None) -> Taken:
        """Silence the present calls."""
        out = self._quieted(exposure, self._core.clock.dose_us())
        return await self._taken(out, self._core.bench.exposures[exposure] if exposure is not None else None)

    def _quieted(self, number: int | None, now_us: int) -> Outcome:
        """Ends calls that are to be told, and those that were told and that nobody has answered."""
        bench, refused = self._core.bench, None
        try:
            out = bench.quiet(number, now_us)
        except Refusal as err:
            out, refused = Outcome(), err
        done = {fact.exposure for fact in out.facts}
        unanswered = self._core.herald.unanswered
        for told in unanswered.exposures():
            if told not in done and number in (None, told) and told in bench.exposures:
                tell_fact(out, bench.exposures[told], "quieted", now_us, {"calls": unanswered.of(told)})
        if refused is not None and not out.facts:
            raise refused
        return out

    @staticmethod
    def _gate(request: StartRequest, aim_base: float, response: Response) -> LightGate | None:
        if not request.by_light:
            return None
        on = request.light_on
        if on is not None and not 0 < on < 1e6:
            raise Refusal(f"light {on:g}: give the irradiance at which it begins, above 0", 2)
        return gate_for(aim_base, None if on is None else from_screen(on, irradiance_unit(response.unit)))

    async def set_target(self, request: TargetRequest) -> TargetTaken:
        """A target, as a new version."""
        core = self._core
        identities = [c.identity for c in core.bench.channels.values()]
        # A version just handed out may not be on disk yet: the next one must not take its number.
        last = self._fresh_targets.get(request.name) or self._store.newest_target(request.name)
        like = self._store.newest_target(request.like) if request.like is not None else None
        target = next_version(request, last, identities, iso_utc(core.clock.wall_us()), like)
        self._fresh_targets[target.name] = target
        self.showing.target_set(target)
        recorded = await _within(core.commit(core.recorder.target(target)), ACT_PATIENCE_S)
        return TargetTaken(target.name, target.version, target.dose, target.unit, recorded)

    def _known(self, number: int) -> None:
        if (state := self._core.bench.exposure(number).state) in ENDED:
            raise Refusal(f"exposure {number}: it is {state} already")

    def _choose_sensor(self, asked: str | None, target: Target) -> str:
        names = list(self._core.bench.channels)
        if asked is not None:
            return asked
        if target.identity is not None and target.identity.name in names:
            return target.identity.name
        if len(names) == 1:
            return names[0]
        raise Refusal(f"which sensor? name one with --sensor: {', '.join(names)}", 2)

    async def _taken(self, out: Outcome, exposure: Exposure | None, back: TakenBack | None = None) -> Taken:
        done = self._core.settle(out)
        self._core.tick()
        recorded = await _within(done, ACT_PATIENCE_S) if done is not None else True
        note = "" if recorded else (
            f"taken, but not yet on disk ({self._core.trouble or 'the disk is slow'}); it is kept and tried again"
        )
        return Taken(self._core.document(exposure) if exposure is not None else None, recorded, note, back)


def _check_text(what: str, text: str) -> None:
    if len(text) > MAX_TEXT or not text.isprintable():
        raise Refusal(f"{what}: give at most {MAX_TEXT} printable characters", 2)


async def _within(done: Future[None], seconds: float) -> bool:
    waiter = asyncio.shield(asyncio.wrap_future(done))  # a request that is cut off must not cancel the commit
    finished, _ = await asyncio.wait({waiter}, timeout=seconds)
    return bool(finished) and waiter.exception() is None

