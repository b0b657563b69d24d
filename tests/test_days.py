"""How long the daemon keeps a day that another process made, and what becomes of one that fails."""

from __future__ import annotations

import asyncio
from pathlib import Path

import msgspec
import pytest
from support.alone import alone

from uvdose import days
from uvdose.clock import FixedClock
from uvdose.days import OVER_S, RUNNING_S, Answer, Days, Mark, Task
from uvdose.model import Refusal
from uvdose.settings_bench import BenchSettings
from uvdose.stamps import day_bounds

TODAY, OVER = "2026-06-21", "2026-06-20"


class Bench:
    """Days, and in place of the other process a count of how often it was asked."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, answer: Answer | Exception | bytes | None = None) -> None:
        self.clock = FixedClock(0, day_bounds(TODAY)[0] + 3_600_000_000)
        self.mark: Mark = (1, 1)
        self.asked: list[tuple[str, str | None]] = []
        self.answer = answer
        monkeypatch.setattr(days, "done_apart", self.made)
        self.days = Days(BenchSettings("bindery"), Path("/nonexistent"), self.clock, lambda: self.mark)

    async def made(self, module: str, task: bytes, limit_s: float) -> bytes:
        asked = msgspec.json.decode(task, type=Task)
        assert (module, asked.bench.name) == ("day_process", "bindery") and limit_s > 0
        self.asked.append((asked.kind, asked.date))
        if isinstance(self.answer, Exception):
            raise self.answer
        if isinstance(self.answer, bytes):
            return self.answer
        return msgspec.json.encode(self.answer or Answer(f"{asked.kind} {len(self.asked)}", "sha256-x"))


@pytest.mark.parametrize(("date", "good_s"), [(OVER, OVER_S), (TODAY, RUNNING_S), (None, RUNNING_S)])
def test_a_day_is_kept_until_something_happens_or_it_is_old(
    monkeypatch: pytest.MonkeyPatch, date: str | None, good_s: float
) -> None:
    bench = Bench(monkeypatch)

    async def run() -> None:
        first = await bench.days.page(date)
        bench.clock.advance(good_s - 1)
        assert await bench.days.page(date) == first == ("page 1", "sha256-x")
        bench.mark = (2, 1)
        assert await bench.days.page(date) == ("page 2", "sha256-x"), "something happened"
        bench.mark = (2, 2)
        assert await bench.days.page(date) == ("page 3", "sha256-x"), "something was said"
        bench.clock.advance(good_s + 1)
        assert await bench.days.page(date) == ("page 4", "sha256-x"), "it was old"

    alone(run)


def test_page_and_document_are_two_things_and_a_few_are_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    bench = Bench(monkeypatch)

    async def run() -> None:
        assert await bench.days.document(OVER) == b"json 1"
        assert (await bench.days.page(OVER))[0] == "page 2"
        assert await bench.days.document(OVER) == b"json 1"
        for day in range(1, days.KEEP + 1):
            await bench.days.page(f"2026-05-{day:02d}")
        before = len(bench.asked)
        await bench.days.document(OVER)
        assert len(bench.asked) == before + 1, "the oldest made room"

    alone(run)


def test_what_was_refused_is_kept_and_what_is_no_day_asks_nobody(monkeypatch: pytest.MonkeyPatch) -> None:
    bench = Bench(monkeypatch, Answer("", refused="no exposure in the journal yet", code=4))

    async def run() -> None:
        for _ in range(2):
            with pytest.raises(Refusal, match="no exposure"):
                await bench.days.page(None)
        assert len(bench.asked) == 1
        with pytest.raises(Refusal) as told:
            await bench.days.page("20260621")
        assert told.value.code == 2 and len(bench.asked) == 1

    alone(run)


@pytest.mark.parametrize("fault", [TimeoutError(), OSError("no more processes"), b"", b"rubbish", b"{}"])
def test_a_process_that_fails_is_a_refusal(monkeypatch: pytest.MonkeyPatch, fault: Exception | bytes) -> None:
    bench = Bench(monkeypatch, fault)

    async def run() -> None:
        for _ in range(2):
            with pytest.raises(Refusal, match="could not be made"):
                await bench.days.page(OVER)

    alone(run)
    assert len(bench.asked) == 2, "a fault is not kept"


def test_those_who_waited_for_what_failed_do_not_each_begin_it_anew(monkeypatch: pytest.MonkeyPatch) -> None:
    """Fifty phones ask for a day that takes longer than it may: it is tried once, and again when one asks later."""
    bench = Bench(monkeypatch, TimeoutError())
    answered = bench.made

    async def slow(module: str, task: bytes, limit_s: float) -> bytes:
        await asyncio.sleep(0)
        bench.clock.advance(limit_s)
        return await answered(module, task, limit_s)

    monkeypatch.setattr(days, "done_apart", slow)

    async def run() -> None:
        told = await asyncio.gather(*(bench.days.page(OVER) for _ in range(50)), return_exceptions=True)
        assert all(isinstance(one, Refusal) and "could not be made" in one.line for one in told)
        assert len(bench.asked) == 1
        with pytest.raises(Refusal, match="could not be made"):
            await bench.days.page(OVER)

    alone(run)
    assert len(bench.asked) == 2


def test_one_who_asks_for_many_days_and_goes_away_does_not_keep_others_waiting(monkeypatch: pytest.MonkeyPatch) -> None:
    """What is known is given at once, whoever waits; and only some days wait to be made."""
    bench = Bench(monkeypatch)
    answered = bench.made
    go = asyncio.Event()

    async def held(module: str, task: bytes, limit_s: float) -> bytes:
        await go.wait()
        return await answered(module, task, limit_s)

    async def run() -> None:
        first = await bench.days.page(None)
        monkeypatch.setattr(days, "done_apart", held)
        many = [asyncio.create_task(bench.days.page(f"2025-{k // 28 + 1:02d}-{k % 28 + 1:02d}")) for k in range(300)]
        await asyncio.sleep(0)
        assert await bench.days.page(None) == first
        go.set()
        told = await asyncio.gather(*many, return_exceptions=True)
        busy = [one for one in told if isinstance(one, Refusal)]
        assert len(busy) == 300 - days.MOST_WAITING and all("again in a moment" in one.line for one in busy)
        assert len(bench.asked) == 1 + days.MOST_WAITING
        assert (await bench.days.page("2024-01-01"))[0].startswith("page"), "there is room again"

    alone(run)
