"""Imagined prints as a table within 80 columns and a line that sums them up, and as a document."""

from __future__ import annotations

from statistics import median
from typing import Any

import msgspec

from ..exposure.target import Target
from ..stamps import iso_utc, local_date, local_time
from ..units import minutes
from .layout import columns, figure, stops_text, unit_text, wrap
from .suppose import Imagined

WIDTH = 80
HALF_S_US = 500_000
NEAR = 0.10  # of the target: what most processes forgive


class Three(msgspec.Struct, frozen=True):
    """The least, the middle and the most."""

    least: float
    median: float
    most: float


class SummaryDoc(msgspec.Struct, frozen=True):
    """All starts together. needed_s: of those that reached the target. clock_share: what the clock's time gave over the
    target; clock_within: the share of the starts for which that lay within 10 %.
    """

    starts: int
    known: int
    reached: int
    needed_s: Three | None
    clock_share: Three | None
    clock_within: float | None


class SupposedDoc(msgspec.Struct, frozen=True):
    """The document of `suppose --json`: what was imagined, each start, and all of them together."""

    target: str
    target_version: int
    target_dose: float
    unit: str
    sensor: str
    clock_s: float | None
    differs: list[str]
    starts: list[dict[str, Any]]
    summary: SummaryDoc


class Supposed(msgspec.Struct, frozen=True):
    """What was imagined: prints by local day. differs: what an override passed over."""

    target: Target
    sensor: str
    clock_s: float | None
    differs: list[str]
    prints: list[Imagined]


def summary(what: Supposed) -> SummaryDoc:
    """All starts together."""
    known = [p for p in what.prints if p.known]
    needed = [p.needed_s for p in known if p.needed_s is not None]
    shares = [share for p in known if (share := p.share(what.target)) is not None]
    within = sum(abs(share - 1) <= NEAR for share in shares) / len(shares) if shares else None
    return SummaryDoc(len(what.prints), len(known), len(needed), _three(needed), _three(shares), within)


def _three(values: list[float]) -> Three | None:
    return Three(min(values), median(values), max(values)) if values else None


def document(what: Supposed) -> SupposedDoc:
    """For programs."""
    starts = []
    for p in what.prints:
        start: dict[str, Any] = {"begin_utc": iso_utc(p.begin_us), "known": p.known}
        if p.known:
            start |= {
                "reached_utc": None if p.reached_us is None else iso_utc(p.reached_us), "needed_s": p.needed_s,
                "dose": p.dose, "bridged_s": p.bridged_s, "missing_s": p.missing_s,
            }
            if what.clock_s is not None:
                start |= {
                    "clock_dose": p.clock_dose, "clock_share": p.share(what.target),
                    "clock_stops": p.stops(what.target), "clock_missing_s": p.clock_missing_s,
                }
        starts.append(start)
    target = what.target
    return SupposedDoc(
        target.name, target.version, target.dose, target.unit, what.sensor, what.clock_s, what.differs, starts,
        summary(what),
    )


def render(what: Supposed) -> str:
    """For a person: each start of one day, or each day of several; then all of them in a line."""
    target = what.target
    lines = wrap(
        f"{target.title}, {figure(target.dose)} {unit_text(target.unit)}, imagined on the readings of {what.sensor}",
        width=WIDTH,
    )
    for line in what.differs:
        lines += wrap(f"mind: {line}", "  ", width=WIDTH)
    days: dict[str, list[Imagined]] = {}
    for p in what.prints:
        days.setdefault(local_date(p.begin_us), []).append(p)
    lines.append("")
    lines += _of_a_day(what) if len(days) == 1 else _of_days(what, days)
    return "\n".join([*lines, "", *wrap(_sum_up(what), width=WIDTH)])


def _of_a_day(what: Supposed) -> list[str]:
    head = ["begun", "reached", "needed"]
    if what.clock_s is not None:
        head += [f"in {minutes(what.clock_s)}", "stops"]
    rows = [[*head, ""]]
    for p in what.prints:
        if not p.known:
            rows.append([local_time(p.begin_us), *["-"] * (len(head) - 1), "no readings then"])
            continue
        reached = "-" if p.reached_us is None else local_time(p.reached_us + HALF_S_US)  # as `needed` is rounded
        row = [local_time(p.begin_us), reached, minutes(p.needed_s)]
        if what.clock_s is not None:
            row += [_share(p.share(what.target)), stops_text(p.stops(what.target))]
        rows.append([*row, _remark(what, p)])
    return columns(rows, right=range(2, len(head)))


def _remark(what: Supposed, p: Imagined) -> str:
    """What is to be minded of one start."""
    told = []
    if p.dose is not None:
        told.append(f"{figure(p.dose)} {unit_text(what.target.unit)} by the end")
    missing_s = max(p.missing_s, p.clock_missing_s)
    if missing_s:
        told.append(f"{minutes(missing_s)} missing")
    elif p.bridged_s:
        told.append(f"{minutes(p.bridged_s)} bridged")
    return ", ".join(told)


def _of_days(what: Supposed, days: dict[str, list[Imagined]]) -> list[str]:
    head = ["day", "starts", "reached", "least", "median", "most"]
    if what.clock_s is not None:
        head += [f"in {minutes(what.clock_s)}", "to", "+-10 %"]
    rows = [head]
    for day, prints in days.items():
        found = summary(msgspec.structs.replace(what, prints=prints))
        row = [day, str(found.starts), str(found.reached), *_minutes(found.needed_s)]
        if what.clock_s is not None:
            share = found.clock_share
            row += ["-", "-"] if share is None else [_share(share.least), _share(share.most)]
            row.append(_share(found.clock_within))
        rows.append(row)
    return columns(rows, right=range(1, len(head)))


def _minutes(three: Three | None) -> list[str]:
    return ["-"] * 3 if three is None else [minutes(s) for s in (three.least, three.median, three.most)]


def _share(share: float | None) -> str:
    return "-" if share is None else f"{share * 100:.0f} %"


def _sum_up(what: Supposed) -> str:
    found = summary(what)
    if found.starts == found.known == 1 and (one := what.prints[0]).reached_us is not None and what.clock_s is None:
        return f"begun at {local_time(one.begin_us)}, it reaches the target after {minutes(one.needed_s)}"
    text = f"{found.reached} of {found.known} starts reach the target"
    if found.needed_s is not None:
        text += " in {} to {}, in the middle {}".format(
            *(minutes(s) for s in (found.needed_s.least, found.needed_s.most, found.needed_s.median))
        )
    if found.clock_share is not None and what.clock_s is not None:
        share = found.clock_share
        text += (
            f"; {minutes(what.clock_s)} by the clock give {_share(share.least)} to {_share(share.most)} of it, in the"
            f" middle {_share(share.median)}, and {_share(found.clock_within)} of them lie within 10 % of it"
        )
    unknown = found.starts - found.known
    return text + (f"; of {unknown} more nobody knows the light" if unknown else "")
