"""The daemon: the only place that joins settings, clock, links, bench, journal, calls and API."""

from __future__ import annotations

import asyncio
import contextlib
import errno
import os
import signal
import sys
from collections.abc import Callable

from .call.arming import Held
from .call.orders import Orders
from .call.publish import Publisher
from .call.speaker import Speaker
from .call.ways import Ways, event_words, trouble_words
from .config import Home, Settings, load_settings
from .core import Core
from .days import Days
from .decode import make_decoder
from .decode.base import Decoder
from .dose.response import identity_of, response_of
from .exposure.bench import Bench
from .exposure.calls import TEST
from .exposure.outcome import Ring
from .exposure.telling import told_again
from .home import Runtime, keep_taken, lock, read_taken, remove_runtime, write_runtime
from .intake import make_links
from .journal.care import forget_told, look_after, untold
from .journal.epoch import begin_epoch
from .journal.imported import refuse_shared
from .journal.place import Place
from .journal.recorder import Recorder
from .journal.replay import resume
from .journal.schema import home_id, open_reading, open_writing
from .journal.store import Store
from .journal.summing import Summer
from .journal.writer import Writer
from .messages import EventDoc
from .model import Refusal
from .notify import Manager
from .outlooks import Outlooks
from .overlook import Overlook
from .same_light import SameLight
from .service.present import Present
from .service.pressing import Button
from .service.reread import Rereader
from .service.service import BenchService
from .service.showing import Showing
from .service.start_light import StartLight
from .service.trying import Trier
from .stamps import from_iso, local_time, use_zone
from .upkeep import Upkeep
from .web.app import make_app
from .web.front import Front, Reach
from .whereabouts import Whereabouts

Say = Callable[[str], None]

WATCH_S = 0.5
_ALONE = Reach()


def serve(home: Home, pace: float, say: Say, reach: Reach = _ALONE) -> None:
    """Run the daemon until SIGTERM or SIGINT. `say` prints one line. Raises `Refusal` when it cannot begin or go on."""
    settings = reach.over(load_settings(home))
    use_zone(settings.bench.timezone)
    with lock(home, "uvdose serve"):
        asyncio.run(_serve(home, settings, pace, say, reach))


async def _serve(home: Home, settings: Settings, pace: float, say: Say, reach: Reach) -> None:
    speaker = Speaker(say)
    try:
        daemon = Daemon(home, settings, pace, speaker)
        try:
            await daemon.start()
            await daemon.front.tell(reach)
            await daemon.watch()
        finally:
            await daemon.stop()
    finally:
        speaker.close()


class Daemon:
    """One bench at work. Make it inside a running loop; `start`, `watch` until the end, `stop` in any case."""

    def __init__(self, home: Home, settings: Settings, pace: float, speaker: Speaker) -> None:
        self._home = home
        self._settings = settings
        self._say = say = speaker.say
        self._manager = Manager(os.environ)
        self._loop = asyncio.get_running_loop()
        self._stopping = asyncio.Event()
        self._faults: list[str] = []
        self._tasks: list[asyncio.Task[None]] = []

        self.front = Front(home, settings, say)
        for line in look_after(home.journal_file):
            say(f"ALARM {line}")
        db = open_writing(home.journal_file)
        self._db = db
        self._store = Store(open_reading(home.journal_file))
        self._home_id = home_id(db)
        refuse_shared(db, (sensor.name for sensor in settings.sensor))
        clock = begin_epoch(db, self._store, pace)
        bench = Bench(pace)
        who = self._store.known_who()
        for sensor in settings.sensor:
            bench.add_sensor(sensor.name, identity_of(sensor, who.get(sensor.name)), response_of(sensor))
        resume(self._store, bench, clock.dose_us())

        self._links, self._hub = make_links(settings, clock, home.folder)
        hub = self._hub
        recorder = Recorder(db, lambda t_us: clock.wall_us() - (clock.dose_us() - t_us))
        sensors = [statement for c in bench.channels.values() for statement in recorder.sensor(c.identity)]
        self._place = Place(home.journal_file)
        self._upkeep = Upkeep(home, self._place, say)
        self._publisher = Publisher(hub, settings.bench.name, self._upkeep.troubled) if hub is not None else None
        self._writer = Writer(db, self._upkeep.on_trouble, place=self._place, summer=Summer(db))
        self._core = Core(
            bench, clock, recorder, self._writer, self._links, self._decoder, self._on_call, self._on_event,
            self._on_hush,
        )
        self._core.time_left.stands(settings.bench)
        self._upkeep.attach(self._core, self._writer)
        self._ways = Ways(settings.call, home.folder, settings.bench.name, self._on_way)
        self._bell = "\a" if settings.call.terminal else ""
        self._core.commit(sensors)
        for line in untold(db):
            self._upkeep.tell("alarm", line)
            self._core.commit(forget_told())
        seen = settings.call.terminal and sys.stdout.isatty()
        trier = Trier(
            self._core, self._ways, settings, home.folder,
            (lambda done: speaker.say("this is a test call\a", done)) if seen else None,
        )
        rereader = Rereader(self._core, home, load_settings(home))  # without what this call alone adds to them
        showing = Showing(self._core, self._store, lambda: Store(open_reading(home.journal_file)))
        present = Present(self._core, self._store, settings.bench.name, self._ways_troubled)
        ahead, same = Outlooks(settings, home.journal_file, clock), SameLight(settings)
        self._whereabouts = Whereabouts(ahead, settings.sensor, pace) if same.places else None
        light = StartLight(self._core, same, self._whereabouts)
        days = Days(settings.bench, home.journal_file, clock, self._store.newest_word)
        self._overlook = Overlook(settings.mqtt, home.folder)
        self._service = BenchService(
            self._core, self._store, self._home_id, present, trier, showing, rereader, ahead, days, light,
            self._overlook,
        )
        self._core.on_press = Button(self._core, self._service, self._store).pressed
        self.front.dress(make_app(self._service, self.front.pairing), self._home_id)
        self._orders: Orders | None = None
        if hub is not None and settings.mqtt is not None and settings.mqtt.commands:
            self._orders = Orders(
                settings.bench.name, self._service, hub.publish, read_taken(home), lambda ids: keep_taken(home, ids),
                self._say,
            )
            hub.listen(self._orders.topic, self._orders.hear)

    # -- life ------------------------------------------------------------------------------------------------

    async def start(self) -> None:
        """Start every link and the API, call what the last run left open, and say `ready`."""
        for number in (signal.SIGTERM, signal.SIGINT):
            self._loop.add_signal_handler(number, self._stopping.set)
        self._loop.set_exception_handler(self._on_fault)
        self._tasks = [
            asyncio.create_task(self._core.tell(), name="calls"),
            asyncio.create_task(self.front.serve(), name="api"),
        ]
        if self._whereabouts is not None:
            self._tasks.append(asyncio.create_task(self._whereabouts.keep(), name="whereabouts"))
        if self._orders is not None:
            self._tasks.append(asyncio.create_task(self._orders.work(), name="commands"))
        while not (self.front.started or self._stopping.is_set() or self._tasks[1].done()):
            await asyncio.sleep(0.005)
        # From here on without a pause, so that `ready` is the first that is said.
        for call in self._store.open_calls():
            self._core.reopen(call)
        for exposure in self._core.bench.running():
            if (armed := self._store.armed(exposure.id)) is not None:
                self._core.self_calls.arming.remember(armed[0], Held(exposure.id, armed[1]))
        if self._hub is not None:
            self._hub.start(self._core.sink)
        for link in self._links.values():
            link.start(self._core.sink)
        self._core.tick()
        write_runtime(self._home, Runtime(self.front.url, self._home_id, self.front.token, os.getpid()))
        self._say(f"ready {self.front.url}")
        self._ways.check()
        self._manager.ready(f"counts, and answers on {self.front.url}")

    async def watch(self) -> None:
        """Until the end: publish the state, tell what troubles the journal, and see that nothing has died."""
        while not self._stopping.is_set():
            with contextlib.suppress(TimeoutError):
                await asyncio.wait_for(self._stopping.wait(), WATCH_S)
            self._upkeep.look()
            self._ways.look()
            self._overlook.look()
            for task in self._tasks:
                if task.done() and not self._stopping.is_set():
                    self._faults.append(f"{task.get_name()} has ended: {task.exception()!r}")
            if not self._writer.alive():
                self._faults.append("the journal's writer has died")
            if self._faults:
                break
            self._manager.alive(self._core.clock.real_s())  # from here alone: the loop turns and the writer lives
            if self._publisher is not None:
                self._publisher.look(self._service.status, self._core.clock.real_s())
        if self._faults:
            raise Refusal(f"the daemon failed: {self._faults[0]}; start it again, nothing committed is lost", 1)

    async def stop(self) -> None:
        """Stop links and API, and see the last readings into the journal."""
        self._manager.stopping()
        self._ways.close()
        remove_runtime(self._home, self.front.token)
        self._core.let_links_end()
        for link in self._links.values():
            link.stop()
        if self._hub is not None:
            self._hub.stop()
        self._overlook.end()
        self._core.drain_last()
        self._core.flush()
        self._core.herald.followers.tell(None)  # their streams end, rather than being cut off
        await self.front.end()
        for task in self._tasks:
            if task.get_name() in ("calls", "commands", "whereabouts"):
                task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)
        if not self._writer.close():
            why = self._core.trouble or "the disk may be full"
            self._say(f"the journal could not take the last readings in: {why}")
        elif not self._writer.alive() and not self._place.fault():  # a log of the same name may be another's by now
            self._store.db.close()
            self._db.close()  # the last one out merges the log in: the journal is one file again

    # -- what the parts tell ---------------------------------------------------------------------------------

    def _decoder(self, name: str) -> Decoder:
        sensor = next(s for s in self._settings.sensor if s.name == name)
        return make_decoder(sensor, from_start=sensor.link == "recording", runs=True)

    def _on_call(self, ring: Ring, again: bool) -> None:
        core, now_us = self._core, self._core.clock.dose_us()
        if ring.kind == TEST:
            return  # of the buzzer alone
        exposure = core.bench.exposures.get(ring.exposure)
        if again and exposure is not None:
            track = core.bench.channels[ring.sensor].track
            words, t_us = f"again: {told_again(exposure, ring, track, now_us)}", now_us
        else:
            words, t_us = ring.text, ring.t_us
        at = local_time(core.label(t_us))
        self._say(f"{at}  CALL {words}{self._bell}")
        self._ways.call(ring, f"{at}  {words}", core.clock.real_s())

    def _on_hush(self, exposure: int, key: str) -> None:
        self._ways.hush(exposure, key)

    def _on_way(self, way: str, line: str) -> None:
        """From any thread: a way of calling has come into a trouble, or out of it."""
        with contextlib.suppress(RuntimeError):  # the loop has ended
            self._loop.call_soon_threadsafe(self._tell_way, way, line)

    def _tell_way(self, way: str, line: str) -> None:
        self._upkeep.troubled(trouble_words(way, line) if line else "", f"calls go out by {way} again", "call")

    def _ways_troubled(self) -> list[str]:
        return self._ways.troubles() + (self._publisher.troubles() if self._publisher is not None else [])

    def _on_event(self, event: EventDoc) -> None:
        if event.sensor is not None and event.event in ("alarm", "cleared", "gap"):
            line = f"{local_time(from_iso(event.utc))}  {event.event} {event.sensor}: {event_words(event)}"
            self._say(line)
            channel = self._core.bench.channels.get(event.sensor)
            self._ways.of_sensor(event, line, channel is not None and channel.lit)
        if self._publisher is not None:
            self._publisher.event(event)

    def _on_fault(self, _: asyncio.AbstractEventLoop, context: dict[str, object]) -> None:
        """A fault in a callback would leave the daemon half alive: it ends, loudly, and can be started again."""
        error = context.get("exception")
        if isinstance(error, OSError) and error.errno in (errno.EMFILE, errno.ENFILE):
            # Too many connections: the API cannot be reached for a while, and the count goes on.
            self._say("ALARM too many open files: connections are turned away; the count goes on")
            return
        if context.get("protocol") is not None:
            self._say(f"a connection of the API failed: {error!r}; the count goes on")
            return
        self._faults.append(repr(error or context.get("message")))
        self._stopping.set()
