"""Looking back: `uvdose day`, `days`, `export`, `recount`. All read the journal; none needs the daemon."""

from __future__ import annotations

import contextlib
import sys
from typing import TYPE_CHECKING, Annotated

import typer

from .options import HomeDir, Json, file_to_write, home_of, whole_id

if TYPE_CHECKING:
    from ..config import Home
    from ..journal.store import Store
    from ..messages import RecountDoc
    from ..review.day import Day

Text = str | None
EVER_US = 1 << 60


def day(
    date: Annotated[Text, typer.Argument(metavar="[DATE]", help="YYYY-MM-DD, today or yesterday; else the newest with"
                                                                " exposures, or with light out of a file.")] = None,
    out: Annotated[Text, typer.Option("--out", metavar="FILE", help="As a page, .html or .pdf.")] = None,
    paper: Annotated[Text, typer.Option(metavar="SIZE", help="With --out: A4 or Letter.")] = None,
    force: Annotated[bool, typer.Option("--force", help="With --out: replace FILE if it is there.")] = False,
    as_json: Json = False,
    home: HomeDir = None,
) -> None:
    """Review a day: its light, and what each print got."""
    from ..journal.daily import newest_day
    from ..review.gather import gather
    from ..review.text import render
    from .asking import day_typed, journal
    from .show import print_json

    place = home_of(home)
    if paper is not None and out is None:
        from ..model import Refusal

        raise Refusal("--paper goes with --out FILE", 2)
    if out is not None:
        from ..review.day_file import check_page

        check_page(out, paper)
    with journal(place) as store:
        found = gather(store, day_typed(place, date) or newest_day(store))
        if out is not None:
            _write_page(store, found, place, out, paper, force)
    if as_json:
        print_json(found.as_json())
    elif out is None:
        print(render(found), end="")


def _write_page(store: Store, found: Day, place: Home, out: str, paper: str | None, force: bool) -> None:
    from ..review.day_file import write_day
    from ..settings_bench import name_in
    from .show import note

    file = file_to_write(out, place)
    write_day(store, found, name_in(place.settings_file), file, paper, force)
    note(f"{found.date} lies in {file}")


def days(
    span: Annotated[Text, typer.Argument(metavar="[YEAR|YYYY-MM]", help="A year or a month; else the newest.")] = None,
    as_json: Json = False,
    home: HomeDir = None,
) -> None:
    """The printing days of a year or a month, one line each."""
    from ..journal.daily import newest_day
    from ..review.year import gather_days
    from ..review.year_text import render_days
    from .asking import journal
    from .show import print_json

    with journal(home_of(home)) as store:
        found = gather_days(store, span if span is not None else newest_day(store)[:4])
    if as_json:
        print_json(found)
    else:
        print(render_days(found), end="")


def export(
    what: Annotated[str, typer.Option(help="exposures, events, readings, minutes, notes or targets.")] = "exposures",
    form: Annotated[str, typer.Option("--format", help="csv, jsonl or parquet.")] = "csv",
    on: Annotated[
        Text, typer.Option("--day", metavar="DATE", help="Of this local day: YYYY-MM-DD, today or yesterday.")
    ] = None,
    from_day: Annotated[Text, typer.Option("--from", metavar="DATE", help="From the beginning of this day on.")] = None,
    to_day: Annotated[Text, typer.Option("--to", metavar="DATE", help="To the end of this day.")] = None,
    sensor: Annotated[Text, typer.Option(metavar="NAME", help="Of this sensor alone.")] = None,
    out: Annotated[Text, typer.Option("--out", metavar="FILE", help="Into this file; else to standard output.")] = None,
    force: Annotated[bool, typer.Option("--force", help="With --out: replace FILE if it is there.")] = False,
    schema: Annotated[bool, typer.Option("--schema", help="Print what the columns are, and nothing else.")] = False,
    home: HomeDir = None,
) -> None:
    """Take out what the journal holds, as a table.

    As CSV, JSON lines or Parquet; times in UTC. In CSV a text that begins with = + - or @ gets an apostrophe
    before it, so that no spreadsheet computes it.
    """
    from ..model import Refusal
    from ..review.columns import page
    from ..review.export import Wanted, refuse_unknown, write
    from ..review.export_forms import PARQUET, refuse_parquet
    from ..review.outfile import fresh_bytes, fresh_file
    from .asking import journal
    from .show import note

    if schema:
        print(page(), end="")
        return
    refuse_unknown(what, form)
    if form == PARQUET:
        refuse_parquet()
        if out is None:
            raise Refusal("Parquet is no text: name a file with --out", 2)
    if sensor is not None and what == "notes":
        raise Refusal("notes belong to no sensor: leave --sensor out", 2)
    place = home_of(home)
    wanted = Wanted(*stretch_of_days(place, on, from_day, to_day), sensor)
    with journal(place) as store, contextlib.ExitStack() as stack:
        if sensor is not None and store.db.execute("SELECT 1 FROM sensor WHERE name = ?", (sensor,)).fetchone() is None:
            known = ", ".join(str(r[0]) for r in store.db.execute("SELECT DISTINCT name FROM sensor ORDER BY name"))
            raise Refusal(f"no sensor {sensor!r} in the journal; known: {known or 'none'}")
        if out is None:
            # CSV ends its lines by CR LF, which the text layer must not make CR CR LF of.
            sys.stdout.reconfigure(newline="")  # type: ignore[union-attr]
            count = write(store, what, form, wanted, sys.stdout)
        else:
            fresh = fresh_bytes if form == PARQUET else fresh_file
            count = write(store, what, form, wanted, stack.enter_context(fresh(file_to_write(out, place), force)))
    if out is not None:
        note(f"{count} {what} written to {out}")


def stretch_of_days(place: Home, on: str | None, from_day: str | None, to_day: str | None) -> tuple[int, int]:
    """The stretch of wall time that a person named by days; all of it where none was. Raises `Refusal` (code 2)."""
    from ..model import Refusal
    from ..stamps import day_bounds
    from .asking import day_typed

    on, from_day, to_day = (day_typed(place, day) for day in (on, from_day, to_day))
    if on is not None:
        if from_day is not None or to_day is not None:
            raise Refusal("--day goes without --from and --to; leave one out", 2)
        return day_bounds(on)
    wall0_us = day_bounds(from_day)[0] if from_day is not None else 0
    wall1_us = day_bounds(to_day)[1] if to_day is not None else EVER_US
    if wall1_us <= wall0_us:
        raise Refusal(f"--from {from_day} lies after --to {to_day}", 2)
    return wall0_us, wall1_us


def recount(
    number: Annotated[str, typer.Argument(metavar="ID", help="The exposure's number.")],
    as_json: Json = False,
    home: HomeDir = None,
) -> None:
    """Count a dose again from the raw readings.

    It must give the figures that were kept, bit for bit; if not, the command ends with 1.
    """
    from ..model import Refusal
    from ..review.recount import recount as count_again
    from .asking import journal
    from .show import print_json

    exposure = whole_id(number)
    with journal(home_of(home)) as store:
        counted = count_again(store, exposure)
    if as_json:
        print_json(counted)
    else:
        print(_words(counted), flush=True)
    if not counted.same:
        raise Refusal(f"exposure {exposure}: {counted.note}", 1)


def _words(counted: RecountDoc) -> str:
    from ..review.layout import with_unit
    from ..units import minutes

    return (
        f"exposure {counted.id}: {with_unit(counted.dose, counted.unit)} from {counted.readings} raw readings,"
        f" {minutes(counted.measured_s)} measured, {minutes(counted.bridged_s)} bridged,"
        f" {minutes(counted.missing_s)} missing; kept {with_unit(counted.kept_dose, counted.unit)}:"
        f" {'NOT the same' if not counted.same else counted.note or 'the same, bit for bit'}"
    )


def register(app: typer.Typer) -> None:
    """Add the commands."""
    for command in (day, days, export, recount):
        app.command()(command)
