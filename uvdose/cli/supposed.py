"""`uvdose suppose`: a print imagined on readings that are kept. Reads the journal; a daemon is not needed."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Annotated

import typer

from .options import HomeDir, Json, home_of, stretch_of

if TYPE_CHECKING:
    from ..journal.store import Store
    from ..review.labels import Labels
    from ..review.suppose import Bed

Text = str | None
MOST_STARTS = 50_000
_US = 1_000_000


def suppose(
    target: Annotated[str, typer.Argument(metavar="TARGET", help="The target's name.")],
    sensor: Annotated[Text, typer.Option(metavar="NAME", help="By its readings; else the target's sensor.")] = None,
    at: Annotated[Text, typer.Option("--at", metavar="TIME", help="Begun then: 2026-06-21T10:40.")] = None,
    day: Annotated[Text, typer.Option(metavar="DATE", help="Begun all through this day, or this month: 2026-06.")]
    = None,
    every: Annotated[Text, typer.Option(metavar="TIME", help="With --day: begun each 10min, unless said.")] = None,
    between: Annotated[Text, typer.Option(metavar="HH:MM-HH:MM", help="With --day: begun between these only.")] = None,
    clock: Annotated[Text, typer.Option(metavar="TIME", help="And what a fixed time would have given: 9min.")] = None,
    override: Annotated[bool, typer.Option("--override", help="Though the target is bound to another sensor.")] = False,
    as_json: Json = False,
    home: HomeDir = None,
) -> None:
    """What the light of a past day would have done to a print.

    It tells when it would have reached its target. Counted as a print is counted; nothing is kept.
    """
    from ..dose.response import identity_response
    from ..exposure.target import check_fit
    from ..model import Refusal
    from ..review.suppose import Imagined, bed_of, imagine
    from ..review.suppose_text import Supposed, document, render
    from .asking import day_typed, journal
    from .show import print_json, say

    if (at is None) == (day is None):
        raise Refusal("say either --at TIME or --day DATE: when the print is to be begun", 2)
    if at is not None and (every is not None or between is not None):
        raise Refusal("--every and --between go with --day; leave them out", 2)
    clock_s = stretch_of("clock", clock) if clock is not None else None
    every_s = stretch_of("every", every or "10min")
    place = home_of(home)
    day = day_typed(place, day)
    with journal(place) as store:
        wanted = store.versions(target)[-1]
        bed = bed_of(store, wanted, sensor)
        days = [_at(store, bed, at)] if at is not None else _starts(store, bed, day or "", every_s, between)
        if sum(len(begins) for _, begins in days) > MOST_STARTS:
            raise Refusal(f"that is more than {MOST_STARTS} starts: say a longer --every", 2)
        identity = bed.identities[-1]
        differs = check_fit(wanted, identity, identity_response(identity), override)
        prints: list[Imagined] = []
        for labels, begins in days:
            prints += imagine(store, wanted, bed, labels, begins, round(clock_s * _US) if clock_s else None, override)
    found = Supposed(wanted, bed.sensor, clock_s, differs, prints)
    if as_json:
        print_json(document(found))
    else:
        say(render(found))


def _at(store: Store, bed: Bed, text: str) -> tuple[Labels, list[int]]:
    """The local day of one start, and the start."""
    from ..model import Refusal
    from ..review.labels import Labels
    from ..stamps import at_local, day_bounds, local_date, local_moment

    try:
        if not re.match(r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d", text):
            raise ValueError(text)
        begin_us = at_local(text.replace(" ", "T"), 0)
        day = local_date(begin_us)
        bare = re.fullmatch(r"(\d{4}-\d\d-\d\d)[T ](\d\d:\d\d)(:\d\d(\.\d+)?)?", text)
        if bare is not None and not local_moment(begin_us).startswith(f"{bare[1]} {bare[2]}"):
            raise ValueError(text)  # clocks leapt over it
    except (ValueError, OverflowError):
        raise Refusal(f"--at {text!r}: give day and time, such as 2026-06-21T10:40, local or with Z", 2) from None
    return Labels(store, bed.sensor, *day_bounds(day), bed.zero_at), [begin_us]


def _starts(store: Store, bed: Bed, text: str, every_s: float, between: str | None) -> list[tuple[Labels, list[int]]]:
    """Each day that has readings, with its starts."""
    from ..model import Refusal
    from ..review.labels import Labels
    from ..stamps import day_bounds

    days: list[tuple[Labels, list[int]]] = []
    none: Refusal | None = None
    for day in _days(text):
        wall0_us, wall1_us = day_bounds(day)
        try:
            labels = Labels(store, bed.sensor, wall0_us, wall1_us, bed.zero_at)
        except Refusal as err:
            none = none or err
            continue
        span = _between(wall0_us, wall1_us, between) if between is not None else labels.lit
        if span is None:
            continue
        step = round(every_s * _US)
        first = wall0_us + -(-(span[0] - wall0_us) // step) * step if between is None else span[0]
        if begins := list(range(first, span[1] + 1, step)):
            days.append((labels, begins))
    if not days:
        raise none or Refusal(f"no light in the readings of {bed.sensor} on {text}, nothing can be imagined")
    return days


def _days(text: str) -> list[str]:
    from calendar import monthrange

    found = re.fullmatch(r"(\d{4})-(0[1-9]|1[0-2])", text)
    if found is None:
        return [text]
    return [f"{text}-{day:02d}" for day in range(1, monthrange(int(found[1]), int(found[2]))[1] + 1)]


def _between(wall0_us: int, wall1_us: int, text: str) -> tuple[int, int]:
    """Two times of day as wall labels of a day."""
    from ..model import Refusal
    from ..stamps import at_local, local_date

    found = re.fullmatch(r"(\d{1,2}:\d\d)-(\d{1,2}:\d\d)", text)
    try:
        if found is None:
            raise ValueError(text)
        date = local_date(wall0_us)
        ends = [at_local(f"{date}T{end.zfill(5)}", 0) for end in found.groups()]
        # Where midnight comes twice the second one begins the day: the hour after the first is the day's before.
        ends = [end if end >= wall0_us else at_local(time.zfill(5), wall1_us - 1)
                for end, time in zip(ends, found.groups(), strict=True)]  # fmt: skip
    except ValueError:
        raise Refusal(f"--between {text!r}: give two times of day, such as 10:00-15:30", 2) from None
    if ends[0] > ends[1]:
        raise Refusal(f"--between {text}: the first lies after the second", 2)
    return ends[0], ends[1]


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command()(suppose)
