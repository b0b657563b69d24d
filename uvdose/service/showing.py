"""What a page is shown besides the status: targets to choose from, frames, who is next, the light of an exposure."""

from __future__ import annotations

import asyncio
from collections.abc import Callable

from ..core import Core
from ..dose.integrator import reading_value
from ..exposure.record import ActRecord
from ..exposure.states import Act
from ..exposure.target import Target
from ..journal.store import Kept, Store
from ..listed import FrameDoc, LightDoc, ListsDoc, QueueDoc, TargetDoc
from ..notes import Doc, Queue
from ..queueing import BENCH
from ..units import US_PER_S, irradiance_unit, to_screen

MAX_POINTS = 400
FRESH_S = 2.0  # a curve is as good as new for so long
KEEP_CURVES = 16
LOOK_BACK = 200  # prints that may tell which frames there are
MAX_FRAMES = 24
OUT_OF_LIGHT = (Act.HOLD, Act.FINISH)


class Showing:
    """Lists and curves. open_store: a store with a connection of its own, for a thread."""

    def __init__(self, core: Core, store: Store, open_store: Callable[[], Store]) -> None:
        self._core = core
        self._store = store
        self._open_store = open_store
        self._queue_id, queue = store.newest_note(Queue, BENCH)
        self._queue = queue.entries if queue is not None else ()
        self._curves: dict[int, tuple[float, asyncio.Future[LightDoc]]] = {}
        self._fresh: dict[str, Target] = {}
        self._followers: set[Callable[[], None]] = set()
        self.revision = 0

    def follow(self, changed: Callable[[], None]) -> None:
        """Have this called whenever any list has changed; given twice it is called once."""
        self._followers.add(changed)

    def _changed(self) -> None:
        self.revision += 1
        for changed in self._followers:
            changed()

    # -- lists -----------------------------------------------------------------------------------------------

    def target_set(self, target: Target) -> None:
        """A version just handed out, which may not be on disk yet."""
        self._fresh[target.name] = target
        self._changed()

    def began(self) -> None:
        """A print lies in a frame: a page that is open past midnight must not go by what lay there the day before."""
        self._changed()

    def noted(self, note: Doc, number: int) -> None:
        """A note is being written, as this version."""
        if isinstance(note, Queue):
            self._queue, self._queue_id = note.entries, number
            self._changed()

    def targets(self) -> list[TargetDoc]:
        """The newest version of each that is not retired, by name."""
        newest = {t.name: t for t in self._store.targets()} | self._fresh
        return [_target(t) for _, t in sorted(newest.items()) if not t.retired]

    def queue(self) -> QueueDoc:
        """Who is next."""
        return QueueDoc(self._queue, self._queue_id)

    def frames(self) -> list[FrameDoc]:
        """Frames that the last prints lay in, with what was printed in each."""
        found: dict[str, FrameDoc] = {}
        for frame, target, sensor in self._store.lately_used(LOOK_BACK):
            if frame not in found and len(found) < MAX_FRAMES:
                found[frame] = FrameDoc(frame, target, sensor)
        return sorted(found.values(), key=lambda f: (not f.frame.isdigit(), f.frame.zfill(8)))

    def lists(self) -> ListsDoc:
        """All of these."""
        return ListsDoc(self.targets(), self.frames(), list(self._queue), self._queue_id)

    # -- light -----------------------------------------------------------------------------------------------

    async def light(self, number: int) -> LightDoc:
        """The light of one exposure, read in a thread; many who ask at once share the reading. Raises `Refusal`."""
        now_s = self._core.clock.real_s()
        known = self._curves.get(number)
        if known is None or now_s - known[0] > FRESH_S:
            coming = asyncio.ensure_future(asyncio.to_thread(self._read_light, number, self._core.clock.dose_us()))
            coming.add_done_callback(lambda done: done.cancelled() or done.exception())  # whoever asked may be gone
            known = self._curves[number] = (now_s, coming)
            while len(self._curves) > KEEP_CURVES:
                self._curves.pop(next(iter(self._curves)))
        return await asyncio.shield(known[1])

    def _read_light(self, number: int, now_us: int) -> LightDoc:
        store = self._open_store()
        try:
            kept = store.exposure(number)
            acts = [a for a in store.acts(number) if not a.withdrawn]
            return light_of(store, kept, acts, store.reached_us(number), now_us)
        finally:
            store.db.close()


def light_of(store: Store, kept: Kept, acts: list[ActRecord], reached_us: int | None, now_us: int) -> LightDoc:
    """The light that fell while an exposure went on, thinned to equal stretches of time, each with its mean."""
    response = kept.plan.response
    unit = irradiance_unit(response.unit)
    opening = next((a for a in acts if a.act is Act.LIGHT), None)
    if opening is None:
        return LightDoc(unit, None, [], [], 0.0)
    t0_us = opening.when_us
    end_us = acts[-1].when_us if acts[-1].act in (Act.FINISH, Act.VOID) else now_us
    width_us = max(1, -(-(end_us - t0_us + 1) // MAX_POINTS))
    sums: dict[int, tuple[float, float, int]] = {}
    for t_us, reading in store.readings(kept.plan.sensor, t0_us, end_us):
        place = (t_us - t0_us) // width_us
        time, value, count = sums.get(place, (0.0, 0.0, 0))
        sums[place] = (time + t_us - t0_us, value + reading_value(reading) - response.zero, count + 1)
    factor = to_screen(response.factor, unit)
    points = [(round(t / n / US_PER_S, 2), factor * v / n) for t, v, n in sums.values()]
    until_s = (end_us - t0_us) / US_PER_S
    reached_s = None if reached_us is None or reached_us < t0_us else (reached_us - t0_us) / US_PER_S
    return LightDoc(unit, kept.document.started_utc, points, _holds(acts, t0_us, end_us), until_s, reached_s)


def _holds(acts: list[ActRecord], t0_us: int, end_us: int) -> list[tuple[float, float]]:
    """Stretches out of the light: from each hold to what ends it, and from a finish to going out again."""
    holds: list[tuple[float, float]] = []
    since_us: int | None = None
    for act in acts:
        if act.act in OUT_OF_LIGHT and since_us is None:
            since_us = act.when_us
        elif act.act in (Act.RESUME, Act.AGAIN) and since_us is not None:
            holds.append(((since_us - t0_us) / US_PER_S, (act.when_us - t0_us) / US_PER_S))
            since_us = None
    if since_us is not None and since_us < end_us:
        holds.append(((since_us - t0_us) / US_PER_S, (end_us - t0_us) / US_PER_S))
    return holds


def _target(target: Target) -> TargetDoc:
    bound = target.identity.name if target.identity is not None else None
    return TargetDoc(
        target.name, target.version, target.dose, target.unit, target.combination.noted, bound, target.low,
        target.high, target.made_utc,
    )
