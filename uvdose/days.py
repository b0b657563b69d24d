"""The review of a day for whoever asks the daemon: made by a process of its own, one at a time, and kept.

A day that is over stands until something happens or is said; one that still runs is made anew after a while as well,
since its light goes on. The drawing program stays out of the daemon.
"""

from __future__ import annotations

import asyncio
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Literal, NamedTuple

import msgspec

from .apart import done_apart
from .clock import Clock
from .model import Refusal
from .settings_bench import BenchSettings
from .stamps import day_bounds

RUNNING_S, OVER_S = 20.0, 600.0
LIMIT_S = 60.0
KEEP = 12
MOST_WAITING = 8  # different days, some ten seconds of work
FAILED = "the day could not be made; `uvdose day` beside the daemon says why"
BUSY = f"{MOST_WAITING} days are being made already: ask again in a moment"

Mark = tuple[int, int]
"""The newest event and the newest note of the journal: while they stay, a day that is over stays."""
Kind = Literal["page", "json"]
_Key = tuple[Kind, str | None]


class Task(msgspec.Struct, frozen=True):
    """What the other process gets. date: YYYY-MM-DD, None for the newest day with prints."""

    journal: str
    bench: BenchSettings
    date: str | None
    kind: Kind


class Answer(msgspec.Struct, frozen=True):
    """What it answers: the page or the document as text, or why there is none. style: the hash of the page's styles,
    as a policy names it."""

    text: str
    style: str = ""
    refused: str = ""
    code: int = 4


class _Known(NamedTuple):
    at_s: float
    good_s: float
    mark: Mark
    answer: Answer


class Days:
    """The days of one daemon. Runs on its loop. mark: tells the journal's."""

    def __init__(self, bench: BenchSettings, journal: Path, clock: Clock, mark: Callable[[], Mark]) -> None:
        self._bench = bench
        self._journal = journal
        self._clock = clock
        self._mark = mark
        self._known: dict[_Key, _Known] = {}
        self._failed_s: dict[_Key, float] = {}
        self._waiting: Counter[_Key] = Counter()
        self._turn = asyncio.Lock()

    async def page(self, date: str | None) -> tuple[str, str]:
        """A day's page, and the hash of its styles. Raises `Refusal`."""
        answer = await self._answer("page", date)
        return answer.text, answer.style

    async def document(self, date: str) -> bytes:
        """A day as JSON, as `uvdose day --json` has it. Raises `Refusal`."""
        return (await self._answer("json", date)).text.encode()

    async def _answer(self, kind: Kind, date: str | None) -> Answer:
        over = date is not None and day_bounds(date)[1] < self._clock.wall_us()
        key = (kind, date)
        known = self._fresh(key) or await self._in_turn(key, OVER_S if over else RUNNING_S)
        if known.answer.refused:
            raise Refusal(known.answer.refused, known.answer.code)
        return known.answer

    def _fresh(self, key: _Key) -> _Known | None:
        known = self._known.get(key)
        if known is None or known.mark != self._mark() or self._clock.real_s() - known.at_s > known.good_s:
            return None
        self._known[key] = self._known.pop(key)  # the newest is let go of last
        return known

    async def _in_turn(self, key: _Key, good_s: float) -> _Known:
        """One at a time: many who ask at once must not take all cores, nor keep others waiting without end."""
        if key not in self._waiting and len(self._waiting) >= MOST_WAITING:
            raise Refusal(BUSY)
        asked_s = self._clock.real_s()
        self._waiting[key] += 1
        try:
            async with self._turn:
                if self._failed_s.get(key, asked_s) > asked_s:
                    raise Refusal(FAILED)  # while this one waited: fifty who wait would else spend a minute each
                known = self._fresh(key)
                if known is None:
                    mark, now_s = self._mark(), self._clock.real_s()
                    self._known.pop(key, None)
                    known = self._known[key] = _Known(now_s, good_s, mark, await self._made(*key))
                while len(self._known) > KEEP:
                    self._known.pop(next(iter(self._known)))
                return known
        finally:
            self._waiting[key] -= 1
            if not self._waiting[key]:
                del self._waiting[key]

    async def _made(self, kind: Kind, date: str | None) -> Answer:
        task = Task(str(self._journal), self._bench, date, kind)
        try:
            out = await done_apart("day_process", msgspec.json.encode(task), LIMIT_S)
            return msgspec.json.decode(out, type=Answer)
        except (TimeoutError, OSError, msgspec.MsgspecError):
            self._failed_s = {(kind, date): self._clock.real_s()}
            raise Refusal(FAILED) from None
