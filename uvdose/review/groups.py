"""Prints summed up by what they have in common: a label, a paper, a month."""

from __future__ import annotations

from collections.abc import Callable

import msgspec

from ..journal.store import Store
from ..stamps import from_iso, local_date
from .prints import TONES, PrintRow, Sought, rows
from .spread import mean_and_spread


class Group(msgspec.Struct, frozen=True):
    """Prints that have something in common. mean_stops, spread_stops: of the finished ones from the dose that they
    aimed at, the spread a standard deviation; None where there are too few. unjudged: without a tone."""

    name: str
    prints: int
    finished: int
    mean_stops: float | None
    spread_stops: float | None
    light: int
    right: int
    dark: int
    unjudged: int
    newest_utc: str


class GroupsDoc(msgspec.Struct, frozen=True):
    """Groups, that with the newest print first. found: how many groups there are in all; prints: in all of them."""

    by: str
    found: int
    prints: int
    groups: list[Group]


BY: dict[str, Callable[[PrintRow], str]] = {
    "label": lambda p: p.label,
    "target": lambda p: p.target,
    "process": lambda p: p.process or "",
    "paper": lambda p: p.paper or "",
    "coat": lambda p: p.coat or "",
    "film": lambda p: p.film or "",
    "frame": lambda p: p.frame,
    "sensor": lambda p: p.sensor,
    "edition": lambda p: p.part.name if p.part is not None else "",
    "day": lambda p: local_date(from_iso(p.begun_utc)),
    "month": lambda p: local_date(from_iso(p.begun_utc))[:7],
}


def group(store: Store, sought: Sought, by: str, limit: int) -> GroupsDoc:
    """The same, summed up by one of `BY`. Raises `Refusal`."""
    named = BY[by]
    gathered: dict[str, list[PrintRow]] = {}
    for row in rows(store, sought):
        gathered.setdefault(named(row), []).append(row)
    groups = [_group(name, some) for name, some in list(gathered.items())[:limit]]
    return GroupsDoc(by, len(gathered), sum(map(len, gathered.values())), groups)


def _group(name: str, some: list[PrintRow]) -> Group:
    stops = [row.stops for row in some if row.stops is not None]
    mean, spread = mean_and_spread(stops)
    tones = [row.tone for row in some]
    light, right, dark = (tones.count(tone) for tone in TONES)
    finished = sum(row.state == "finished" for row in some)
    return Group(name, len(some), finished, mean, spread, light, right, dark, tones.count(None), some[0].begun_utc)
