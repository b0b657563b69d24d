"""Prints found again: by what they were printed with, when, how they were judged and what was noted of them.

From the documents that the journal keeps, never from raw readings: ten thousand prints are looked through at once. Of
each document only what is asked for is decoded.
"""

from __future__ import annotations

from collections.abc import Iterator

import msgspec

from ..journal.store import Store
from ..messages import Part
from ..model import Refusal
from ..notes import PrintNote, Verdict
from ..stamps import from_iso, iso_utc
from ..units import US_PER_S, stops_between

TONES = ("light", "right", "dark")
UNJUDGED = "none"
EVER_US = 1 << 60


class Sought(msgspec.Struct, frozen=True):
    """What prints are looked for; None: whatever. Words are parts of what was noted, in any case of letters.

    target: NAME or NAME:VERSION. verdict: one of `TONES`, or `UNJUDGED`. wall0_us..wall1_us: when they began. void:
    also those whose start was taken back.
    """

    target: str | None = None
    process: str | None = None
    paper: str | None = None
    coat: str | None = None
    film: str | None = None
    label: str | None = None
    text: str | None = None
    verdict: str | None = None
    frame: str | None = None
    sensor: str | None = None
    edition: str | None = None
    wall0_us: int = 0
    wall1_us: int = EVER_US
    void: bool = False


class _Noted(msgspec.Struct):
    process: str | None = None
    paper: str | None = None
    coat: str | None = None
    film: str | None = None


class _Target(msgspec.Struct):
    name: str
    version: int
    combination: _Noted = msgspec.field(default_factory=_Noted)


class _Plan(msgspec.Struct):
    target: _Target
    sensor: str
    frame: str
    label: str = ""
    part: Part | None = None


class _Shown(msgspec.Struct):
    dose: float
    target_dose: float
    unit: str


class PrintRow(msgspec.Struct, frozen=True):
    """One print. stops: given above the dose that it aimed at, None while it is not finished. tone: of its verdict,
    one of `TONES`; None where nobody said it. coating_age_s: at its start, as noted or from when it was coated."""

    id: int
    begun_utc: str
    label: str
    frame: str
    sensor: str
    target: str
    target_version: int
    state: str
    unit: str
    target_dose: float
    dose: float
    stops: float | None
    process: str | None
    paper: str | None
    coat: str | None
    film: str | None
    part: Part | None
    verdict: Verdict | None
    tone: str | None
    note: PrintNote | None
    coating_age_s: float | None

    @property
    def title(self) -> str:
        """What a person calls it: its label, else its place in an edition."""
        if self.label or self.part is None:
            return self.label
        return f"{self.part.name} {self.part.sheet}" + (f"/{self.part.layer}" if self.part.layer > 1 else "")


class FoundDoc(msgspec.Struct, frozen=True):
    """Prints, the newest first. found: how many there are in all."""

    found: int
    prints: list[PrintRow]


def find(store: Store, sought: Sought, limit: int) -> FoundDoc:
    """Prints that are as sought, at most `limit`. Calibration prints are none. Raises `Refusal`."""
    shown: list[PrintRow] = []
    found = 0
    for row in rows(store, sought):
        found += 1
        if len(shown) < limit:
            shown.append(row)
    return FoundDoc(found, shown)


def one(store: Store, number: int) -> PrintRow:
    """A print, or a calibration print, by its number. Raises `Refusal`."""
    store.exposure(number)
    row = store.db.execute(f"{_QUERY} WHERE id = ?", (number,)).fetchone()
    verdict, note = store.newest_note(Verdict, str(number))[1], store.newest_note(PrintNote, str(number))[1]
    _, begun_us, state, plan, shown = row
    return _row(number, begun_us, state, _plan(plan), shown, verdict, note)


def tone_of(verdict: Verdict | None) -> str | None:
    """A verdict in one word: as it was said, else by its stops."""
    if verdict is None or (verdict.tone is None and verdict.stops is None):
        return None
    if verdict.tone is not None:
        return verdict.tone
    assert verdict.stops is not None
    return TONES[1 + (verdict.stops > 0) - (verdict.stops < 0)]


def coating_age_s(note: PrintNote | None, begun_us: int) -> float | None:
    """How old the coat was when the print began; None where it was not noted."""
    if note is None:
        return None
    if note.coating_age_s is not None or note.coated_utc is None:
        return note.coating_age_s
    return max(0.0, (begun_us - from_iso(note.coated_utc)) / US_PER_S)


_QUERY = "SELECT id, begin_wall_us, state, plan, shown FROM exposure"


def rows(store: Store, sought: Sought) -> Iterator[PrintRow]:
    """Prints that are as sought, the newest first. Raises `Refusal`."""
    name, version = _target_of(store, sought.target)
    verdicts, notes = store.notes(Verdict), store.notes(PrintNote)
    query = f"{_QUERY} WHERE begin_wall_us >= ? AND begin_wall_us < ? ORDER BY id DESC"
    for number, begun_us, state, plan_text, shown in store.db.execute(query, (sought.wall0_us, sought.wall1_us)):
        if state == "void" and not sought.void:
            continue
        plan = _plan(plan_text)
        if not _fits(plan, sought, name, version):
            continue
        verdict, note = verdicts.get(str(number)), notes.get(str(number))
        if sought.verdict is not None and (tone_of(verdict) or UNJUDGED) != sought.verdict:
            continue
        if sought.text is not None and not _says(sought.text, *_texts(verdict, note)):
            continue
        yield _row(number, begun_us, state, plan, shown, verdict, note)


def _fits(plan: _Plan, sought: Sought, name: str | None, version: int | None) -> bool:
    used = plan.target
    if not used.version or name not in (None, used.name) or version not in (None, used.version):
        return False
    if sought.frame not in (None, plan.frame) or sought.sensor not in (None, plan.sensor):
        return False
    part = plan.part
    if sought.edition is not None and (part is None or (part.kind, part.name) != ("edition", sought.edition)):
        return False
    noted = used.combination
    wanted = ((sought.label, plan.label), (sought.process, noted.process), (sought.paper, noted.paper),
              (sought.coat, noted.coat), (sought.film, noted.film))  # fmt: skip
    return all(word is None or _says(word, said or "") for word, said in wanted)


def _target_of(store: Store, given: str | None) -> tuple[str | None, int | None]:
    """A target as it was typed, and its version. Raises `Refusal` for one that was never set."""
    if given is None:
        return None, None
    name, colon, version = given.replace(" v", ":", 1).partition(":")  # screens write "blue v2"
    store.versions(name)
    if not colon:
        return name, None
    digits = version.removeprefix("v")
    if not (digits.isascii() and digits.isdigit() and len(digits) < 10):
        raise Refusal(f"target {given!r}: give a name, or name and version, such as {name}:2", 2)
    return name, int(digits)


def _texts(verdict: Verdict | None, note: PrintNote | None) -> list[str]:
    said = [verdict.text] if verdict is not None else []
    return said + ([note.density, note.wash, note.toning, note.dilution, note.text] if note is not None else [])


def _says(word: str, *texts: str) -> bool:
    return any(word.casefold() in text.casefold() for text in texts)


def _plan(text: str) -> _Plan:
    return msgspec.json.decode(text, type=_Plan)


def _row(
    number: int, begun_us: int, state: str, plan: _Plan, shown_text: str, verdict: Verdict | None,
    note: PrintNote | None,
) -> PrintRow:
    shown = msgspec.json.decode(shown_text, type=_Shown)
    noted = plan.target.combination
    counts = state == "finished" and plan.target.version
    return PrintRow(
        number, iso_utc(begun_us), plan.label, plan.frame, plan.sensor, plan.target.name, plan.target.version, state,
        shown.unit, shown.target_dose, shown.dose, stops_between(shown.dose, shown.target_dose) if counts else None,
        noted.process, noted.paper, noted.coat, noted.film, plan.part, verdict, tone_of(verdict), note,
        coating_age_s(note, begun_us),
    )
