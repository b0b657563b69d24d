"""`uvdose import`: readings that something else recorded, out of a CSV file into the journal."""

from __future__ import annotations

import contextlib
import hashlib
import os
import re
from collections.abc import Iterator
from contextlib import closing
from io import BufferedReader
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from .options import HomeDir, Json, file_of, home_of, seconds_of

if TYPE_CHECKING:
    from ..bring.recording import Asked
    from ..config import Home
    from ..journal.imported import Imported

Text = str | None
LEFT_OUT = {
    "twice": "there twice, left out", "late": "out of order, left out", "no number": "without a number: holes",
    "below zero": "below zero, taken as they are", "overlapping": "of means that overlap, cut to what is new",
}  # fmt: skip


def bring(
    file: Annotated[
        Text, typer.Argument(metavar="FILE", help="A CSV file whose first line names its columns.")
    ] = None,
    sensor: Annotated[
        Text, typer.Option(metavar="NAME", help="Under this name; else the file's own, without its end.")
    ] = None,
    of: Annotated[Text, typer.Option("--of", metavar="NAME", help="Of an export of several sensors: this one.")] = None,
    time_column: Annotated[Text, typer.Option(metavar="NAME", help="The column of the times.")] = None,
    value_column: Annotated[Text, typer.Option(metavar="NAME", help="The column of the light.")] = None,
    unit: Annotated[Text, typer.Option(help="Of the light: counts, V, mW/cm2, W/m2 or uW/cm2.")] = None,
    scale: Annotated[float | None, typer.Option(help="mW/cm² per unit, for counts and V.")] = None,
    zero: Annotated[float | None, typer.Option(help="What it says in the dark, in the unit.")] = None,
    full_scale: Annotated[float | None, typer.Option(help="At or above this it is saturated.")] = None,
    timezone: Annotated[Text, typer.Option(metavar="ZONE", help="Of times that do not say it: Europe/Zurich.")] = None,
    decimal_comma: Annotated[bool, typer.Option("--decimal-comma", help="Numbers such as 4,31.")] = False,
    missing: Annotated[list[str] | None, typer.Option(metavar="TEXT", help="Stands for no reading; repeat.")] = None,
    means: Annotated[Text, typer.Option(metavar="TIME", help="Each value is the mean of so long: 60s, 10m.")] = None,
    stamped: Annotated[Text, typer.Option(metavar="start|middle|end", help="Where in it the time lies.")] = None,
    light: Annotated[Text, typer.Option(help='What it was taken under; else "sun".')] = None,
    take_out: Annotated[
        Text, typer.Option("--take-out", metavar="NAME", help="Instead: take out all that came in under this name.")
    ] = None,
    as_json: Json = False,
    home: HomeDir = None,
) -> None:
    """Bring readings from a CSV file into the journal.

    They get a sensor's name of their own. An export of readings comes back as it was. All or nothing; the
    same file is taken once. Not beside a daemon.
    """
    from ..bring.recording import Asked
    from ..model import Refusal
    from ..settings_words import SENSOR_NAME
    from .show import print_json

    place = home_of(home)
    if take_out is not None:
        if file is not None:
            raise Refusal("--take-out goes without FILE: take out first, then import anew", 2)
        _take_out(place, take_out, as_json)
        return
    if file is None:
        raise Refusal("which file? `uvdose import FILE`, or --take-out NAME", 2)
    path = file_of(file)
    name = sensor if sensor is not None else re.sub(r"[^A-Za-z0-9_.-]+", "-", path.stem).strip("-._")[:40]
    if not SENSOR_NAME.match(name):
        raise Refusal(f"sensor {name!r} is not a name: give one with --sensor (letters, digits, . _ -; at most 40)", 2)
    asked = Asked(
        name, of, time_column, value_column, unit, scale, zero, full_scale, timezone, decimal_comma,
        tuple(missing or ()), seconds_of(means) if means is not None else None, stamped, light,
    )
    done = _bring_in(place, path, asked)
    if as_json:
        print_json(done)
    else:
        print(_words(done), flush=True)


def _bring_in(place: Home, path: Path, asked: Asked) -> Imported:
    from ..bring.recording import Recording
    from ..clock import host_wall_us
    from ..home import lock
    from ..journal.bring_in import bring_in, refuse_known, refuse_live
    from ..journal.imported import Imported
    from ..journal.schema import open_writing
    from ..model import Refusal
    from ..settings_bench import sensors_in
    from ..stamps import iso_utc

    if not path.is_file():
        raise Refusal(f"{path} is {'no ordinary file' if path.exists() else 'not there'}: give a CSV file")
    _refuse_daemon(place)
    live = sensors_in(place.settings_file)
    with _readable(path) as handle:
        before = _stamp(handle.fileno())
        recording = Recording(handle, asked)  # what is no table is told before all of it is read
        begin = handle.tell()
        handle.seek(0)
        sha256 = hashlib.file_digest(handle, "sha256").hexdigest()
        handle.seek(begin)
        with lock(place, "uvdose import"), closing(open_writing(place.journal_file)) as db:
            refuse_live(db, asked.sensor, live)
            refuse_known(db, sha256, recording.columns, recording.how)

            def told(count: int) -> Imported:
                if _stamp(handle.fileno()) != before:
                    raise Refusal(f"{path} was changed while it was read: nothing was brought in; try again")
                return Imported(
                    asked.sensor, path.name[:200], sha256, recording.columns, recording.own, count, 0, 0, 0, 0,
                    iso_utc(host_wall_us()), dict(recording.left_out), recording.how,
                )

            rows = ((row.t_us, row.wall_us, row.identity, row.reading) for row in recording.rows())
            return bring_in(db, rows, told)


def _take_out(place: Home, name: str, as_json: bool) -> None:
    from ..home import lock
    from ..journal.bring_in import take_out
    from ..journal.schema import open_writing
    from ..model import Refusal
    from .show import print_json

    _refuse_daemon(place)
    if not place.journal_file.exists():
        raise Refusal(f"no journal at {place.journal_file} yet: nothing was brought in")
    with lock(place, "uvdose import"), closing(open_writing(place.journal_file)) as db:
        count = take_out(db, name)
    if as_json:
        print_json({"sensor": name, "readings_taken_out": count})
    else:
        print(f"sensor {name}: {count} readings taken out; its file may be brought in anew", flush=True)


def _refuse_daemon(place: Home) -> None:
    from ..model import Refusal
    from .asking import find_daemon

    if find_daemon(place) is not None:
        raise Refusal(
            "a daemon runs for this home, and it alone writes its journal: stop it, import, and start it again; or"
            " import into another home with --home"
        )


@contextlib.contextmanager
def _readable(path: Path) -> Iterator[BufferedReader]:
    from ..model import Refusal

    try:
        with path.open("rb") as handle:
            yield handle
    except OSError as err:
        if err.filename is not None:
            raise
        raise Refusal(f"{path} cannot be read: {err.strerror or err}; nothing was brought in") from None


def _stamp(handle: int) -> tuple[int, int]:
    found = os.fstat(handle)
    return found.st_size, found.st_mtime_ns


def _words(done: Imported) -> str:
    from ..review.layout import moment_of
    from ..stamps import iso_utc, local_date

    span = f"{moment_of(iso_utc(done.wall0_us))} to {moment_of(iso_utc(done.wall1_us))}"
    odd = [f"{count} {LEFT_OUT[why]}" for why, count in sorted(done.left_out.items())]
    lines = [f"sensor {done.sensor}: {done.readings} readings brought in, {span}"]
    hint = f"next: `uvdose day {local_date(done.wall1_us - 1)}`; `uvdose suppose --help` imagines prints on them"
    return "\n".join([*lines, *(f"  {line}" for line in odd), hint])


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("import")(bring)
