"""Prints, and what was noted of them, as plain text."""

from __future__ import annotations

from ..notes import PrintNote, Verdict
from ..stamps import local_moment
from ..units import minutes
from .groups import GroupsDoc
from .layout import columns, figure, moment_of, shorten, shorten_title, stops_text, unit_text, with_unit, wrap
from .prints import FoundDoc, PrintRow

WIDTH = 80
MOST_NOTED = 240  # letters in one sentence; `uvdose note` tells all
_LEAST = 4  # characters of a column that is cut
_DAY_S = 86_400
NAMES = {"humidity_percent": "humidity", "drying_delay_s": "drying delay", "coating_age_s": "coating age",
         "coated_utc": "coated"}  # fmt: skip


def found_lines(doc: FoundDoc) -> list[str]:
    """A table within 80 columns, and how many more there are."""
    if not doc.prints:
        return ["no print is like that"]
    units = {p.unit for p in doc.prints}
    only = units.pop() if len(units) == 1 else None
    head = ["id", "begun", "label", "target", "given" if only is None else f"{unit_text(only)}", "stops", "verdict",
            "noted"]  # fmt: skip
    table = [head, *(_cells(p, only is not None) for p in doc.prints)]
    lines = columns(_fitted(table, (2, 3)), right=(0, 4, 5))
    more = doc.found - len(doc.prints)
    if more:
        lines.append(f"{more} more; `--limit {doc.found}` shows all {doc.found}")
    return lines


def group_lines(doc: GroupsDoc) -> list[str]:
    """A table within 80 columns, one line a group."""
    if not doc.groups:
        return ["no print is like that"]
    table = [[doc.by, "prints", "mean", "spread", "light", "right", "dark", "unjudged", "newest"]]
    for g in doc.groups:
        spread = "-" if g.spread_stops is None else f"{g.spread_stops:.2f}"
        table.append([g.name or "-", str(g.prints), stops_text(g.mean_stops), spread, str(g.light), str(g.right),
                      str(g.dark), str(g.unjudged), moment_of(g.newest_utc)[:10]])  # fmt: skip
    lines = columns(_fitted(table, (0,)), right=range(1, 8))
    more = doc.found - len(doc.groups)
    if more:
        lines.append(f"{more} more; `--limit {doc.found}` shows all {doc.found}")
    return [*lines, "mean and spread in stops from the dose that each print aimed at"]


def note_lines(p: PrintRow, picture: str | None) -> list[str]:
    """All that is known of a print. picture: what is to be said of it."""
    stops = "" if p.stops is None else f", {stops_text(p.stops)} stops"
    name = f", {p.title}" if p.title else ""
    version = f" v{p.target_version}" if p.target_version else ""
    head = f"print {p.id}{name}: {p.target}{version}, {p.state} at {with_unit(p.dose, p.unit)}{stops}"
    rows = [["begun", moment_of(p.begun_utc)]]
    rows += [[what, said] for what in ("process", "paper", "coat", "film") if (said := getattr(p, what))]
    rows.append(["verdict", verdict_words(p.verdict)])
    rows += [[NAMES.get(what, what), said] for what, said in note_words(p.note).items() if what != "picture"]
    if p.note is not None and p.note.coated_utc is not None and p.coating_age_s is not None:
        rows.append(["coating age", span_of(p.coating_age_s)])
    if picture is not None:
        rows.append(["picture", picture])
    width = max(len(what) for what, _ in rows)
    lines = wrap(head, "", "  ")
    for what, said in rows:
        lines += wrap(f"{what.ljust(width)}  {said}", "  ", "  " + " " * (width + 2)) if len(said) < 200 else \
            [f"  {what}", *wrap(said, "    ", "    ")]  # fmt: skip
    return lines


def history_lines(told: list[tuple[int, PrintNote | Verdict]]) -> list[str]:
    """Each word that was said of a print, the oldest first, with what it changed. told: wall times and notes."""
    lines: list[str] = []
    before: dict[str, str] = {}
    for wall_us, note in told:
        if isinstance(note, Verdict):
            said = f"verdict: {verdict_words(note)}"
        else:
            now = note_words(note)
            changes = [f"{NAMES.get(what, what)} {now[what]}" + (f" (before: {before[what]})" if what in before else "")
                       for what in now if now[what] != before.get(what)]  # fmt: skip
            changes += [f"{NAMES.get(what, what)} taken out (before: {before[what]})" for what in before
                        if what not in now]  # fmt: skip
            said, before = ", ".join(changes) or "said again", now
        lines += wrap(f"{local_moment(wall_us)}  {said}", "", "    ")
    return lines


def note_words(note: PrintNote | None) -> dict[str, str]:
    """What was noted, by field, as it is read; what was not noted is not in it."""
    found: dict[str, str] = {}
    for what in PrintNote.__struct_fields__ if note is not None else ():
        value = getattr(note, what)
        if value is None or value == "":
            continue
        if what == "humidity_percent":
            found[what] = f"{value:g} %"
        elif what.endswith("_s"):
            found[what] = span_of(value)
        elif what == "coated_utc":
            found[what] = moment_of(value)
        else:
            found[what] = f"{value.sha256[:12]}.{value.kind}" if what == "picture" else value
    return found


def noted_told(number: int, note: PrintNote | None) -> str:
    """What was noted of a print in one sentence, its end cut where it is long; nothing where nothing was."""
    parts = [f"{NAMES.get(what, what)} {said}" if what != "text" else said for what, said in note_words(note).items()
             if what != "picture"]  # fmt: skip
    parts = [shorten(", ".join(parts), MOST_NOTED)] if parts else []
    if note is not None and note.picture is not None:
        parts.append(f"picture {number}-{note.picture.sha256[:12]}….{note.picture.kind}")
    return f"noted: {', '.join(parts)}" if parts else ""


def verdict_words(verdict: Verdict | None) -> str:
    """A verdict in one line; `none yet` for None."""
    if verdict is None:
        return "none yet"
    said: list[str] = [verdict.tone or ""]
    if verdict.stops:
        said.append(f"{verdict.stops:+.2f} stop")
    elif verdict.stops is not None and verdict.tone is None:
        said.append("right")
    if verdict.density is not None:
        said.append(f"density {verdict.density:g}")
    if verdict.highlights is not None:
        said.append(f"highlights {verdict.highlights}")
    said.append(verdict.text)
    return ", ".join(filter(None, said)) or "said, without a tone"


def span_of(seconds: float) -> str:
    """A stretch of time in the units in which one speaks of it: 45 s, 12 min, 3 h, 2:30 h, 2 d 3 h."""
    if seconds < 120:
        return f"{seconds:g} s"
    if seconds < 5400:
        return f"{round(seconds / 60)} min"
    if seconds < _DAY_S:
        return f"{minutes(60 * (seconds // 60))[:-3].removesuffix(':00')} h"
    hours = round(seconds / 3600)
    return f"{hours // 24} d {hours % 24} h" if hours % 24 else f"{hours // 24} d"


def _cells(p: PrintRow, one_unit: bool) -> list[str]:
    given = figure(p.dose) if one_unit else with_unit(p.dose, p.unit)
    tone = p.tone or "-"
    if p.verdict is not None and p.verdict.stops and p.tone:
        tone = f"{p.tone} {abs(p.verdict.stops):.2f}"
    noted = "-" if p.note is None or p.note == PrintNote() else "yes" if p.note.picture is None else "picture"
    stops = stops_text(p.stops) if p.state == "finished" else p.state
    begun = moment_of(p.begun_utc)[: 16 if one_unit else 10]
    return [str(p.id), begun, p.title or "-", f"{p.target} v{p.target_version}", given, stops,
            tone, noted]  # fmt: skip


def _fitted(table: list[list[str]], may_be_cut: tuple[int, ...]) -> list[list[str]]:
    """The table with some columns cut, so that it stays within the width; the widest of them first."""
    widths = [max(len(row[i]) for row in table) for i in range(len(table[0]))]
    while sum(widths) + 2 * (len(widths) - 1) > WIDTH:
        widest = max(may_be_cut, key=lambda i: widths[i])
        if widths[widest] <= _LEAST:
            break
        widths[widest] -= 1
    return [
        [shorten_title(cell, widths[i]) if i in may_be_cut else cell for i, cell in enumerate(row)] for row in table
    ]
