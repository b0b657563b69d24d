"""How a target's dose has moved: from version to version, over the year, and with what was noted of its prints.

What a print wanted is its dose less what its verdict says it got too much, in stops from the newest version's dose. So
prints of several versions compare, and a target that was corrected hides no drift. Only prints that were counted by
the same sensor on the same paper take part.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from itertools import pairwise

import msgspec

from ..exposure.target import Target
from ..journal.store import Kept, Store
from ..notes import PrintNote, Verdict
from ..stamps import iso_utc, local_date
from ..units import stops_between
from .judging import alike, bleaches
from .prints import TONES, coating_age_s, tone_of
from .ranks import FEWEST, Correlation, rank_correlation
from .spread import mean_and_spread

SEASONS = ("Dec-Feb", "Mar-May", "Jun-Aug", "Sep-Nov")


class Tally(msgspec.Struct, frozen=True):
    """Finished prints of a version or a season. wanted_stops: the mean of what they wanted, over `wanting` prints whose
    verdict says how much; None without any. first_utc, last_utc: empty without prints."""

    name: str
    prints: int
    light: int
    right: int
    dark: int
    wanting: int
    wanted_stops: float | None
    first_utc: str
    last_utc: str


class VersionUse(msgspec.Struct, frozen=True):
    """A version of a target and its prints. stops: its dose above the version before, None where they do not compare.

    compares: its prints are of the newest version's sensor, unit and paper.
    """

    version: int
    made_utc: str
    dose: float
    unit: str
    stops: float | None
    retired: bool
    compares: bool
    tally: Tally


class Link(msgspec.Struct, frozen=True):
    """What was noted against what was wanted. prints: those of which both are known. found: None where there are too
    few, or one of the two never varies."""

    what: str
    prints: int
    found: Correlation | None


class Point(msgspec.Struct, frozen=True):
    """One print of a sensor and paper as the newest version's, in stops from its dose: the dose that the print got, and
    the dose of the version that it was printed by."""

    id: int
    begun_utc: str
    stops: float
    target_stops: float
    tone: str | None


class DriftDoc(msgspec.Struct, frozen=True):
    """A target's course. points: its prints, the oldest first. left_out: prints judged light or dark without by how
    much; other: those that do not compare. fewest: so many prints a correlation needs.
    """

    target: str
    newest: int
    versions: list[VersionUse]
    seasons: list[Tally]
    links: list[Link]
    points: list[Point]
    left_out: int
    other: int
    fewest: int = FEWEST


class _Print(msgspec.Struct, frozen=True):
    """One finished print. stops, wanted: from the newest dose; wanted None where its verdict does not say."""

    id: int
    version: int
    stops: float | None
    target_stops: float | None
    begun_us: int
    begun_utc: str
    tone: str | None
    wanted: float | None
    note: PrintNote | None
    compares: bool


_LINKS: dict[str, Callable[[_Print], float | None]] = {
    "humidity": lambda p: p.note.humidity_percent if p.note is not None else None,
    "drying delay": lambda p: p.note.drying_delay_s if p.note is not None else None,
    "coating age": lambda p: coating_age_s(p.note, p.begun_us),
}


def drift_of(store: Store, name: str) -> DriftDoc:
    """The course of a target. Raises `Refusal` where there is none of that name."""
    versions = store.versions(name)
    newest = versions[-1]
    verdicts, notes = store.notes(Verdict), store.notes(PrintNote)
    prints: list[_Print] = []
    for kept in store.of_target(name):
        if kept.state != "finished" or kept.document.dose <= 0 or not kept.plan.target.version:
            continue
        compares = alike(kept.plan.target, newest) and not kept.plan.overridden
        subject = str(kept.plan.id)
        prints.append(_print(kept, newest, verdicts.get(subject), notes.get(subject), compares))
    uses = [_use(before, target, newest, prints) for before, target in pairwise([None, *versions]) if target]
    seasons = [_tally(season, [p for p in prints if _season(p) == season]) for season in SEASONS]
    links = [_link(what, value, prints) for what, value in _LINKS.items()]
    points = [Point(p.id, iso_utc(p.begun_us), p.stops, p.target_stops, p.tone) for p in prints
              if p.compares and p.stops is not None and p.target_stops is not None]  # fmt: skip
    left_out = sum(p.compares and p.tone is not None and p.wanted is None for p in prints)
    return DriftDoc(name, newest.version, uses, [s for s in seasons if s.prints], links, points, left_out,
                    sum(not p.compares for p in prints))  # fmt: skip


def _print(kept: Kept, newest: Target, verdict: Verdict | None, note: PrintNote | None, compares: bool) -> _Print:
    tone = tone_of(verdict)
    given = stops_between(kept.document.dose_as_proved, newest.dose)
    much = verdict.stops if verdict is not None else None
    if much is None and tone == "right":
        much = 0.0
    sign = -1 if bleaches(newest) else 1  # there too dark is too little light
    wanted = given - sign * much if compares and given is not None and much is not None else None
    utc = kept.document.started_utc or ""
    used = kept.plan.target
    own = stops_between(used.dose, newest.dose)
    return _Print(kept.plan.id, used.version, given, own, kept.begin_wall_us, utc, tone, wanted, note, compares)


def _use(before: Target | None, target: Target, newest: Target, prints: list[_Print]) -> VersionUse:
    own = [p for p in prints if p.version == target.version]
    stops = stops_between(target.dose, before.dose) if before is not None and alike(before, target) else None
    return VersionUse(target.version, target.made_utc, target.dose, target.unit, stops, target.retired,
                      alike(target, newest), _tally(f"v{target.version}", own))  # fmt: skip


def _tally(name: str, prints: list[_Print]) -> Tally:
    light, right, dark = (sum(p.tone == tone for p in prints) for tone in TONES)
    wanted = [p.wanted for p in prints if p.wanted is not None]
    ends = [p.begun_utc for p in prints if p.begun_utc] or [""]
    return Tally(name, len(prints), light, right, dark, len(wanted), mean_and_spread(wanted)[0], ends[0], ends[-1])


def _season(p: _Print) -> str:
    month = int(local_date(p.begun_us)[5:7])
    return SEASONS[month % 12 // 3]


def _link(what: str, value: Callable[[_Print], float | None], prints: Iterable[_Print]) -> Link:
    pairs = [(v, p.wanted) for p in prints if p.wanted is not None and (v := value(p)) is not None]
    found = rank_correlation([v for v, _ in pairs], [w for _, w in pairs])
    return Link(what, len(pairs), found)
