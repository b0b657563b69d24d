"""Live streams without a browser: one document for all, nothing kept for the slow, nothing done for nobody."""

from __future__ import annotations

import asyncio
import contextlib
import json
from collections.abc import AsyncIterator, Callable
from typing import Any

import pytest
from support.alone import alone

from uvdose.call.following import Followers
from uvdose.listed import LightDoc, ListsDoc, QueueDoc, TargetDoc
from uvdose.messages import EventDoc, StatusDoc
from uvdose.model import Refusal
from uvdose.web.live import BEAT_S, MOST_HAPPENED, MOST_STREAMS, Live


class Bench:
    """What a stream is made of, counted."""

    home_id = "home"

    def __init__(self) -> None:
        self.built = 0
        self.revision = 0
        self.followers = Followers()
        self.fails = False
        self.showing = self

    def status(self) -> StatusDoc:
        if self.fails:
            raise OSError("the disk is gone")
        self.built += 1
        return StatusDoc("bindery", f"{self.built}", [], [])

    def coming(self) -> AsyncIterator[EventDoc]:
        return self.followers.follow()

    def happens(self, number: int) -> None:
        self.followers.tell(EventDoc(number, "", "held", 1, "sill"))

    def targets(self) -> list[TargetDoc]:
        return []

    def queue(self) -> QueueDoc:
        return QueueDoc()

    def follow(self, changed: Callable[[], None]) -> None:
        self.changed = changed

    def lists(self) -> ListsDoc:
        return ListsDoc([], [], [])

    async def light(self, number: int) -> LightDoc:
        raise Refusal(f"no exposure {number}")


class Reader:
    """A page that reads all that comes, until it is closed."""

    def __init__(self, live: Live) -> None:
        self.stream = live.stream("act")
        self.got: list[tuple[str, Any]] = []
        self.task = asyncio.create_task(self._read())

    async def _read(self) -> None:
        async for data in self.stream:
            self.got += parse(data)

    def names(self) -> list[str]:
        return [name for name, _ in self.got]

    async def close(self) -> None:
        self.task.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await self.task
        await self.stream.aclose()  # type: ignore[attr-defined]


def parse(data: bytes) -> list[tuple[str, Any]]:
    found = []
    for block in data.decode().strip().split("\n\n"):
        lines = dict(line.split(": ", 1) for line in block.split("\n"))
        found.append((lines["event"], json.loads(lines["data"])))
    return found



def test_a_page_is_told_all_at_once_then_what_changes() -> None:
    async def run() -> None:
        bench = Bench()
        live = Live(bench)
        page = Reader(live)
        await asyncio.sleep(0.05)
        assert page.names() == ["hello", "status", "lists"]
        assert page.got[0][1] == {"home": "home", "role": "act"}
        bench.happens(1)
        await asyncio.sleep(0.25)
        assert page.names()[3:] == ["happened", "status"]
        bench.revision += 1
        bench.happens(2)
        await asyncio.sleep(0.25)
        assert sorted(page.names()[5:]) == ["happened", "lists", "status"]
        await page.close()

    alone(run)


def test_lists_that_change_are_told_without_waiting_for_a_beat() -> None:
    async def run() -> None:
        bench = Bench()
        page = Reader(Live(bench))
        await asyncio.sleep(0.05)
        bench.revision += 1
        bench.changed()
        await asyncio.sleep(BEAT_S / 4)
        assert sorted(page.names()[3:]) == ["lists", "status"]
        await page.close()

    alone(run)


def test_one_document_serves_all_and_changes_are_bundled() -> None:
    async def run() -> None:
        bench = Bench()
        live = Live(bench)
        pages = [Reader(live) for _ in range(50)]
        await asyncio.sleep(0.1)
        before = bench.built
        assert before <= 2
        for number in range(1, 31):
            bench.happens(number)
            await asyncio.sleep(0.01)
        await asyncio.sleep(0.3)
        # Thirty changes over 0.3 s (more on a busy machine), at most ten documents a second.
        assert 2 <= bench.built - before <= 20
        for page in pages:
            assert page.names().count("happened") == 30
            assert page.got[-1][1]["utc"] == str(bench.built)
            await page.close()

    alone(run)


def test_a_slow_page_skips_to_the_newest() -> None:
    async def run() -> None:
        bench = Bench()
        live = Live(bench)
        slow = live.stream("view")
        first = parse(await anext(slow))
        assert first == [("hello", {"home": "home", "role": "view"})]
        await anext(slow)
        for number in range(1, 2 * MOST_HAPPENED):
            bench.happens(number)
            await asyncio.sleep(0)
        await asyncio.sleep(0.5)
        bench.happens(1000)
        await asyncio.sleep(0.3)
        waiting = parse(await anext(slow))
        names = [name for name, _ in waiting]
        assert names.count("status") == 1 and names.count("happened") == MOST_HAPPENED
        assert waiting[-1] == ("status", waiting[-1][1]) and waiting[-1][1]["utc"] == str(bench.built)
        assert waiting[-2][1]["id"] == 1000
        await slow.aclose()  # type: ignore[attr-defined]

    alone(run)


def test_nothing_runs_for_nobody_and_silence_never_lasts() -> None:
    async def run() -> None:
        bench = Bench()
        live = Live(bench)
        page = Reader(live)
        await asyncio.sleep(BEAT_S + 0.4)
        assert page.names().count("status") >= 2  # a beat, though nothing has changed
        await page.close()
        built, tasks = bench.built, len(asyncio.all_tasks())
        await asyncio.sleep(0)
        bench.happens(1)
        await asyncio.sleep(BEAT_S + 0.2)
        assert bench.built == built and tasks <= 3
        assert len(asyncio.all_tasks()) == 1

    alone(run)


def test_streams_end_with_the_daemon_and_when_no_status_can_be_had() -> None:
    async def run() -> None:
        for end in ("daemon", "status"):
            bench = Bench()
            live = Live(bench)
            page = Reader(live)
            await asyncio.sleep(0.15)
            if end == "daemon":
                bench.followers.tell(None)
            else:
                bench.fails = True
                bench.happens(1)
            await asyncio.wait_for(page.task, 2)

    alone(run)


def test_there_is_an_end_to_how_many_pages() -> None:
    async def run() -> None:
        live = Live(Bench())
        pages = [Reader(live) for _ in range(MOST_STREAMS)]
        await asyncio.sleep(0.1)
        with pytest.raises(Refusal, match="open already"):
            live.check()
        for page in pages:
            await page.close()
        live.check()

    alone(run)
