"""`uvdose edition`: prints that shall be alike, of one layer or several; planned, and looked back at."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Annotated

import typer
from msgspec import to_builtins

from ..model import Refusal
from .options import HomeDir, Json, home_of
from .questions import answer, at_terminal, whole

if TYPE_CHECKING:
    from ..config import Home
    from ..messages import Part
    from ..notes import Edition

Text = str | None
MOST_PRINTS, MOST_LAYERS = 1000, 20

editions = typer.Typer(help="Editions: prints at the same dose, of one layer or several.", no_args_is_help=False)


@editions.callback(invoke_without_command=True)
def edition_guide(context: typer.Context, home: HomeDir = None) -> None:
    """Editions: prints that shall be alike. Alone it tells the newest, or asks for one."""
    if context.invoked_subcommand is not None:
        return
    from ..notes import Edition
    from .asking import journal

    place = home_of(home)
    known: dict[str, Edition] = {}
    if place.journal_file.exists():
        with journal(place) as store:
            known = store.notes(Edition)
    if known:
        edition_show(next(reversed(known)), home=home)
    elif at_terminal():
        edition_plan(home=home)
    else:
        raise Refusal("say what to do: `uvdose edition plan NAME`, `show NAME` or `list`", 2)


@editions.command("plan")
def edition_plan(
    name: Annotated[Text, typer.Argument(metavar="NAME", help="What the edition is called.")] = None,
    prints: Annotated[int | None, typer.Option(help="How many sheets.")] = None,
    target: Annotated[list[str] | None, typer.Option(metavar="TARGET", help="The target; repeat for more layers, the"
                                                     " first one first.")] = None,
    limit: Annotated[float, typer.Option(metavar="STOPS", help="How far from its target a print may lie.")] = 0.17,
    note: Annotated[str, typer.Option(help="Anything to keep.")] = "",
    again: Annotated[bool, typer.Option("--again", help="Plan one anew that is there: with the newest targets.")]
    = False,
    as_json: Json = False,
    home: HomeDir = None,
) -> None:
    """Plan an edition: so many sheets, each at the same dose of each layer's target as it is now."""
    from ..notes import Edition, Layer
    from .asking import journal
    from .keeping import keep_note
    from .show import say

    place = home_of(home)
    name = answer(name, "what is the edition called", edition_name, "NAME")
    edition_name(name)
    prints = answer(prints, "how many sheets", whole, "--prints")
    if not 1 <= prints <= MOST_PRINTS:
        raise Refusal(f"{prints} sheets: give 1 to {MOST_PRINTS}", 2)
    if not 0 < limit <= 2:
        raise Refusal(f"limit {limit:g}: give stops above 0 and up to 2, such as 0.17", 2)
    names = target or answer(None, "its target; for several layers their targets in order", str.split, "--target")
    if not 1 <= len(names) <= MOST_LAYERS:
        raise Refusal(f"{len(names)} layers: give 1 to {MOST_LAYERS} targets", 2)
    with journal(place) as store:
        if name in store.notes(Edition) and not again:
            raise Refusal(f"edition {name} is there already: another name, or --again to plan it anew", 2)
        layers = []
        for wanted in names:
            newest = store.versions(wanted)[-1]
            if newest.retired:
                raise Refusal(f"target {wanted} is retired ({newest.reason})")
            layers.append(Layer(wanted, newest.version))
    keep_note(place, "edition", name, Edition(prints, tuple(layers), limit, note))
    if as_json:
        _print(place, name, as_json=True)
    else:
        told = ", ".join(f"{layer.target} v{layer.version}" for layer in layers)
        say(f"edition {name}: {prints} sheets of {told}; begin with `uvdose expose --edition {name}`")


@editions.command("show")
def edition_show(
    name: Annotated[str, typer.Argument(metavar="NAME", help="The edition.")],
    by_clock: Annotated[bool, typer.Option("--by-clock", help="And what the time of the first sheet would have given"
                                           " each, in the light that it had.")] = False,
    as_json: Json = False,
    home: HomeDir = None,
) -> None:
    """Each sheet's doses, how alike they are, and what comes next."""
    _print(home_of(home), name, as_json, by_clock)


@editions.command("list")
def edition_list(as_json: Json = False, home: HomeDir = None) -> None:
    """All editions."""
    from ..notes import Edition
    from ..review.editions import edition_of
    from ..review.layout import columns
    from .asking import journal
    from .show import print_json, say

    with journal(home_of(home)) as store:
        found = [edition_of(store, name) for name in store.notes(Edition)]
    if as_json:
        print_json(found)
    elif not found:
        say("no edition yet: `uvdose edition plan NAME` begins one")
    else:
        rows = [["edition", "sheets", "layers", "printed"]]
        for d in found:
            layers = ", ".join(layer.target for layer in d.edition.layers)
            places = d.edition.prints * len(d.edition.layers)
            rows.append([d.name, str(d.edition.prints), layers, f"{len(d.done)} of {places}"])
        print("\n".join(columns(rows, right=(1, 3))))


def edition_name(typed: str) -> str:
    """A name without blanks. Raises `Refusal` (code 2)."""
    if not re.fullmatch(r"[\w][\w.+-]{0,59}", typed):
        raise Refusal(f"edition {typed!r}: use letters, digits, . _ + - (at most 60, no space)", 2)
    return typed


def part_of(place: Home, name: str, sheet: int | None, layer: int | None) -> tuple[Part, str, int]:
    """What comes next in an edition: its place, and the target and version of its layer. Raises `Refusal`."""
    from ..messages import Part
    from ..review.editions import edition_of
    from .asking import journal

    with journal(place) as store:
        doc = edition_of(store, name)
    edition = doc.edition
    if doc.next is None and (sheet is None or layer is None):
        raise Refusal(f"edition {name} is complete: name --sheet and --layer to print one of it again")
    if doc.next is not None:
        sheet = doc.next.sheet if sheet is None else sheet
        layer = doc.next.layer if layer is None else layer
    assert sheet is not None and layer is not None
    if not (1 <= sheet <= edition.prints and 1 <= layer <= len(edition.layers)):
        raise Refusal(f"edition {name} has sheets 1 to {edition.prints} and layers 1 to {len(edition.layers)}", 2)
    there = doc.at(sheet, layer)
    if there is not None and there.state not in ("finished", "void"):
        raise Refusal(f"sheet {sheet}, layer {layer} of {name} is {there.state} now, exposure {there.id}")
    planned = edition.layers[layer - 1]
    return Part("edition", name, sheet, layer), planned.target, planned.version


def pencilled(place: Home, part: Part) -> list[int]:
    """The numbers on a sheet's back from its layers before: by them a dry sheet is known."""
    from ..review.editions import edition_of
    from .asking import journal

    with journal(place) as store:
        doc = edition_of(store, part.name)
    return doc.numbers(part.sheet, part.layer)


def _print(place: Home, name: str, as_json: bool, by_clock: bool = False) -> None:
    from ..review.edition_clock import edition_by_clock
    from ..review.edition_text import edition_lines
    from ..review.editions import edition_of
    from .asking import journal
    from .show import print_json, say

    with journal(place) as store:
        doc = edition_of(store, name)
        newer = [t for t in (store.newest_target(layer.target) for layer in doc.edition.layers) if t is not None]
        clocked = edition_by_clock(store, doc) if by_clock else None
    if as_json:
        print_json(doc if clocked is None else to_builtins(doc) | {"by_clock": clocked})
        return
    lines = edition_lines(doc, clocked)
    for layer, target in zip(doc.edition.layers, newer, strict=True):
        if target.version > layer.version:
            lines.append(f"target {layer.target} is at v{target.version} by now; this edition keeps v{layer.version}"
                         f" (`uvdose edition plan {name} --again` takes the newest)")  # fmt: skip
    say("\n".join(lines))


def register(app: typer.Typer) -> None:
    """Add the group."""
    app.add_typer(editions, name="edition")
