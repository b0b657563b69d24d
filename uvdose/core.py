"""The core of the daemon: input and acts go through the bench, what it decides is committed, then called.

Everything here runs on the daemon's one event loop. Links and the journal's writer have threads of their own and
only hand things over. What is decided is committed before it is called; a commit that fails or takes longer than
200 ms does not hold the call up.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Container
from concurrent.futures import Future

from .call.desk import Desk
from .call.herald import Herald
from .call.self_calls import SelfCalls
from .clock import Clock
from .decode.base import Decoder
from .decode.native import frame_command
from .exposure.bench import Bench
from .exposure.calls import TEST
from .exposure.document import document, label_fact
from .exposure.exposure import Exposure
from .exposure.news import Press
from .exposure.outcome import Outcome, Ring
from .intake.link import Chunk, Link, LinkState
from .intake.waiting import Waiting
from .journal.recorder import Recorder
from .journal.writer import Statement, Writer
from .messages import EventDoc, ExposureDoc
from .model import Answer, Fact
from .stamps import iso_utc
from .timeleft import TimeLeft
from .units import US_PER_S

FLUSH_S = 1.0
FLUSH_CHUNKS = 8  # packing many at once would hold up whoever asks meanwhile
TURN_S = 0.01  # so long the input has the loop before others have their turn
IDLE_S = 1.0
KEEP_SETTLED = 8  # at hand; the journal has the others


class Core:
    """Bench, journal and calls, joined. `on_event` sees each event after its commit; it must not block."""

    def __init__(
        self,
        bench: Bench,
        clock: Clock,
        recorder: Recorder,
        writer: Writer,
        links: dict[str, Link],
        make_decoder: Callable[[str], Decoder],
        on_call: Callable[[Ring, bool], None],
        on_event: Callable[[EventDoc], None],
        on_hush: Callable[[int, str], None] = lambda exposure, key: None,
    ) -> None:
        self.bench = bench
        self.clock = clock
        self.recorder = recorder
        self.writer = writer
        self.trouble = ""
        self._links = links
        self._make_decoder = make_decoder
        self._decoders = {name: make_decoder(name) for name in bench.channels}
        self._native = {name for name, c in bench.channels.items() if c.identity.format == "native"}
        self.heard_test: Callable[[str], None] = lambda sensor: None
        self.on_press: Callable[[Press], None] = lambda press: None
        self.desk = Desk(self.send, lambda s: s in self._native, on_call, self._proven)
        self.self_calls = SelfCalls(bench, self.send, self.tell_fact)
        self.herald = Herald(bench, self.desk, clock.real_s, on_event, on_hush)
        self.time_left = TimeLeft()
        self._who = recorder.store.known_who()
        self._queue = Waiting()
        self._loop = asyncio.get_running_loop()
        self._timer: asyncio.TimerHandle | None = None
        self._flushed_s = 0.0
        self._unflushed = False
        self._woken = False

    # -- input -----------------------------------------------------------------------------------------------

    def sink(self, item: Chunk | LinkState) -> None:
        """For links: enqueue only, from any thread but the loop's. A link that floods waits here."""
        self._queue.put(item)
        if not self._woken:
            self._woken = True
            self._loop.call_soon_threadsafe(self.drain)

    def drain(self) -> None:
        """Work through what has arrived, in turns with all else that the loop has to do."""
        end_s = self.clock.real_s() + TURN_S
        while self._take_one():
            if self.clock.real_s() > end_s:
                self._loop.call_soon(self.drain)
                break
        else:
            self._woken = False
            if self._queue and not self._woken:  # put in just before, by a link that saw no need to wake the loop
                self._woken = True
                self._loop.call_soon(self.drain)
        # Here as well as in `tick`: a fast sensor moves the timer on before it ever fires.
        self._flush_when_due(self.clock.real_s())
        self._schedule()

    def drain_last(self) -> None:
        """Work through all of it, when the daemon ends and the links are stopped."""
        while self._take_one():
            pass

    def let_links_end(self) -> None:
        """No link waits for room any more."""
        self._queue.end()

    def _take_one(self) -> bool:
        item = self._queue.take()
        if isinstance(item, LinkState):
            self._link_state(item)
        elif item is not None:
            self._chunk(item)
        return item is not None

    def _chunk(self, chunk: Chunk) -> None:
        decoder = self._decoders[chunk.sensor]
        items = decoder.message(chunk.data) if chunk.whole else decoder.feed(chunk.data)
        for item in items:
            if isinstance(item, Answer):
                self._answer(chunk.sensor, item.text)
        out = self.bench.take(chunk.sensor, items, chunk.arrival_us)
        for news in out.news:
            self.self_calls.heard(news)
        self.settle(out)
        for press in out.presses:
            self.on_press(press)

    def _link_state(self, state: LinkState) -> None:
        line = f"{state.why}; {state.mend}" if state.mend else state.why
        self.settle(self.bench.link(state.sensor, state.up, line, self.clock.dose_us()))
        if state.up:
            # A stream begins anew, perhaps inside a line: the end of the last one must not be glued to it.
            self._decoders[state.sensor] = self._make_decoder(state.sensor)
            if state.sensor in self._native:
                self.send(state.sensor, "who")
                self.self_calls.arming.link_up(state.sensor)
                self.desk.link_up(state.sensor, self.clock.real_s())

    def _answer(self, sensor: str, text: str) -> None:
        """`ok who` tells gain and full scale, which belong to the sensor's identity; the rest is the desk's."""
        if not text.startswith("ok who "):
            self.desk.answer(sensor, text, self.clock.real_s())
            self.self_calls.arming.answer(sensor, text, self.clock.real_s())
            return
        was, self._who[sensor] = self._who.get(sensor), text
        if was != text:
            self.writer.commit(self.recorder.who(sensor, text))
            self.settle(self.bench.introduced(sensor, was, text, self.clock.dose_us()))
            self.flush_with(self.recorder.sensor(self.bench.channels[sensor].introduced(text)))

    # -- deciding, committing, calling -----------------------------------------------------------------------

    def settle(self, out: Outcome) -> Future[None] | None:
        """See an outcome through; returns its commit when it has one of its own."""
        for sensor in out.asks:
            if sensor in self._native:
                self.send(sensor, "now")
        if out.readings:
            self.recorder.keep_readings(out.readings)
            self._unflushed = True
        if not out.pressing:
            return None
        for fact in out.facts:
            name = {"voided": "finished"}.get(fact.name, fact.name)
            if fact.exposure is not None and fact.exposure in self.bench.exposures:
                label_fact(self.bench.exposures[fact.exposure].labels, name, iso_utc(self.label(fact.t_us)))
        documents = {e.id: self.document(e) for e in out.changed}
        statements, events = self.recorder.outcome(out, documents)
        done = self.writer.commit([*self._flush(documents), *statements])
        self.herald.put(done, out, events)
        if out.acts or out.refined or out.hushes:
            self.self_calls.look(self.clock.real_s())
        return done

    async def tell(self) -> None:
        """Runs for ever: call and tell what has been committed, in order."""
        while True:
            await self.herald.one(lambda: bool(self.trouble))
            self._schedule()

    def reopen(self, ring: Ring) -> None:
        """A call that the last run left open."""
        if ring.exposure in self.bench.exposures:
            self.desk.ring(ring, self.clock.real_s(), again=True)

    def count_in(self, sensor: str, seconds: int) -> None:
        """Beeps before a start."""
        self.desk.count_in(sensor, seconds, self.clock.real_s())

    def beep(self, sensor: str, buzz: str) -> None:
        """A short buzz that is no call, where none sounds."""
        self.desk.beep(sensor, buzz, self.clock.real_s())

    def send(self, sensor: str, command: str) -> bool:
        """A command to a node; False when there is no way to it now."""
        link = self._links.get(sensor)
        return link is not None and link.send(frame_command(command))

    def document(self, exposure: Exposure) -> ExposureDoc:
        """An exposure as it stands now."""
        channel = self.bench.channels[exposure.plan.sensor]
        now_us, wall_s = self.clock.dose_us(), self.clock.wall_us() / US_PER_S
        left = self.time_left.of(exposure, channel, now_us, wall_s, self.clock.real_s())
        return document(exposure, channel.track, now_us, sorted(channel.health.active), left)

    def label(self, t_us: int) -> int:
        """The wall time that belongs to a dose time."""
        return self.clock.wall_us() - (self.clock.dose_us() - t_us)

    def commit(self, statements: list[Statement]) -> Future[None]:
        """Commit what is no outcome of the bench."""
        return self.writer.commit(statements)

    def flush(self) -> None:
        """Hand the readings taken in so far to the journal; in trouble they wait there, packed and merged."""
        if self._unflushed:
            self.writer.commit(self._flush())

    def flush_with(self, statements: list[Statement]) -> Future[None]:
        """Hand over the readings and some statements, together."""
        return self.writer.commit([*self._flush(), *statements])

    def _flush(self, written: Container[int] = ()) -> list[Statement]:
        """written: exposures that the same commit writes anyway."""
        self._unflushed = False
        self._flushed_s = self.clock.real_s()
        running = [(e, self.document(e)) for e in self.bench.running() if e.id not in written]
        return [*self.recorder.flush(), *(self.recorder.exposure(e, doc) for e, doc in running)]

    def _proven(self, ring: Ring) -> None:
        if ring.kind == TEST:
            return self.heard_test(ring.sensor)
        if not ring.insist:
            self.bench.proven(ring.exposure, ring.key)
        self.writer.commit(self.recorder.proven(ring.exposure, ring.key, self.clock.dose_us()))

    def tell_fact(
        self, name: str, exposure: int | None, sensor: str, data: dict[str, object], t_us: int | None = None
    ) -> None:
        """Something happened that the bench does not know of."""
        out = Outcome()
        out.facts.append(Fact(self.clock.dose_us() if t_us is None else t_us, name, exposure, sensor, data))
        self.settle(out)

    # -- time ------------------------------------------------------------------------------------------------

    def tick(self) -> None:
        """Time passed."""
        self.settle(self.bench.tick(self.clock.dose_us()))
        now_s = self.clock.real_s()
        self.desk.tick(now_s)
        self._flush_when_due(now_s)
        self._schedule()

    def _flush_when_due(self, now_s: float) -> None:
        if now_s - self._flushed_s >= FLUSH_S:
            for sensor, on in self._queue.floods(now_s).items():
                self.settle(self.bench.alarm(sensor, "flood", on, self.clock.dose_us()))
            self.self_calls.look(now_s)
            self.flush()
            self.bench.forget_settled(KEEP_SETTLED)
        elif self.recorder.full_chunks >= FLUSH_CHUNKS:
            self.flush()

    def _schedule(self) -> None:
        now_us = self.clock.dose_us()
        wait_s = min(IDLE_S, (self.bench.next_us(now_us) - now_us) / US_PER_S / self.clock.pace)
        desk_s = self.desk.due_s()
        if desk_s is not None:
            wait_s = min(wait_s, desk_s - self.clock.real_s())
        if self._timer is not None:
            self._timer.cancel()
        self._timer = self._loop.call_later(max(0.0005, wait_s), self.tick)

