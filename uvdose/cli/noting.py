"""`uvdose note`: what is worth knowing of a print besides its dose: wash, toning, humidity, a picture, anything."""

from __future__ import annotations

import re
from functools import partial
from typing import TYPE_CHECKING, Annotated, Any

import msgspec
import typer

from ..model import Refusal
from .options import HomeDir, Json, file_of, home_of, whole_id

if TYPE_CHECKING:
    from ..config import Home
    from ..notes import PrintNote, Verdict
    from ..review.prints import PrintRow

Text = str | None
MOST_PRINTS = 200
_SPAN = re.compile(r"(\d{1,6}(?:\.\d{1,6})?)\s*(s|min|m|h|d)")
_SECONDS = {"s": 1, "m": 60, "min": 60, "h": 3600, "d": 86_400}
_MOMENT = re.compile(r"(\d{4}-\d\d-\d\d)[ T](\d\d?:\d\d(?::\d\d)?)")
TEXTS = ("density", "wash", "toning", "dilution", "text")


def note(
    prints: Annotated[list[str], typer.Argument(metavar="ID...", help="Numbers of prints, or stretches as 12-18.")],
    density: Annotated[Text, typer.Option(help="As read anywhere on the sheet, such as '1.42 black, 0.08 paper'; the"
                                               " one that judges the dose goes with `uvdose verdict`.")] = None,
    wash: Annotated[Text, typer.Option(help="How it was washed or cleared.")] = None,
    toning: Annotated[Text, typer.Option(help="How it was toned.")] = None,
    dilution: Annotated[Text, typer.Option(help="Of the sensitizer or developer.")] = None,
    humidity: Annotated[Text, typer.Option(metavar="PERCENT", help="Of the paper or the room, 0 to 100.")] = None,
    drying_delay: Annotated[Text, typer.Option(metavar="TIME", help="From coating to drying: 90s, 12m, 2h.")] = None,
    coating_age: Annotated[Text, typer.Option(metavar="TIME", help="How old the coat was: 40m, 3h, 2d.")] = None,
    coated: Annotated[Text, typer.Option(metavar="WHEN", help="Or when it was coated: HH:MM before the start, or"
                                                              " 'YYYY-MM-DD HH:MM'.")] = None,
    text: Annotated[Text, typer.Option(help="Anything else.")] = None,
    picture: Annotated[Text, typer.Option(metavar="FILE", help="A picture of the print; it is copied beside the"
                                                               " journal.")] = None,
    show: Annotated[bool, typer.Option("--show", help="What is noted, and whether the picture is as it was kept.")]
    = False,
    history: Annotated[bool, typer.Option("--history", help="All that was ever noted, with the verdicts.")] = False,
    as_json: Json = False,
    home: HomeDir = None,
) -> None:
    """Note something of one or more prints.

    Also while they are in the light. What is not named stays as it was. `-` takes a field out. Without a field it shows
    what is noted. Everything that was noted before stays as history.
    """
    place = home_of(home)
    numbers = numbers_of(prints)
    said = {what: _text(value) for what, value in zip(TEXTS, (density, wash, toning, dilution, text), strict=True)
            if value is not None}  # fmt: skip
    edits: dict[str, Any] = said | _figures(humidity, drying_delay, coating_age)
    if coated is not None and coating_age is not None:
        raise Refusal("--coated and --coating-age cannot both be meant; leave one out", 2)
    if picture not in (None, "-") and len(numbers) > 1:
        raise Refusal(f"a picture is of one print, and you named {len(numbers)}: name one", 2)
    if history and (edits or coated or picture):
        raise Refusal("--history only tells: leave the fields out, or --history", 2)
    rows = _rows(place, numbers)
    if edits or coated is not None or picture is not None:
        _keep(place, rows, edits, coated, picture)
        rows = _rows(place, numbers)
        if not (show or as_json):
            _say_kept(rows)
            return
    if history:
        _history(place, numbers, as_json)
    else:
        _show(place, rows, as_json)


def numbers_of(words: list[str]) -> list[int]:
    """Prints that a person named: numbers and stretches, each once, in order. Raises `Refusal` (code 2)."""
    found: dict[int, None] = {}
    for word in (part for given in words for part in given.split(",")):
        first, dash, last = word.strip().partition("-")
        low = whole_id(first, "print")
        high = whole_id(last, "print") if dash else low
        if high < low:
            raise Refusal(f"prints {word}: give the lower number first", 2)
        if high - low >= MOST_PRINTS or len(found) + high - low >= MOST_PRINTS:
            raise Refusal(f"prints {' '.join(words)[:60]}: name at most {MOST_PRINTS} at once", 2)
        found |= dict.fromkeys(range(low, high + 1))
    return list(found)


def _text(value: str) -> str:
    return "" if value.strip() == "-" else value.strip()


def _figures(humidity: str | None, drying_delay: str | None, coating_age: str | None) -> dict[str, float | str | None]:
    edits: dict[str, float | str | None] = {}
    if humidity is not None:
        edits["humidity_percent"] = None if humidity.strip() == "-" else _percent(humidity)
    if drying_delay is not None:
        edits["drying_delay_s"] = _span("--drying-delay", drying_delay)
    if coating_age is not None:
        edits |= {"coating_age_s": _span("--coating-age", coating_age), "coated_utc": None}
    return edits


def _percent(typed: str) -> float:
    bare = typed.strip().removesuffix("%").strip()
    if not re.fullmatch(r"\d{1,3}(\.\d{1,3})?", bare) or not 0 <= float(bare) <= 100:
        raise Refusal(f"humidity {typed!r}: give per cent from 0 to 100, such as 55", 2)
    return float(bare)


def _span(option: str, typed: str) -> float | None:
    if typed.strip() == "-":
        return None
    found = _SPAN.fullmatch(typed.strip())
    if found is None:
        raise Refusal(f"{option} {typed!r}: give a time with its unit, such as 90s, 12m, 3h or 2d", 2)
    return float(found[1]) * _SECONDS[found[2]]


def _coated(typed: str, begun_us: int) -> str:
    """When it was coated, in UTC. A bare time of day is the newest before the print's start. Raises `Refusal`."""
    from ..stamps import at_local, day_bounds, iso_utc

    wrong = Refusal(f"--coated {typed!r}: give HH:MM, or 'YYYY-MM-DD HH:MM'", 2)
    full = _MOMENT.fullmatch(typed.strip())
    try:
        if full is not None:
            day0_us, day1_us = day_bounds(full[1])
            when_us = at_local(full[2], day1_us - 1)
            if when_us < day0_us:
                raise wrong  # clocks leapt over it
        elif re.fullmatch(r"\d\d?:\d\d(:\d\d)?", typed.strip()):
            when_us = at_local(typed.strip(), begun_us)
        else:
            raise wrong
    except ValueError:
        raise wrong from None
    if when_us > begun_us:
        raise Refusal(f"--coated {typed!r} lies after the print's start: give when it was coated", 2)
    return iso_utc(when_us)


def _rows(place: Home, numbers: list[int]) -> list[PrintRow]:
    """The prints; all must be there before anything is noted. Raises `Refusal`."""
    from ..review.prints import one
    from .asking import journal

    with journal(place) as store:
        return [one(store, number) for number in numbers]


def _keep(
    place: Home, rows: list[PrintRow], edits: dict[str, Any], coated: str | None, picture: str | None
) -> None:
    from ..journal.pictures import keep
    from ..notes import PrintNote, checked
    from ..stamps import from_iso
    from .keeping import change_note

    checked("print", msgspec.to_builtins(msgspec.structs.replace(PrintNote(), **edits)))  # before any is kept
    each: list[dict[str, Any]] = []
    for row in rows:
        more: dict[str, Any] = {}
        if coated is not None:
            utc = None if coated.strip() == "-" else _coated(coated, from_iso(row.begun_utc))
            more = {"coated_utc": utc, "coating_age_s": None}
        each.append(edits | more)
    if picture is not None:
        kept = None if picture == "-" else keep(place.pictures_folder, rows[0].id, file_of(picture))
        each = [one | {"picture": kept} for one in each]
    for done, (row, edit) in enumerate(zip(rows, each, strict=True)):
        try:
            change_note(place, PrintNote, str(row.id), partial(_with, edit))
        except Refusal as err:
            so_far = f" ({done} of {len(rows)} prints are noted)" if done else ""
            raise Refusal(f"{err.line}{so_far}", err.code) from None


def _with(edits: dict[str, Any], _: int, before: PrintNote | None) -> PrintNote:
    """Single fields change; what two persons note at once of other fields stays."""
    from ..notes import PrintNote

    return msgspec.structs.replace(before or PrintNote(), **edits)


def _say_kept(rows: list[PrintRow]) -> None:
    from ..review.layout import wrap
    from ..review.print_text import NAMES, note_words

    for row in rows:
        told = ", ".join(f"{NAMES.get(what, what)} {said}" for what, said in note_words(row.note).items())
        name = f", {row.title}" if row.title else ""
        print("\n".join(wrap(f"print {row.id}{name}: {told or 'nothing is noted'}")), flush=True)


def _show(place: Home, rows: list[PrintRow], as_json: bool) -> None:
    from ..journal.pictures import prove
    from ..review.print_text import note_lines
    from .show import print_json

    states = [None if r.note is None or r.note.picture is None else prove(place.pictures_folder, r.id, r.note.picture)
              for r in rows]  # fmt: skip
    if as_json:
        told = [msgspec.to_builtins(row) | {"picture": None if row.note is None or row.note.picture is None else
                {"file": f"{place.pictures_folder.name}/{row.note.picture.name(row.id)}", "state": state}}
                for row, state in zip(rows, states, strict=True)]  # fmt: skip
        print_json({"prints": told})
    for row, state in zip(rows, states, strict=True):
        if not as_json:
            print("\n".join(note_lines(row, _picture_words(place, row, state))), flush=True)
    for row, state in zip(rows, states, strict=True):
        if state not in (None, "whole"):
            how = "not there" if state == "gone" else "not what was kept"
            raise Refusal(f"print {row.id}: its picture is {how}; bring {place.pictures_folder} back from a copy, or"
                          " give the picture again", 1)  # fmt: skip


def _picture_words(place: Home, row: PrintRow, state: str | None) -> str | None:
    if state is None or row.note is None or row.note.picture is None:
        return None
    told = {"whole": "as it was kept", "changed": "NOT what was kept", "gone": "NOT there"}[state]
    kept = row.note.picture
    size = f"{kept.bytes / 1e6:.1f} MB" if kept.bytes >= 1e6 else f"{max(1, round(kept.bytes / 1e3))} kB"
    return f"{size}, {told}: {place.pictures_folder.name}/{kept.name(row.id)}"


def _history(place: Home, numbers: list[int], as_json: bool) -> None:
    from ..notes import PrintNote, Verdict, kind_name
    from ..review.print_text import history_lines
    from ..stamps import iso_utc
    from .asking import journal
    from .show import print_json

    told: dict[int, list[tuple[int, PrintNote | Verdict]]] = {}
    with journal(place) as store:
        for number in numbers:
            both: list[tuple[int, PrintNote | Verdict]] = [*store.note_history(PrintNote, str(number)),
                                                           *store.note_history(Verdict, str(number))]  # fmt: skip
            told[number] = sorted(both, key=lambda said: said[0])
    if as_json:
        print_json({"prints": [
            {"id": number, "history": [{"utc": iso_utc(wall_us), "kind": kind_name(type(said)), "note": said}
                                       for wall_us, said in both]} for number, both in told.items()
        ]})  # fmt: skip
        return
    for number, both in told.items():
        print("\n".join([f"print {number}", *(f"  {line}" for line in history_lines(both) or ["nothing is noted"])]))


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command()(note)
