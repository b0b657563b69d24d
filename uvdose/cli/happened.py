"""`uvdose events`: what happened, out of the journal, and with `--follow` as it happens."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from ..model import Refusal
from .options import HomeDir, home_of

if TYPE_CHECKING:
    from ..config import Home
    from ..messages import EventDoc

AT_A_TIME = 5000
MAX_EVENT = 10**17


def events(
    follow: Annotated[bool, typer.Option("--follow", help="Go on with those to come, until the daemon ends.")] = False,
    after: Annotated[
        int, typer.Option(metavar="ID", show_default=False, help="Only those with a higher number.")
    ] = 0,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON, one event a line.")] = False,
    home: HomeDir = None,
) -> None:
    """What happened, oldest first."""
    from .asking import need_daemon

    if not 0 <= after <= MAX_EVENT:
        raise Refusal(f"--after {after}: give the number of an event, such as 120", 2)
    place = home_of(home)
    daemon = need_daemon(place) if follow else None
    last = after
    for event in _kept(place, after):
        last = event.id
        _print(event, as_json)
    if daemon is not None:
        for event in daemon.events(last):
            _print(event, as_json)


def _kept(place: Home, after: int) -> list[EventDoc]:
    from .asking import journal

    found: list[EventDoc] = []
    with journal(place) as store:
        while some := store.events(found[-1].id if found else after, limit=AT_A_TIME):
            found += some
    return found


def _print(event: EventDoc, as_json: bool) -> None:
    from .show import print_json_line, say

    if as_json:
        print_json_line(event.flat())
    else:
        say(event_text(event))


def event_text(event: EventDoc) -> str:
    """One event in one line."""
    from ..review.day_rows import call_name
    from ..review.layout import moment_of, with_unit
    from ..stamps import in_local

    who = f"exposure {event.exposure}" if event.exposure is not None else f"sensor {event.sensor}"
    if event.exposure is None and event.sensor is None:
        who = "calls" if event.event == "test" or event.data.get("alarm") == "call" else "journal"
    data = dict(event.data)
    parts = [moment_of(event.utc), f"{event.event:<9}", who]
    if "key" in data and data["key"] != event.event:
        parts.append(call_name(event.event, data))
    if "dose" in data and "unit" in data:
        parts.append(with_unit(float(data["dose"]), str(data["unit"])))
    if "seconds" in data:
        parts.append(f"{float(data['seconds']):.1f} s {data.get('kind', '')}")
    parts += [in_local(str(data[key])) for key in ("what", "alarm", "line") if key in data and data[key] != who]
    if "calls" in data:
        parts.append(", ".join(map(str, data["calls"])))
    return "  ".join(parts)


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command()(events)
