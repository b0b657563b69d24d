"""What follows from one step of the bench: what to keep, whom to call, whom to ask."""

from __future__ import annotations

from typing import TYPE_CHECKING

import msgspec

from ..model import Fact, Mark, Reading, RegisterRun

if TYPE_CHECKING:  # a call is read out of the journal without what counts it
    from .exposure import Exposure
    from .news import News, Press
    from .record import ActRecord


class Ring(msgspec.Struct, frozen=True):
    """A call to make: of an exposure, by its key; `insist` until the person acknowledges it."""

    exposure: int
    key: str
    kind: str
    sensor: str
    t_us: int
    insist: bool
    text: str


Kept = tuple[str, int, Reading] | tuple[str, list[int], RegisterRun]
"""What the journal keeps of a sensor, by its name: a reading or a run of lines, with its dose time or theirs."""


class Outcome:
    """What follows from one step of the bench."""

    __slots__ = (
        "acts", "asks", "changed", "closed", "facts", "hushes", "news", "presses", "readings", "refined", "rings",
    )

    def __init__(self) -> None:
        self.readings: list[Kept] = []
        self.news: list[News] = []
        self.presses: list[Press] = []
        self.facts: list[Fact] = []
        self.acts: list[tuple[int, ActRecord]] = []
        self.refined: list[tuple[int, int, Mark]] = []
        self.closed: list[tuple[int, ActRecord]] = []
        self.rings: list[Ring] = []
        self.hushes: list[tuple[int, str]] = []
        self.changed: list[Exposure] = []
        self.asks: list[str] = []

    @property
    def pressing(self) -> bool:
        """Whether it holds more than readings, so that it must be committed at once."""
        return bool(self.facts or self.acts or self.refined or self.rings or self.hushes or self.changed)
