"""The outlook for whoever asks the daemon: reckoned in a process of its own, one at a time, and shared for two minutes.

It takes a second or two of a core and the memory that numpy wants: neither is the daemon's, and the count goes first.
"""

from __future__ import annotations

import asyncio
from pathlib import Path

import msgspec

from .apart import done_apart
from .clock import Clock
from .config import Settings
from .foretold import OutlookDoc, Question
from .light.lies import ClearLight
from .model import Refusal

FRESH_S = 120.0
LIMIT_S = 60.0
KEEP = 16
MOST_TARGETS, MAX_TEXT = 16, 200
FAILED = "the outlook could not be reckoned; `uvdose outlook` beside the daemon says why"


class Task(msgspec.Struct, frozen=True):
    """What the other process gets. question: None asks for the clear light of each sensor. now_us: wall time."""

    journal: str
    settings: Settings
    question: Question | None
    now_us: int


class Answer(msgspec.Struct, frozen=True):
    """What it answers: an outlook, or why there is none."""

    outlook: OutlookDoc | None
    refused: str = ""
    code: int = 4
    clear: dict[str, ClearLight] = {}


class Outlooks:
    """The outlooks of one daemon. Runs on its loop."""

    def __init__(self, settings: Settings, journal: Path, clock: Clock) -> None:
        self._settings = settings
        self._journal = journal
        self._clock = clock
        self._known: dict[Question, tuple[float, int, Answer]] = {}
        self._turn = asyncio.Lock()

    async def outlook(self, names: list[str], date: str | None, sensor: str | None, revision: int) -> OutlookDoc:
        """Of these targets (none: all that fit), today or on a date, by the light of a sensor where it is named.

        revision: of what may be chosen; where it has changed, nothing of before is told. Raises `Refusal`.
        """
        if len(names) > MOST_TARGETS or any(len(text) > MAX_TEXT for text in (*names, date or "", sensor or "")):
            raise Refusal(f"outlook: give at most {MOST_TARGETS} targets and a date and a sensor", 2)
        question = Question(tuple(dict.fromkeys(names)), date, sensor=sensor)
        async with self._turn:  # many who ask at once must not take all cores
            known = self._known.pop(question, None)
            if known is None or known[1] != revision or self._clock.real_s() - known[0] > FRESH_S:
                known = (self._clock.real_s(), revision, await self._reckon(question))
            self._known[question] = known
            while len(self._known) > KEEP:
                self._known.pop(next(iter(self._known)))
        answer = known[2]
        if answer.outlook is None:
            raise Refusal(answer.refused, answer.code)
        return answer.outlook

    async def clear(self) -> dict[str, ClearLight]:
        """What each sensor says of a clear sky, from now on for a day. Raises `Refusal`."""
        async with self._turn:
            return (await self._reckon(None)).clear

    async def _reckon(self, question: Question | None) -> Answer:
        task = Task(str(self._journal), self._settings, question, self._clock.wall_us())
        try:
            out = await done_apart("outlook_process", msgspec.json.encode(task), LIMIT_S)
            return msgspec.json.decode(out, type=Answer)
        except (TimeoutError, OSError, msgspec.MsgspecError):
            raise Refusal(FAILED) from None
