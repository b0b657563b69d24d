"""The daemon: the only place that joins settings, clock, links, bench, journal, calls and API."""

from __future__ import annotations

import asyncio
import contextlib
import os
import secrets
import signal
import sqlite3
from collections.abc import Callable

import msgspec

from .call.publish import Publisher
from .clock import HostClock, local_time, next_epoch
from .config import Home, Settings, load_settings, split_listen
from .core import Core
from .decode import make_decoder
from .decode.base import Decoder
from .dose.response import identity_of, response_of
from .exposure.bench import Bench, Ring
from .home import Runtime, lock, remove_runtime, write_runtime
from .intake import MqttHub, make_links
from .journal.recorder import Recorder
from .journal.replay import resume
from .journal.schema import home_id, open_reading, open_writing
from .journal.store import Store
from .journal.writer import Writer
from .messages import EventDoc
from .model import Refusal
from .service import BenchService
from .web.app import make_app
from .web.server import bind, make_server, url_of

Say = Callable[[str], None]

WATCH_S = 0.5


def serve(home: Home, pace: float, say: Say) -> None:
    """Run the daemon until SIGTERM or SIGINT. `say` prints one line. Raises `Refusal` when it cannot begin or go on."""
    settings = load_settings(home)
    with lock(home, "uvdose serve"):
        asyncio.run(_run(home, settings, pace, say))


async def _run(home: Home, settings: Settings, pace: float, say: Say) -> None:
    socket = bind(*split_listen(settings.web.listen, str(home.settings_file)))
    db = open_writing(home.journal_file)
    store = Store(open_reading(home.journal_file))
    stopping = asyncio.Event()
    loop = asyncio.get_running_loop()
    for number in (signal.SIGTERM, signal.SIGINT):
        loop.add_signal_handler(number, stopping.set)

    clock = _begin_epoch(db, store, pace)
    bench = Bench(pace)
    for sensor in settings.sensor:
        bench.add_sensor(sensor.name, identity_of(sensor), response_of(sensor))
    resume(store, bench, clock.dose_us())

    links, hub = make_links(settings, clock, home.folder)
    publisher = _publisher(hub, settings)
    troubles: list[str] = []
    recorder = Recorder(db, lambda t_us: clock.wall_us() - (clock.dose_us() - t_us))
    known = [recorder.sensor(c.identity) for c in bench.channels.values()]

    def on_trouble(line: str) -> None:
        loop.call_soon_threadsafe(troubles.append, line)

    writer = Writer(db, on_trouble)

    def on_event(event: EventDoc) -> None:
        if event.event in ("alarm", "cleared", "gap"):
            say(f"{_clock_time(event)}  {event.event} {event.sensor}: {_words(event)}")
        if publisher is not None:
            publisher.event(event)

    def on_call(ring: Ring) -> None:
        say(f"{local_time(core.label(ring.t_us))}  CALL {ring.text}\a")

    by_name = {s.name: s for s in settings.sensor}

    def decoder_for(name: str) -> Decoder:
        return make_decoder(by_name[name], from_start=by_name[name].link == "recording")

    core = Core(bench, clock, recorder, writer, links, decoder_for, on_call, on_event)
    core.commit([statement for statements in known for statement in statements])
    home_number = home_id(db)
    service = BenchService(core, store, settings.bench.name, home_number)
    token = secrets.token_urlsafe(24)
    server = make_server(make_app(service, token))
    tasks = [asyncio.create_task(core.tell(), name="calls"), asyncio.create_task(server.serve([socket]), name="api")]
    try:
        for call in store.open_calls():
            core.reopen(Ring(call.exposure, call.key, call.kind, call.sensor, call.t_us, call.insist, call.text))
        if hub is not None:
            hub.start(core.sink)
        for link in links.values():
            link.start(core.sink)
        core.tick()
        while not server.started and not stopping.is_set():
            await asyncio.sleep(0.005)
        write_runtime(home, Runtime(url_of(socket), home_number, token, os.getpid()))
        say(f"ready {url_of(socket)}")
        await _watch(stopping, core, writer, tasks, troubles, say, publisher, service)
    finally:
        remove_runtime(home)
        for link in links.values():
            link.stop()
        if hub is not None:
            hub.stop()
        core.drain()
        core.flush()
        server.should_exit = True
        for task in tasks[1:]:
            with contextlib.suppress(asyncio.CancelledError):
                await task
        tasks[0].cancel()
        if not writer.close():
            say("the journal could not take the last readings in; the disk may be full")


async def _watch(
    stopping: asyncio.Event, core: Core, writer: Writer, tasks: list[asyncio.Task[None]], troubles: list[str],
    say: Say, publisher: Publisher | None, service: BenchService,
) -> None:
    """Until the end: publish the state, tell what troubles the journal, and see that nothing has died."""
    while not stopping.is_set():
        with contextlib.suppress(TimeoutError):
            await asyncio.wait_for(stopping.wait(), WATCH_S)
        for line in troubles:
            core.trouble = f"the journal cannot be written: {line}" if line else ""
            say(f"ALARM {core.trouble}; calls go on" if line else "the journal is written again")
        troubles.clear()
        for task in tasks:
            if task.done() and not stopping.is_set():
                raise Refusal(f"the part {task.get_name()!r} of the daemon has ended: {task.exception()!r}", 1)
        if not writer.alive():
            raise Refusal("the journal's writer has died; start the daemon again, nothing committed is lost", 1)
        if publisher is not None:
            publisher.state(service.status(), core.clock.real_s())


def _begin_epoch(db: sqlite3.Connection, store: Store, pace: float) -> HostClock:
    last = store.last_epoch()
    epoch = next_epoch(last, *store.last_times(), pace)
    if epoch != last:
        db.execute("INSERT INTO epoch (epoch) VALUES (?)", (msgspec.json.encode(epoch).decode(),))
    return HostClock(epoch)


def _publisher(hub: MqttHub | None, settings: Settings) -> Publisher | None:
    if hub is None:
        return None
    return Publisher(lambda topic, payload, retain: hub.publish(topic, payload, retain), settings.bench.name)


def _clock_time(event: EventDoc) -> str:
    return event.utc[11:19] + "Z"


def _words(event: EventDoc) -> str:
    if event.event == "gap":
        return f"{event.data.get('seconds', 0):.0f} s without a reading, {event.data.get('kind')}"
    return str(event.data.get("line") or event.data.get("alarm"))
