"""The button on a node: what a press does to the print in its light. Runs on the daemon's loop."""

from __future__ import annotations

import asyncio

from .asked import StartRequest
from .core import Core
from .exposure.button import button_means, is_timely
from .exposure.news import News
from .exposure.states import Act
from .journal.store import Store
from .model import Refusal
from .service import BenchService
from .units import US_PER_S

SAME_AGAIN_US = 12 * 3600 * US_PER_S  # a press begins the last target anew within this
NO_BUZZ, STARTED_BUZZ = "buzz 6 1", "buzz 1 1"


class Button:
    """Give `pressed` to the core. What a press did, or why it did nothing, is an event; what is refused also sounds."""

    def __init__(self, core: Core, service: BenchService, store: Store) -> None:
        self._core = core
        self._service = service
        self._store = store
        self._starts: set[asyncio.Task[None]] = set()

    def pressed(self, news: News) -> None:
        """A press ends the calls that are on; else it holds the print or takes it up again, or begins the last anew."""
        core, sensor = self._core, news.sensor
        exposures = core.bench.exposures.values()
        means, one = button_means(exposures, sensor)
        try:
            if not is_timely(news, core.bench.channels[sensor].track.usual_us):
                raise Refusal("it was heard late, and nobody knows when it was: say `uvdose hold ID --ago` yourself")
            if means == "quiet":
                for exposure in [e for e in exposures if e.plan.sensor == sensor and e.open_calls]:
                    core.settle(core.bench.quiet(exposure.id, news.t1_us))
            elif news.presses % 2 == 0:
                raise Refusal(f"{news.presses} presses in one line undo each other")
            elif means == "start":
                task = asyncio.ensure_future(self._start(sensor))
                self._starts.add(task)
                task.add_done_callback(self._starts.discard)
                return
            elif one is None or means == "wait":
                raise Refusal(
                    "it has not begun yet" if means == "wait" else
                    "several prints lie in its light: say which one on the page, or with `uvdose hold ID`"
                )
            else:
                core.settle(core.bench.act(one.id, Act(means), news.t1_us))
        except Refusal as err:
            self._refused(sensor, err.line)
        else:
            core.tell_fact("pressed", one.id if one is not None else None, sensor, {"what": means})
        core.tick()

    async def _start(self, sensor: str) -> None:
        """The last target that was printed in this light, on its frame."""
        core = self._core
        try:
            since_us = core.clock.wall_us() - SAME_AGAIN_US
            last = next((k for k in reversed(self._store.between(since_us, 1 << 62)) if k.plan.sensor == sensor), None)
            if last is None or last.plan.part is not None or not last.plan.target.version:
                raise Refusal("nothing was printed lately that it could begin anew: begin one on the page")
            taken = await self._service.start(StartRequest(last.plan.target.name, sensor, last.plan.frame))
        except Refusal as err:
            self._refused(sensor, err.line)
        else:
            assert taken.exposure is not None
            core.send(sensor, STARTED_BUZZ)
            core.tell_fact("pressed", taken.exposure.id, sensor, {"what": "start"})

    def _refused(self, sensor: str, line: str) -> None:
        self._core.send(sensor, NO_BUZZ)
        self._core.tell_fact("pressed", None, sensor, {"line": line})
