"""The course of a target as plain text."""

from __future__ import annotations

from .drift import DriftDoc, Link, Tally
from .drift_chart import chart_lines
from .layout import columns, figure, moment_of, stops_text, unit_text, wrap


def drift_lines(doc: DriftDoc) -> list[str]:
    """Versions, seasons, and what the wanted dose goes with."""
    head = ["version", "set", "dose", "unit", "stops", *_TALLY]
    rows = [head]
    for use in doc.versions:
        rows.append([f"v{use.version}" + ("" if use.compares else "*"), moment_of(use.made_utc or None)[:10],
                     figure(use.dose), unit_text(use.unit), stops_text(use.stops), *_cells(use.tally)])  # fmt: skip
    lines = [f"target {doc.target}", *columns(rows, right=(2, 4, *range(5, 10)))]
    if any(not use.compares for use in doc.versions):
        lines.append("* other sensor, paper or film than now")
    if doc.other:
        lines += wrap("of another sensor, paper or film, or overridden, and so not in what was wanted:"
                      f" {_prints(doc.other)}")  # fmt: skip
    if chart := chart_lines(doc):
        lines += ["", *chart]
    if doc.seasons:
        lines += ["", *columns([["season", *_TALLY], *([s.name, *_cells(s)] for s in doc.seasons)], range(1, 6))]
    lines += ["", *wrap(f"wanted: the mean dose that the judged prints wanted, in stops from v{doc.newest}'s")]
    if doc.left_out:
        lines += wrap(f"judged light or dark without by how much, and so not in it: {_prints(doc.left_out)}")
    lines += ["", "what the wanted dose goes with, by ranks:"]
    width = max(len(link.what) for link in doc.links)
    for link in doc.links:
        lines += wrap(f"{link.what.ljust(width)}  {_link_words(link, doc.fewest)}", "  ", " " * (width + 4))
    if any(link.found is not None for link in doc.links):
        lines += wrap("of twenty such figures that mean nothing, one has p below 0.05; and what goes together need not"
                      " follow from each other")  # fmt: skip
    return lines


_TALLY = ("prints", "light", "right", "dark", "wanted")


def _cells(tally: Tally) -> list[str]:
    return [str(tally.prints), str(tally.light), str(tally.right), str(tally.dark), stops_text(tally.wanted_stops)]


def _link_words(link: Link, fewest: int) -> str:
    found = link.found
    if link.prints < fewest:
        return f"too few to say: {_prints(link.prints)} judged and noted, {fewest} are needed"
    if found is None:
        return f"nothing to say: it is the same in all {link.prints} prints"
    p = f"{found.p:.3f}" if found.p >= 0.001 else "below 0.001"
    words = "no link is shown"
    if found.low > 0:
        words = "the more of it, the more dose"
    elif found.high < 0:
        words = "the more of it, the less dose"
    return f"{found.rho:+.2f} ({found.low:+.2f} to {found.high:+.2f}), p {p}, {_prints(found.n)}: {words}"


def _prints(count: int) -> str:
    return f"{count} print" if count == 1 else f"{count} prints"
