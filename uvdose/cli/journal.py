"""`uvdose journal`: back it up, check it, prune it. Backing up and checking go beside a running daemon."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from .options import HomeDir, Json, file_of, file_to_write, home_of

if TYPE_CHECKING:
    from ..config import Home
    from ..journal.checkup import CheckDoc
    from ..journal.pictures import Proved
    from ..journal.prune import PruneDoc

journals = typer.Typer(help="The journal: back it up, check it, prune it.", no_args_is_help=False)


@journals.command()
def backup(
    file: Annotated[str, typer.Argument(metavar="FILE", help="The copy; one file that holds everything.")],
    force: Annotated[bool, typer.Option("--force", help="Replace FILE if it is there.")] = False,
    pictures: Annotated[str | None, typer.Option("--pictures", metavar="DIR", help="Copy the pictures of prints into"
                                                 " this folder as well; those that are there stay.")] = None,
    as_json: Json = False,
    home: HomeDir = None,
) -> None:
    """Copy the journal into one file, also while the daemon runs.

    The copy is of one moment, and is checked before it gets its name. Pictures of prints are files of their own, and
    are not in it: `--pictures` copies them; without it, it says where they lie.
    """
    from ..journal.copying import copy_to
    from ..journal.pictures import copy_all, kept_bytes
    from ..model import Refusal
    from .asking import journal
    from .show import print_json

    place = home_of(home)
    target = file_to_write(file, place)
    with journal(place) as store:
        size = copy_to(store.db, target, replace=force)
        readings = int(store.db.execute("SELECT coalesce(sum(n), 0) FROM chunk").fetchone()[0])
        exposures = int(store.db.execute("SELECT count(*) FROM exposure").fetchone()[0])
    copied = None if pictures is None else copy_all(place.pictures_folder, file_of(pictures))
    count, count_bytes = kept_bytes(place.pictures_folder)
    if as_json:
        print_json({"file": str(target), "bytes": size, "exposures": exposures, "readings": readings,
                    "pictures": count, "pictures_copied": None if copied is None else copied._asdict()})  # fmt: skip
    else:
        print(f"{target}: {_size(size)}, {exposures} exposures, {readings} readings; checked")
        if copied is not None:
            print(f"{pictures}: {_pictures(copied.pictures)}, {copied.new} new", flush=True)
        elif count:
            print(f"not in it: {_pictures(count)}, {_size(count_bytes)}, in {place.pictures_folder};"
                  " `--pictures DIR` copies them")
    if copied is not None and copied.damaged:
        raise Refusal(f"not what was kept, and not copied: {_pictures(len(copied.damaged))}, such as"
                      f" {copied.damaged[0]}; bring it back from an earlier copy", 1)  # fmt: skip


@journals.command()
def check(
    file: Annotated[str | None, typer.Argument(metavar="[FILE]", help="A backup to check; else the journal.")] = None,
    every_minute: Annotated[bool, typer.Option("--all", help="Add up every minute anew, not some days.")] = False,
    as_json: Json = False,
    home: HomeDir = None,
) -> None:
    """Check every page and every reading of the journal, and each picture of a print, and tell the sizes.

    The sums of light that it keeps for each minute are made again from the readings, those of some days, and must be
    the same. It ends with 1 when something is damaged.
    """
    import sqlite3
    from contextlib import closing

    import msgspec

    from ..journal.checkup import check as check_all
    from ..journal.pictures import prove_all
    from ..journal.schema import open_reading
    from ..journal.store import Store
    from ..model import Refusal
    from .show import print_json

    path = file_of(file) if file is not None else home_of(home).journal_file
    if file is not None and not path.exists():
        raise Refusal(f"no file {path}")
    unseen: Refusal | None = None
    with closing(open_reading(path)) as db:
        try:
            found = check_all(db, path, every_minute)
            try:
                proved = prove_all(Store(db), home_of(home).pictures_folder) if file is None and found.ok else None
            except Refusal as err:
                proved, unseen = None, err
        except sqlite3.Error as err:
            raise Refusal(f"{path} is damaged: {err}; {_mend(file)}", 1) from None
    if as_json:
        print_json(msgspec.to_builtins(found) | {"pictures": None if proved is None else proved._asdict()})
    else:
        print("\n".join(_check_lines(found) + _picture_lines(proved)), flush=True)
    if not found.ok:
        raise Refusal(f"{path} is damaged: {found.problems[0]}; {_mend(file)}", 1)
    if unseen is not None:
        raise unseen
    if proved is not None and (bad := [*proved.missing, *proved.changed]):
        raise Refusal(f"of {_pictures(proved.pictures)}, not as kept: {len(bad)}, such as {bad[0]}: bring it back"
                      " from a copy", 1)  # fmt: skip


@journals.command()
def prune(
    before: Annotated[str, typer.Option("--before", metavar="DATE", help="Those before this day, YYYY-MM-DD.")],
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Only tell what would go.")] = False,
    as_json: Json = False,
    home: HomeDir = None,
) -> None:
    """Delete old raw readings, but none that a print is counted from.

    Every print, target and event stays, and every dose can still be counted again, bit for bit. The daemon must not
    be running.
    """
    from ..stamps import day_bounds
    from .show import print_json

    place = home_of(home)
    wall_us = day_bounds(before)[0]
    done = _prune(place, wall_us, dry_run)
    if as_json:
        print_json(done)
    else:
        print("\n".join(_prune_lines(done, before)))


def _prune(place: Home, before_wall_us: int, dry_run: bool) -> PruneDoc:
    import sqlite3
    from contextlib import closing

    from ..home import lock
    from ..journal.prune import prune as take_out
    from ..journal.schema import open_writing
    from ..model import Refusal
    from .asking import find_daemon, journal

    if dry_run:
        with journal(place) as store:
            return take_out(store.db, before_wall_us, True)
    if find_daemon(place) is not None:
        raise Refusal(f"a daemon runs for home {place.folder}: stop it, prune, start it again (--dry-run goes)")
    if not place.journal_file.exists():
        raise Refusal(f"no journal at {place.journal_file} yet: there is nothing to prune")
    with lock(place, "uvdose journal prune"), closing(open_writing(place.journal_file)) as db:
        try:
            return take_out(db, before_wall_us, False)
        except sqlite3.Error as err:
            raise Refusal(f"journal {place.journal_file}: {err}; nothing was deleted") from None


def _check_lines(found: CheckDoc) -> list[str]:
    from ..review.layout import moment_of, wrap

    log = f", and {_size(found.log_bytes)} not yet merged in" if found.log_bytes else ""
    free = f", {_size(found.free_bytes)} of it free" if found.free_bytes else ""
    state = "sound" if found.ok else "DAMAGED"
    lines = [found.file, f"  {state}, schema {found.schema}", f"  {_size(found.bytes)}{free}{log}"]
    each = f", {found.bytes_per_reading:.1f} bytes each" if found.bytes_per_reading is not None else ""
    span = f", {moment_of(found.from_utc)} to {moment_of(found.to_utc)}" if found.from_utc else ""
    lines.append(f"  {found.readings} readings{each}{span}")
    if found.minutes:
        lines.append(f"  {found.minutes} minutes summed, {found.minutes_proved} of them proved from the readings")
    lines += wrap(", ".join(f"{name} {n}" for name, n in found.counts.items()), "  ", "    ")
    if found.pruned:
        gone = sum(p.readings for p in found.pruned)
        lines.append(f"  {gone} readings were pruned, in {len(found.pruned)} stretches")
    for one in found.imported:
        lines += wrap(f"{one.readings} readings were brought in from {one.file}, as sensor {one.sensor}", "  ", "    ")
    return lines + [f"  {problem}" for problem in found.problems]


def _picture_lines(proved: Proved | None) -> list[str]:
    if proved is None or not proved.pictures:
        return []
    bad = [f"  not there: {name}" for name in proved.missing]
    bad += [f"  not what was kept: {name}" for name in proved.changed]
    return [f"  {_pictures(proved.pictures)}" + ("" if bad else ", as kept"), *bad]


def _pictures(count: int) -> str:
    return "1 picture of a print" if count == 1 else f"{count} pictures of prints"


def _prune_lines(done: PruneDoc, before: str) -> list[str]:
    verb = "would be deleted" if done.dry_run else "deleted"
    lines = [
        f"{done.readings_deleted} readings from before {before} {verb}, in {len(done.stretches)} stretches",
        f"{done.readings_kept} stay, {done.readings_kept_for_prints} of them older ones of the {done.prints} prints",
    ]
    if done.bytes_after is not None:
        lines.append(f"the journal takes {_size(done.bytes_after)}, before {_size(done.bytes_before)}")
    return [*lines, done.note] if done.note else lines


def _mend(file: str | None) -> str:
    return "use another copy" if file is not None else (
        "copy the home somewhere safe, then start the daemon again: it sets the file aside and keeps what it can read"
    )


def _size(count: int) -> str:
    return f"{count / 1e6:.1f} MB" if count >= 100_000 else f"{count / 1e3:.1f} kB"


def register(app: typer.Typer) -> None:
    """Add the group."""
    app.add_typer(journals, name="journal")
