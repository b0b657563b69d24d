"""`uvdose process`: what is commonly known of a process, with where it is known from."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from ..options import Json

if TYPE_CHECKING:
    from ...calibrate.processes import Process

Text = str | None


def process(
    name: Annotated[Text, typer.Argument(metavar="[NAME]", help="A process; without: all of them.")] = None,
    as_json: Json = False,
) -> None:
    """What is commonly known of a process.

    Its range, how to judge it, and its cautions.
    """
    from ...calibrate import processes
    from ...review.layout import columns, wrap
    from ..show import print_json, say

    if name is not None:
        found = processes.process(name)
        if as_json:
            standing = processes.table().standing
            print_json({"process": found, "cautions": processes.cautions(found), "standing": standing})
        else:
            say("\n".join(_lines(found)))
    elif as_json:
        print_json(processes.table())
    else:
        rows = [["process", "range", "judge it"]]
        rows += [[p.name, _range(p), p.judge.when] for p in processes.table().processes]
        head, *lines = columns(rows)
        also = [wrap(f"also {', '.join(p.words)}", "    ", "         ") for p in processes.table().processes]
        told = [part for line, more in zip(lines, also, strict=True) for part in (line, *more)]
        say("\n".join([head, *told, "", "`uvdose process NAME` tells more, with its cautions"]))


def _range(of: Process) -> str:
    return "-" if of.scale.low is None or of.scale.high is None else f"{of.scale.low:g}-{of.scale.high:g}"


def _lines(of: Process) -> list[str]:
    from ...calibrate.processes import cautions, table
    from ...review.layout import wrap

    told = [
        f"range      {_range(of)}, log10 from first tone to full tone ({of.scale.source})",
        f"judge it   {of.judge.when}: {of.judge.look} ({of.judge.source})",
        f"dry-down   {of.dry_down.text} ({of.dry_down.source})",
    ]
    if of.dose is not None:
        band = f"{of.dose.low_mj_cm2:g}-{of.dose.high_mj_cm2:g} mJ/cm²"
        told.append(f"dose       {band}: {of.dose.text} ({of.dose.source})")
    told += [f"caution    {c.text} ({c.source})" for c in cautions(of)]
    return [of.name, *(line for text in told for line in wrap(text, "", " " * 11)), *wrap(table().standing)]


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command()(process)
