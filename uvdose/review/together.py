"""A day of several benches in one document: each as its own journal tells it, beside each other and never mixed.

Doses of different benches are not added up: two kinds of sensor do not agree on one.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, NamedTuple

import msgspec

from ..journal.store import Store
from ..messages import RecountDoc
from ..model import Refusal
from ..stamps import day_bounds, use_zone
from ..units import minutes, percent
from .day import Day
from .gather import gather
from .layout import columns, figure, shorten, stops_text, unit_text
from .recount import recount

LABEL = 20


class Member(NamedTuple):
    """One bench's journal. path: as it was named; zone: whose clocks its days go by, None for the machine's."""

    name: str
    path: str
    home: str
    zone: str | None
    store: Store


class BenchDay(NamedTuple):
    """One bench's day."""

    member: Member
    day: Day


class NotCounted(msgspec.Struct, frozen=True):
    """A print that cannot be counted again, and why."""

    id: int
    why: str


class BenchRecounts(msgspec.Struct, frozen=True):
    """The prints of one bench's day, counted again."""

    bench: str
    recounts: list[RecountDoc]
    not_counted: list[NotCounted]


def days_of(members: list[Member], date: str) -> list[BenchDay]:
    """The day of each, by its own clocks. Raises `Refusal`."""
    found = []
    for member in members:
        use_zone(member.zone)
        found.append(BenchDay(member, gather(member.store, date)))
    use_zone(None)
    return found


def as_json(date: str, found: list[BenchDay], left_out: list[str]) -> dict[str, Any]:
    """The document. `day` of each is what `day --json` of that bench is, to the last bit."""
    totals = [one.day.totals for one in found]
    return {
        "date": date,
        "benches": [
            {"bench": m.name, "journal": m.path, "home": m.home, "day": day.as_json()} for m, day in found
        ],
        "left_out": left_out,
        "totals": {
            key: sum(getattr(t, key) for t in totals)
            for key in ("begun", "finished", "void", "aimed", "reached", "near", "lit_s", "missing_s", "held_s")
        },
    }


def recounts_of(found: list[BenchDay]) -> list[BenchRecounts]:
    """Every print that began on the day, counted again from the raw readings of its own journal."""
    told = []
    for member, day in found:
        done, not_counted = [], []
        for one in day.prints:
            try:
                done.append(recount(member.store, one.document.id))
            except Refusal as why:
                not_counted.append(NotCounted(one.document.id, why.line))
        told.append(BenchRecounts(member.name, done, not_counted))
    return told


def refuse_shared(date: str, shared: list[tuple[Member, Member, int]]) -> None:
    """Raises `Refusal` where a day lies in the past that two journals share. shared: with the end of that past."""
    for one, other, until_us in shared:
        use_zone(one.zone)
        begin_us = day_bounds(date)[0]
        use_zone(None)
        if begin_us <= until_us:
            raise shared_past(one, other)


def shared_past(one: Member, other: Member) -> Refusal:
    """What to say where two would tell the same twice."""
    return Refusal(
        f"{one.path} and {other.path} began as one journal, and this lies in the past that both hold: it would be told"
        " twice; name one of the two, or a later day"
    )


def render(date: str, found: list[BenchDay]) -> str:
    """The day of all benches as text."""
    prints = sum(len(one.day.prints) for one in found)
    lines = [f"{date}: {len(found)} benches, {prints} exposure{'s' if prints != 1 else ''}", ""]
    rows = [["bench", "prints", "finished", "reached", "within 1/6 stop", "spread, stops", "wait for a word"]]
    for (name, *_), day in found:
        t = day.totals
        spread = "-" if t.stops_low is None else f"{stops_text(t.stops_low)} to {stops_text(t.stops_high)}"
        rows.append([name, str(t.begun), str(t.finished), f"{t.reached} of {t.aimed}", f"{t.near} of {t.aimed}", spread,
                     str(len(day.waiting))])  # fmt: skip
    lines += columns(rows, right=(1, 2))
    if prints:
        lines += ["", *columns(list(_print_rows(found)), right=(1, 5, 6, 8))]
    for member, day in found:
        if day.waiting:
            lines += ["", f"bench {member.name} waits: {', '.join(w.what for w in day.waiting)}"]
    return "\n".join([*lines, "", "Each bench counts by its own sensors: doses of two are not the same thing.", ""])


def _print_rows(found: list[BenchDay]) -> Iterator[list[str]]:
    yield ["bench", "id", "label", "frame", "target", "asked", "given", "unit", "stops", "in the light", "state"]
    for member, day in found:
        for one in day.prints:
            d = one.document
            yield [
                member.name, str(d.id), shorten(d.label or "-", LABEL), shorten(d.frame, 12), shorten(d.title, LABEL),
                figure(d.target_dose), figure(d.dose), unit_text(d.unit), stops_text(one.stops), minutes(one.lit_s),
                d.state if d.state != "counting" else f"{d.state}, {percent(d.fraction)}",
            ]  # fmt: skip


def recount_lines(told: list[BenchRecounts]) -> list[str]:
    """The same as text, and how it came out."""
    rows = [["bench", "id", "given", "unit", "readings", "counted again"]]
    for bench in told:
        rows += [
            [bench.bench, str(d.id), figure(d.dose), unit_text(d.unit), str(d.readings),
             "NOT the same" if not d.same else "the same, bit for bit"]
            for d in bench.recounts
        ]  # fmt: skip
        rows += [[bench.bench, str(d.id), "-", "-", "-", d.why] for d in bench.not_counted]
    return columns(rows, right=(1, 2, 4))
