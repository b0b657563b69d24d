"""`uvdose phone`: pair, list and revoke phones, and make the certificate that lets their screens stay awake."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from ..model import Refusal
from .options import HomeDir, Json, home_of

if TYPE_CHECKING:
    from ..config import Home
    from ..web.pairing_docs import PhoneDoc

ROLES = {"act": "may act", "view": "may look"}


def pair(
    view: Annotated[bool, typer.Option("--view", help="For phones that may look, not act: a class.")] = False,
    name: Annotated[str, typer.Option(metavar="NAME", help="What the phone is called; else it says so itself.")] = "",
    json: Json = False,
    home: HomeDir = None,
) -> None:
    """Make a code that pairs a phone: a QR code and the address in it. The daemon must run."""
    place = home_of(home)
    from ..web.pairing_docs import CodeDoc, CodeRequest
    from ..web.phones import MAX_NAME, clean_name
    from .asking import need_daemon
    from .show import has_colour, note, print_json, say

    if name and clean_name(name) != name:
        raise Refusal(f"--name {name!r}: give at most {MAX_NAME} printable characters, and not a number alone", 2)
    code = need_daemon(place).post("phones/code", CodeRequest(view, name), CodeDoc)
    if json:
        print_json(code)
        return
    from ..web.qr import invite_lines

    say("\n".join(invite_lines(code.urls, code.role, code.valid_s, has_colour())))
    if not code.lan:
        note("only this machine reaches that address: `uvdose serve --lan` lets phones in")


def list_phones(json: Json = False, home: HomeDir = None) -> None:
    """List the paired phones. Works with and without a daemon."""
    place = home_of(home)
    from ..review.layout import columns, moment_of
    from ..web.pairing import phone_doc
    from ..web.pairing_docs import PhoneDoc
    from ..web.phones import Phones
    from .asking import find_daemon
    from .show import print_json, say

    daemon = find_daemon(place)
    if daemon is not None:
        phones = daemon.get("phones", list[PhoneDoc])
    else:
        store = Phones(place.phones_file)
        phones = [phone_doc(p) for p in store.all()]
        if store.fault:
            raise Refusal(store.fault)
    if json:
        print_json(phones)
        return
    if not phones:
        say("no phone is paired: `uvdose phone pair` makes a code")
        return
    rows = [[str(p.id), p.name, ROLES[p.role], moment_of(p.paired_utc), moment_of(p.seen_utc)] for p in phones]
    say("\n".join(columns([["id", "name", "role", "paired", "last seen"], *rows])))


def revoke(
    which: Annotated[str | None, typer.Argument(metavar="NAME|ID", help="The phone.")] = None,
    every: Annotated[bool, typer.Option("--all", help="All of them.")] = False,
    json: Json = False,
    home: HomeDir = None,
) -> None:
    """Take a phone out, at once. Works with and without a daemon."""
    place = home_of(home)
    from .show import print_json, say

    if (which is None) != every:
        raise Refusal("give the name or the id of one phone, or --all; `uvdose phone list` shows them", 2)
    gone = _revoked(place, which)
    if json:
        print_json(gone)
        return
    for phone in gone:
        say(f"phone {phone.id}, {phone.name}: taken out")
    if not gone:
        say("no phone was paired")


def _revoked(place: Home, which: str | None) -> list[PhoneDoc]:
    from ..home import lock
    from ..web.pairing import phone_doc
    from ..web.pairing_docs import PhoneDoc, RevokeRequest
    from ..web.phones import Phones
    from .asking import find_daemon

    daemon = find_daemon(place)
    if daemon is not None:
        return daemon.post("phones/revoke", RevokeRequest(which), list[PhoneDoc])
    if not place.folder.is_dir():  # nothing is made for a home that is not there
        return [phone_doc(p) for p in Phones(place.phones_file).revoke(which)]
    with lock(place, "uvdose phone revoke"):
        return [phone_doc(p) for p in Phones(place.phones_file).revoke(which)]


def certificate(
    new: Annotated[bool, typer.Option("--new-ca", help="Make a new CA, too: phones must then trust it anew.")] = False,
    home: HomeDir = None,
) -> None:
    """Make a local CA and a certificate for the daemon, so that phones speak https with it."""
    place = home_of(home)
    from .local_ca import make_certificate, steps
    from .show import say

    for line in steps(place, make_certificate(place, new)):
        say(line)


def register(app: typer.Typer) -> None:
    """Add the group."""
    group = typer.Typer(help="Pair phones, list them and take them out.", no_args_is_help=True)
    group.command("pair")(pair)
    group.command("list")(list_phones)
    group.command("revoke")(revoke)
    group.command("ca")(certificate)
    app.add_typer(group, name="phone")
