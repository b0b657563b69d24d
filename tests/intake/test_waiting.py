"""What links hand over is bounded: one that floods waits in its own thread, and the others and the loop go on."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Callable
from pathlib import Path

import pytest
from bench.pipeline import NAME, NATIVE, lit_core, native_line, register_readings
from support.alone import alone

import uvdose.core
from uvdose.intake.link import Chunk, LinkState
from uvdose.intake.waiting import Waiting


def _thread(run: Callable[[], None]) -> threading.Thread:
    thread = threading.Thread(target=run, daemon=True)
    thread.start()
    return thread


def test_a_flood_waits_and_others_go_on() -> None:
    waiting = Waiting(most_bytes=100)
    chunk = Chunk("sill", b"x" * 60, 0)
    waiting.put(chunk)
    waiting.put(chunk)
    assert waiting.crowded() == set()
    third = _thread(lambda: waiting.put(chunk))
    while not (crowded := waiting.crowded()):
        third.join(0.001)
    assert crowded == {"sill"} and third.is_alive() and len(waiting) == 2
    waiting.put(Chunk("roof", b"x" * 60, 0))
    waiting.put(LinkState("sill", False, "gone"))
    assert third.is_alive(), "there is still no room for it"
    assert waiting.take() == chunk
    third.join(10)
    kinds = [type(item).__name__ for item in iter(waiting.take, None)]
    assert kinds == ["Chunk", "Chunk", "LinkState", "Chunk"] and waiting.take() is None


def test_messages_are_bounded_by_their_number_too() -> None:
    waiting = Waiting(most_chunks=2)
    for _ in range(2):
        waiting.put(Chunk("roof", b"", 0, whole=True))
    third = _thread(lambda: waiting.put(Chunk("roof", b"", 0, whole=True)))
    while not waiting.crowded():
        third.join(0.001)
    waiting.end()
    third.join(10)
    assert not third.is_alive() and len(waiting) == 3, "at the end nobody waits, and nothing is lost"


def test_input_and_all_else_take_turns(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(uvdose.core, "TURN_S", 0.0)

    async def run() -> list[int]:
        core, journal = lit_core(tmp_path, NATIVE, 50)
        for reading in register_readings(50, 100):
            core.sink(Chunk(NAME, native_line(reading), core.clock.dose_us()))
        seen = []
        while len(core._queue):
            await asyncio.sleep(0)
            seen.append(core.bench.channels[NAME].readings)
        journal.close()
        return seen

    assert alone(run) == list(range(1, 51))


def test_a_flood_is_told_and_its_end(monkeypatch: pytest.MonkeyPatch) -> None:
    waiting = Waiting()
    told: list[dict[str, bool]] = []

    def at(second: float, crowded: set[str]) -> None:
        monkeypatch.setattr(waiting, "crowded", lambda: set(crowded))
        found = waiting.floods(second)
        if found:
            told.append(found)

    at(100.0, {"sill"})
    at(101.0, {"sill"})
    at(107.0, set())  # it was short: a backlog, and its end is told though it never was a flood
    assert told.pop() == {"sill": False} and told == []
    for second in range(200, 203):
        at(float(second), {"sill"})
    assert told == []
    at(203.0, {"sill"})
    at(206.0, set())
    at(208.5, set())
    assert told[0] == {"sill": True} and told[-1] == {"sill": False}


def test_the_core_tells_a_flood_as_an_alarm(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    async def run() -> list[tuple[str, str]]:
        core, journal = lit_core(tmp_path, NATIVE, 50)
        told: list[tuple[str, str]] = []
        core.herald._on_event = lambda event: told.append((event.event, event.data.get("alarm", "")))
        telling = asyncio.create_task(core.tell())
        for on in (True, False):
            monkeypatch.setattr(core._queue, "floods", lambda now_s, on=on: {NAME: on})
            core._flush_when_due(core.clock.real_s() + 10)
        while len(told) < 3:
            await asyncio.sleep(0.001)
        telling.cancel()
        journal.close()
        return told

    assert alone(run) == [("started", ""), ("alarm", "flood"), ("cleared", "flood")]

