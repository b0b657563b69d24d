"""`uvdose together`: what several benches did, out of their journals, each as it is told at home."""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Iterator
from itertools import combinations
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NamedTuple

import typer

from ..model import Refusal
from .options import Json, file_of, file_to_write

if TYPE_CHECKING:
    from ..review.together import Member

group = typer.Typer(help="A class or a workshop: what several benches did, in one document.", no_args_is_help=False)

Text = str | None
Places = Annotated[
    list[str], typer.Argument(metavar="JOURNAL...", help="Homes, or journals copied from them; [NAME=]PATH.")
]
OnDay = Annotated[Text, typer.Option("--day", metavar="DATE", help="YYYY-MM-DD, today or yesterday; else the newest"
                                                                    " with exposures.")]  # fmt: skip
JOURNAL = "journal.sqlite3"
LONGEST_NAME = 40


class Read(NamedTuple):
    """Journals that are open. shared: pairs that began as one, and until when; left_out: a line for each copy.

    journals: the files of all that were named.
    """

    members: list[Member]
    shared: list[tuple[Member, Member, int]]
    left_out: list[str]
    journals: list[str]


@group.command("day")
def day(places: Places, on: OnDay = None, as_json: Json = False) -> None:
    """A day of several benches: each print under its bench's name and its own number, with the figures of home."""
    from ..review.together import as_json as document
    from ..review.together import days_of, refuse_shared, render
    from .show import note, print_json

    with read(places) as found:
        date = _date(found, on)
        refuse_shared(date, found.shared)
        days = days_of(found.members, date)
        told = document(date, days, found.left_out) if as_json else render(date, days)
    for line in found.left_out:
        note(line)
    if as_json:
        print_json(told)
    else:
        print(told, end="", flush=True)


@group.command("recount")
def recount(places: Places, on: OnDay = None, as_json: Json = False) -> None:
    """Count every print of a day again, of each bench, from its own raw readings; ends with 1 where one differs."""
    from ..review.together import days_of, recount_lines, recounts_of, refuse_shared
    from .show import note, print_json

    with read(places) as found:
        date = _date(found, on)
        refuse_shared(date, found.shared)
        told = recounts_of(days_of(found.members, date))
    for line in found.left_out:
        note(line)
    if as_json:
        print_json({"date": date, "benches": told})
    else:
        print("\n".join([date, "", *recount_lines(told)]), flush=True)
    if wrong := [f"{b.bench} {d.id}" for b in told for d in b.recounts if not d.same]:
        raise Refusal(f"not the same as kept: {', '.join(wrong)}; `uvdose recount` at its home says more", 1)


@group.command("export")
def export(
    places: Places,
    what: Annotated[str, typer.Option(help="exposures, events, readings, minutes, notes or targets.")] = "exposures",
    form: Annotated[str, typer.Option("--format", help="csv, jsonl or parquet.")] = "csv",
    on: Annotated[Text, typer.Option("--day", metavar="DATE", help="Of this day, by each bench's clocks.")] = None,
    out: Annotated[Text, typer.Option("--out", metavar="FILE", help="Into this file; else to standard output.")] = None,
    force: Annotated[bool, typer.Option("--force", help="With --out: replace FILE if it is there.")] = False,
) -> None:
    """What several journals hold, as one table with the bench in its first column."""
    from ..review.export import Wanted, refuse_unknown, write_several
    from ..review.export_forms import PARQUET, refuse_parquet
    from ..review.outfile import fresh_bytes, fresh_file
    from ..review.together import refuse_shared, shared_past
    from ..stamps import day_bounds, use_zone
    from .show import note

    refuse_unknown(what, form)
    if form == PARQUET:
        refuse_parquet()
        if out is None:
            raise Refusal("Parquet is no text: name a file with --out", 2)
    with read(places) as found, contextlib.ExitStack() as stack:
        if on is not None:
            refuse_shared(_date(found, on), found.shared)
        elif found.shared:
            raise shared_past(*found.shared[0][:2])
        benches = []
        for member in found.members:
            use_zone(member.zone)
            wanted = Wanted(*day_bounds(_date(found, on)), None) if on is not None else Wanted(0, 1 << 60, None)
            benches.append((member.name, member.store, wanted))
        use_zone(None)
        if out is None:
            sys.stdout.reconfigure(newline="")  # type: ignore[union-attr]
            count = write_several(benches, what, form, sys.stdout)
        else:
            fresh = fresh_bytes if form == PARQUET else fresh_file
            count = write_several(benches, what, form, stack.enter_context(fresh(_not_one_of(out, found), force)))
    for line in found.left_out:
        note(line)
    if out is not None:
        note(f"{count} {what} of {len(benches)} benches written to {out}")


@contextlib.contextmanager
def read(places: list[str]) -> Iterator[Read]:
    """The journals that were named, open. A copy of another of them is left out, and told. Raises `Refusal`."""
    from ..journal.others import kin

    with contextlib.ExitStack() as stack:
        members = [_opened(stack, text) for text in places]
        shared, left_out = [], []
        dropped: set[int] = set()
        for pair in combinations(range(len(members)), 2):
            found = None if dropped.intersection(pair) else kin(*(members[i].store for i in pair))
            if found is not None and found.whole is None:
                shared.append((*pair, found.until_us))
            elif found is not None and found.whole is not None:
                copy, kept = pair[found.whole], pair[1 - found.whole]
                dropped.add(copy)
                holds = f"is a copy of {members[kept].path}, which holds all of it"
                left_out.append(f"{members[copy].path} {holds}: left out")
        stays = [m for i, m in enumerate(members) if i not in dropped]
        for one, other in combinations(stays, 2):
            if one.name == other.name:
                raise Refusal(f"{one.path} and {other.path} are both called {one.name}: say which is which, such as"
                              f" {one.name}-2={other.path}", 2)  # fmt: skip
        began_as_one = [(members[i], members[k], us) for i, k, us in shared if not dropped & {i, k}]
        yield Read(stays, began_as_one, left_out, [m.path for m in members])


def _opened(stack: contextlib.ExitStack, text: str) -> Member:
    from ..config import SETTINGS_NAME
    from ..journal.others import looked_at
    from ..journal.schema import home_id
    from ..review.together import Member
    from ..settings_bench import name_in, timezone_in
    from ..stamps import zone_fault

    name, equals, rest = text.partition("=")
    if equals and not name:
        raise Refusal(f"{text}: say NAME=PATH, such as porch=copies/porch.sqlite3", 2)
    named, path = (name, file_of(rest)) if equals and not Path(text).exists() else ("", file_of(text))
    journal = path / JOURNAL if path.is_dir() else path
    settings = journal.with_name(SETTINGS_NAME)
    zone = timezone_in(settings)
    if zone is not None and (fault := zone_fault(zone)):
        raise Refusal(f"{settings}: bench.timezone: {fault}")
    own = name_in(settings) if settings.is_file() else journal.parent.name if journal.name == JOURNAL else journal.stem
    if not (named or own).isprintable() or len(named or own) > LONGEST_NAME:
        raise Refusal(f"{journal}: give its bench a name of up to {LONGEST_NAME} letters, as NAME={path.name}", 2)
    store = stack.enter_context(looked_at(journal))
    return Member(named or own, str(journal), home_id(store.db), zone, store)


def _date(found: Read, on: str | None) -> str:
    """The day that was named, or the newest with prints of any. Raises `Refusal`."""
    from datetime import date, timedelta

    from ..clock import host_wall_us
    from ..stamps import local_date, use_zone

    if on is not None:
        back = {"today": 0, "yesterday": 1}.get(on.strip().lower())
        return on if back is None else (
            date.fromisoformat(local_date(host_wall_us())) - timedelta(days=back)
        ).isoformat()
    newest = []
    for member in found.members:
        use_zone(member.zone)
        if (wall_us := member.store.last_day_wall_us()) is not None:
            newest.append(local_date(wall_us))
    use_zone(None)
    if not newest:
        raise Refusal("no exposure in any of these journals: `--day` names a day all the same")
    return max(newest)


def _not_one_of(out: str, found: Read) -> Path:
    """Raises `Refusal` for what belongs to one of the journals, or to its home."""
    from ..config import Home

    for journal in [Path(text).resolve() for text in found.journals]:
        path = file_to_write(out, Home(journal.parent), journal)
    return path


def register(app: typer.Typer) -> None:
    """Add the group."""
    app.add_typer(group, name="together")
