"""The daemon: the only place that joins settings, clock, links, bench, journal, calls and API."""

from __future__ import annotations

import asyncio
import contextlib
import errno
import os
import secrets
import signal
import sqlite3
from collections.abc import Callable

import msgspec

from .call.publish import Publisher
from .call.speaker import Speaker
from .clock import HostClock, from_iso, local_time, next_epoch
from .config import Home, Settings, load_settings, split_listen
from .core import Core
from .decode import make_decoder
from .decode.base import Decoder
from .dose.response import identity_of, response_of
from .exposure.bench import Bench
from .exposure.outcome import Outcome, Ring
from .exposure.telling import told_again
from .home import Runtime, lock, lock_identity, remove_runtime, write_runtime
from .intake import make_links
from .journal.care import forget_told, look_after, untold
from .journal.place import Place
from .journal.recorder import Recorder
from .journal.replay import resume
from .journal.schema import home_id, open_reading, open_writing
from .journal.store import Store
from .journal.writer import Writer
from .messages import EventDoc
from .model import Fact, Refusal
from .service import BenchService
from .showing import Showing
from .web.app import make_app
from .web.server import bind, make_server, url_of

Say = Callable[[str], None]

WATCH_S = 0.5


def serve(home: Home, pace: float, say: Say) -> None:
    """Run the daemon until SIGTERM or SIGINT. `say` prints one line. Raises `Refusal` when it cannot begin or go on."""
    settings = load_settings(home)
    with lock(home, "uvdose serve"):
        asyncio.run(_serve(home, settings, pace, say))


async def _serve(home: Home, settings: Settings, pace: float, say: Say) -> None:
    speaker = Speaker(say)
    try:
        daemon = Daemon(home, settings, pace, speaker.say)
        try:
            await daemon.start()
            await daemon.watch()
        finally:
            await daemon.stop()
    finally:
        speaker.close()


class Daemon:
    """One bench at work. Make it inside a running loop; `start`, `watch` until the end, `stop` in any case."""

    def __init__(self, home: Home, settings: Settings, pace: float, say: Say) -> None:
        self._home = home
        self._settings = settings
        self._say = say
        self._loop = asyncio.get_running_loop()
        self._stopping = asyncio.Event()
        self._faults: list[str] = []
        self._troubles: list[str] = []
        self._given_up = 0
        self._tasks: list[asyncio.Task[None]] = []

        self._socket = bind(*split_listen(settings.web.listen, str(home.settings_file)))
        for line in look_after(home.journal_file):
            say(f"ALARM {line}")
        db = open_writing(home.journal_file)
        self._db = db
        self._store = Store(open_reading(home.journal_file))
        self._home_id = home_id(db)
        clock = _begin_epoch(db, self._store, pace)
        bench = Bench(pace)
        for sensor in settings.sensor:
            bench.add_sensor(sensor.name, identity_of(sensor), response_of(sensor))
        resume(self._store, bench, clock.dose_us())

        self._links, self._hub = make_links(settings, clock, home.folder)
        hub = self._hub
        self._publisher = (
            Publisher(lambda topic, payload, retain: hub.publish(topic, payload, retain), settings.bench.name)
            if hub is not None
            else None
        )
        recorder = Recorder(db, lambda t_us: clock.wall_us() - (clock.dose_us() - t_us))
        sensors = [statement for c in bench.channels.values() for statement in recorder.sensor(c.identity)]
        self._place = Place(home.journal_file)
        self._locked = lock_identity(home)
        self._writer = Writer(db, self._on_trouble, place=self._place)
        self._core = Core(
            bench, clock, recorder, self._writer, self._links, self._decoder, self._on_call, self._on_event
        )
        self._core.commit(sensors)
        for line in untold(db):
            self._tell_journal("alarm", line)
            self._core.commit(forget_told())
        showing = Showing(self._core, self._store, lambda: Store(open_reading(home.journal_file)))
        self._service = BenchService(self._core, self._store, settings.bench.name, self._home_id, showing)
        self._token = secrets.token_urlsafe(24)
        self._server = make_server(make_app(self._service, self._token), say)

    # -- life ------------------------------------------------------------------------------------------------

    async def start(self) -> None:
        """Start every link and the API, call what the last run left open, and say `ready`."""
        for number in (signal.SIGTERM, signal.SIGINT):
            self._loop.add_signal_handler(number, self._stopping.set)
        self._loop.set_exception_handler(self._on_fault)
        self._tasks = [
            asyncio.create_task(self._core.tell(), name="calls"),
            asyncio.create_task(self._server.serve([self._socket]), name="api"),
        ]
        for call in self._store.open_calls():
            self._core.reopen(call)
        if self._hub is not None:
            self._hub.start(self._core.sink)
        for link in self._links.values():
            link.start(self._core.sink)
        self._core.tick()
        while not self._server.started and not self._stopping.is_set():
            await asyncio.sleep(0.005)
        write_runtime(self._home, Runtime(url_of(self._socket), self._home_id, self._token, os.getpid()))
        self._say(f"ready {url_of(self._socket)}")

    async def watch(self) -> None:
        """Until the end: publish the state, tell what troubles the journal, and see that nothing has died."""
        while not self._stopping.is_set():
            with contextlib.suppress(TimeoutError):
                await asyncio.wait_for(self._stopping.wait(), WATCH_S)
            self._look_at_home()
            self._tell_troubles()
            for task in self._tasks:
                if task.done() and not self._stopping.is_set():
                    self._faults.append(f"{task.get_name()} has ended: {task.exception()!r}")
            if not self._writer.alive():
                self._faults.append("the journal's writer has died")
            if self._faults:
                break
            if self._publisher is not None:
                self._publisher.state(self._service.status(), self._core.clock.real_s())
        if self._faults:
            raise Refusal(f"the daemon failed: {self._faults[0]}; start it again, nothing committed is lost", 1)

    async def stop(self) -> None:
        """Stop links and API, and see the last readings into the journal."""
        remove_runtime(self._home, self._token)
        self._core.let_links_end()
        for link in self._links.values():
            link.stop()
        if self._hub is not None:
            self._hub.stop()
        self._core.drain_last()
        self._core.flush()
        self._core.followers.tell(None)  # their streams end, rather than being cut off
        self._server.should_exit = True
        for task in self._tasks:
            if task.get_name() == "calls":
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
        return make_decoder(sensor, from_start=sensor.link == "recording")

    def _on_call(self, ring: Ring, again: bool) -> None:
        core, now_us = self._core, self._core.clock.dose_us()
        exposure = core.bench.exposures.get(ring.exposure)
        if again and exposure is not None:
            track = core.bench.channels[ring.sensor].track
            words = f"again: {told_again(exposure, ring, track, now_us)}"
            self._say(f"{local_time(core.label(now_us))}  CALL {words}\a")
        else:
            self._say(f"{local_time(core.label(ring.t_us))}  CALL {ring.text}\a")

    def _on_event(self, event: EventDoc) -> None:
        if event.sensor is not None and event.event in ("alarm", "cleared", "gap"):
            self._say(f"{local_time(from_iso(event.utc))}  {event.event} {event.sensor}: {_words(event)}")
        if self._publisher is not None:
            self._publisher.event(event)

    def _on_fault(self, _: asyncio.AbstractEventLoop, context: dict[str, object]) -> None:
        """A fault in a callback would leave the daemon half alive: it ends, loudly, and can be started again."""
        error = context.get("exception")
        if isinstance(error, OSError) and error.errno in (errno.EMFILE, errno.ENFILE):
            # Too many connections: the API cannot be reached for a while, and the count goes on.
            self._say("ALARM too many open files: connections are turned away; the count goes on")
            return
        self._faults.append(repr(error or context.get("message")))
        self._stopping.set()

    def _on_trouble(self, line: str) -> None:
        self._loop.call_soon_threadsafe(self._troubles.append, line)

    def _look_at_home(self) -> None:
        """Files that are taken away under a daemon are told, also while there is nothing to be written."""
        if not self._core.trouble and self._place.fault():
            self._core.commit([])  # the writer finds it, and goes on as for any disk that fails
        if self._locked is not None and lock_identity(self._home) != self._locked:
            self._locked = None
            line = f"{self._home.lock_file} was removed while the daemon runs: start no second one for this home"
            self._say(f"ALARM {line}")
            self._tell_journal("alarm", line)

    def _tell_troubles(self) -> None:
        for line in self._troubles:
            self._core.trouble = f"the journal cannot be written: {line}" if line else ""
            if line:
                self._say(f"ALARM {self._core.trouble}; calls go on")
                self._tell_journal("alarm", self._core.trouble)
            else:
                lost = self._writer.given_up - self._given_up
                self._given_up = self._writer.given_up
                again = f"the journal is written again; {f'{lost} readings were lost' if lost else 'nothing was lost'}"
                self._say(again)
                self._tell_journal("cleared", again)
        self._troubles.clear()

    def _tell_journal(self, name: str, line: str) -> None:
        """What befell the journal, as an event in it; while it cannot be written the event waits with the rest."""
        out = Outcome()
        out.facts.append(Fact(self._core.clock.dose_us(), name, None, None, {"alarm": "journal", "line": line}))
        self._core.settle(out)


def _begin_epoch(db: sqlite3.Connection, store: Store, pace: float) -> HostClock:
    last = store.last_epoch()
    epoch = next_epoch(last, *store.last_times(), pace)
    if epoch != last:
        try:
            db.execute("INSERT INTO epoch (epoch) VALUES (?)", (msgspec.json.encode(epoch).decode(),))
        except sqlite3.Error as err:
            raise Refusal(f"the journal cannot be written: {err}; make room on its disk, then start again") from None
    return HostClock(epoch)


def _words(event: EventDoc) -> str:
    if event.event == "gap":
        return f"{event.data.get('seconds', 0):.0f} s without a reading, {event.data.get('kind')}"
    return str(event.data.get("line") or event.data.get("alarm"))
