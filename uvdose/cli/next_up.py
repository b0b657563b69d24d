"""`uvdose queue`: who is next at the bench. Through the daemon when it answers, else under the home's lock."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Annotated

import typer

from ..model import Refusal
from .options import HomeDir, Json, home_of

if TYPE_CHECKING:
    from ..config import Home
    from ..queueing import Entries

Number = Annotated[int, typer.Argument(metavar="N", help="Its number in the queue; the first is 1.")]

queue = typer.Typer(help="The queue: who is next at the bench.", no_args_is_help=False)


@queue.callback(invoke_without_command=True)
def queue_show(context: typer.Context, as_json: Json = False, home: HomeDir = None) -> None:
    """The queue: who is next at the bench. Alone it shows it."""
    if context.invoked_subcommand is not None:
        return
    number, entries = _read(home_of(home))
    _tell(number, entries, as_json)


@queue.command("add")
def queue_add(
    target: Annotated[str, typer.Argument(metavar="TARGET", help="The target it is printed at.")],
    label: Annotated[str, typer.Option(help="Whose it is, or what.")] = "",
    frame: Annotated[str | None, typer.Option(help="The frame; else any that is free.")] = None,
    as_json: Json = False,
    home: HomeDir = None,
) -> None:
    """Put a print at the end."""
    from ..listed import QueueEntry
    from ..queueing import checked
    from .asking import journal

    place = home_of(home)
    entry = QueueEntry(label, target, frame or None)
    checked((entry,))
    if not place.journal_file.exists():
        raise Refusal(f"no target {target!r}: none is set yet: `uvdose target set NAME --dose MJ_CM2`")
    with journal(place) as store:
        newest = store.versions(target)[-1]
    if newest.retired:
        raise Refusal(f"target {target} is retired ({newest.reason}): `uvdose target set {target} --dose …` takes it"
                      " into use again")  # fmt: skip
    _tell(*_change(place, lambda now: checked((*now, entry))), as_json)


@queue.command("drop")
def queue_drop(number: Number, as_json: Json = False, home: HomeDir = None) -> None:
    """Take one out."""
    from ..queueing import at, without

    place = home_of(home)
    _, seen = _read(place)
    entry = at(seen, number)
    _tell(*_change(place, lambda now: without(now, entry, seen, number)), as_json)


@queue.command("move")
def queue_move(
    number: Number,
    to: Annotated[int, typer.Argument(metavar="TO", help="Its new number.")],
    as_json: Json = False,
    home: HomeDir = None,
) -> None:
    """Move one to another place."""
    from ..queueing import at, moved

    place = home_of(home)
    _, seen = _read(place)
    entry = at(seen, number)
    moved(seen, entry, to, seen, number)
    _tell(*_change(place, lambda now: moved(now, entry, to, seen, number)), as_json)


@queue.command("clear")
def queue_clear(
    sure: Annotated[bool, typer.Option("--yes", help="Do not ask.")] = False,
    as_json: Json = False,
    home: HomeDir = None,
) -> None:
    """Take all out. It asks before."""
    from .questions import at_terminal, yes

    place = home_of(home)
    _, seen = _read(place)
    if seen and not sure:
        if not at_terminal():
            raise Refusal(f"{len(seen)} wait: say --yes to take them all out", 2)
        if not yes(f"take out all {len(seen)}"):
            raise typer.Abort

    def cleared(now: Entries) -> Entries:
        if now != seen:
            raise Refusal("the queue has changed meanwhile, and nothing was taken out: look at it with `uvdose queue`")
        return ()

    _tell(*(_change(place, cleared) if seen else _read(place)), as_json)


def _read(place: Home) -> tuple[int, Entries]:
    """The queue's version and its entries."""
    from ..notes import Queue
    from ..queueing import BENCH
    from .asking import journal

    if not place.journal_file.exists():
        return 0, ()
    with journal(place) as store:
        number, found = store.newest_note(Queue, BENCH)
    return number, found.entries if found is not None else ()


def _change(place: Home, change: Callable[[Entries], Entries]) -> tuple[int, Entries]:
    from ..notes import Queue
    from ..queueing import BENCH
    from .keeping import change_note

    number, note = change_note(
        place, Queue, BENCH, lambda _, now: Queue(change(now.entries if now is not None else ()))
    )
    return number, note.entries


def _tell(number: int, entries: Entries, as_json: bool) -> None:
    from ..listed import QueueDoc
    from ..review.layout import columns
    from .show import print_json, say

    if as_json:
        print_json(QueueDoc(entries, number))
    elif not entries:
        say("nobody waits: `uvdose queue add TARGET` puts a print at the end")
    else:
        rows = [["", "label", "target", "frame"]]
        rows += [[str(i), e.label or "-", e.target or "-", e.frame or "any"] for i, e in enumerate(entries, 1)]
        say("\n".join(columns(rows, right=(0,))))


def register(app: typer.Typer) -> None:
    """Add the group."""
    app.add_typer(queue, name="queue")
