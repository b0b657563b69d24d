"""What the API asks of the daemon: acts and targets taken, the state told. Runs on the daemon's loop."""

from __future__ import annotations

from collections.abc import AsyncIterator

import msgspec

from ..asked import CallTestRequest, MoveRequest, NoteRequest, ShadeRequest, StartRequest, TargetRequest, When
from ..core import Core
from ..days import Days
from ..exposure.beginning import may_start
from ..exposure.outcome import Outcome
from ..exposure.states import ENDED, Act, State, act_word
from ..exposure.telling import tell_fact
from ..journal.store import Store
from ..listed import AimDoc, BenchesDoc
from ..messages import CallTestDoc, EventDoc, NoteTaken, SettingsTaken, StatusDoc, Taken, TakenBack, TargetTaken
from ..model import Refusal
from ..outlooks import Outlooks
from ..overlook import Overlook
from ..stamps import iso_utc
from .mending import Mender
from .next_up import NextUp
from .present import Present
from .reread import Rereader
from .said import Said
from .showing import Showing
from .start_light import StartLight
from .starting import Starting
from .taking import on_disk, taken
from .trying import Trier

ACTS = ("hold", "resume", "finish", "again", "card", "undo")


class BenchService:
    """The API's side of one bench."""

    def __init__(
        self, core: Core, store: Store, home_id: str, present: Present, trier: Trier, showing: Showing,
        rereader: Rereader, outlooks: Outlooks, days: Days, start_light: StartLight, overlook: Overlook,
    ) -> None:
        self.home_id = home_id
        self.showing, self.outlooks, self.days = showing, outlooks, days
        self._core = core
        self._overlook = overlook
        self._store = store
        self._present = present
        self._mender = Mender(core, store)
        self._trier = trier
        self._rereader = rereader
        self._next_up = NextUp(core, showing)
        self._said = Said(core, store, showing)
        self._starting = Starting(core, self._mender, self._said, showing, self._next_up, start_light)

    # -- telling ---------------------------------------------------------------------------------------------

    def status(self) -> StatusDoc:
        """Every sensor; the exposures that have not ended, or that began today."""
        return self._present.status()

    def benches(self) -> BenchesDoc:
        """All benches at the broker. Raises `Refusal` where there is none."""
        return self._overlook.now()

    async def follow(self, after: int) -> AsyncIterator[EventDoc]:
        """Events of the journal above `after`, then those to come, each once and in order."""
        with self._core.herald.followers.listening() as live:  # before the journal is read, so that none falls between
            while page := self._store.events(after):
                for event in page:
                    after = event.id
                    yield event
            while (coming := await live.get()) is not None:
                if coming.id > after:
                    after = coming.id
                    yield coming

    def coming(self) -> AsyncIterator[EventDoc]:
        """Events from now on, until the daemon ends."""
        return self._core.herald.followers.follow()

    # -- acts ------------------------------------------------------------------------------------------------

    async def start(self, request: StartRequest) -> Taken:
        """Begin an exposure, now or at the beat of a count-in."""
        return await self._starting.start(request)

    def aim(self, name: str, sensor: str | None) -> AimDoc:
        """What a print of a target begun now would aim at. Raises `Refusal`."""
        return self._starting.aim(name, sensor)

    async def set_target(self, request: TargetRequest) -> TargetTaken:
        """A target, as a new version."""
        return await self._said.set_target(request)

    async def note(self, request: NoteRequest) -> NoteTaken:
        """Something the person says that is no act."""
        return await self._said.note(request)

    async def call_test(self, request: CallTestRequest) -> CallTestDoc:
        """Try the ways by which calls reach the person."""
        return await self._trier.test(request.way)

    async def reread_settings(self) -> SettingsTaken:
        """The settings as they lie in the file now."""
        answer, done = self._rereader.reread()
        return msgspec.structs.replace(answer, recorded=await on_disk(done))

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
                may_start(core.bench, known.plan.sensor, known.plan.frame, now_us)
            else:
                self._known(exposure)
            out = core.bench.act(exposure, Act(act), now_us)
        self._next_up.acted(exposure, core.bench.exposure(exposure).state is State.VOID)
        return await taken(self._core, out, core.bench.exposure(exposure), back)

    async def move(self, exposure: int, request: MoveRequest) -> Taken:
        """When the newest start, hold, resume or finish really happened."""
        out = self._mender.move(exposure, request, self._core.clock.dose_us())
        return await taken(self._core, out, self._core.bench.exposure(exposure))

    async def shade(self, exposure: int, request: ShadeRequest) -> Taken:
        """A stretch in which the sensor did not see the print's light."""
        out = self._mender.shade(exposure, request, self._core.clock.dose_us())
        return await taken(self._core, out, self._core.bench.exposure(exposure))

    async def quiet(self, exposure: int | None) -> Taken:
        """Silence the present calls."""
        out = self._quieted(exposure, self._core.clock.dose_us())
        return await taken(self._core, out, self._core.bench.exposures[exposure] if exposure is not None else None)

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

    def _known(self, number: int) -> None:
        if (state := self._core.bench.exposure(number).state) in ENDED:
            back = f"; `uvdose undo {number}` brings it back" if state == "void" else ""
            raise Refusal(f"exposure {number}: it is {state} already{back}")
