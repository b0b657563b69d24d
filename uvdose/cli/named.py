"""Names that a home holds, for completion: targets, sensors, frames, prints. Whatever cannot be read has none."""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterator
from contextlib import closing
from typing import TYPE_CHECKING

from .offered import Offer

if TYPE_CHECKING:
    from ..config import Home
    from ..journal.store import Kept, Store

LATELY_S = 14 * 86_400
MOST = 200  # of the last prints, where frames are asked for


def named(kind: str, home: Home) -> list[Offer]:
    """The names of a kind; none of a kind that is not known. Raises what the journal's file raises."""
    if kind == "sensors":
        return _sensors(home)
    if kind == "processes":
        from ..calibrate.processes import table

        return [Offer(p.name, f"judge it {p.judge.when}") for p in table().processes]
    if kind in _PLAIN:
        return [Offer(*words) for words in _PLAIN[kind]]
    if kind not in _KEPT or not home.journal_file.is_file():
        return []
    from ..journal.schema import open_reading
    from ..journal.store import Store

    with closing(open_reading(home.journal_file)) as db:
        return list(_KEPT[kind](Store(db)))


_PLAIN = {
    "days": (("today",), ("yesterday",)),
    "acts": (("start",), ("hold",), ("resume",), ("finish",)),
}


def _sensors(home: Home) -> list[Offer]:
    """As the settings name them; the rest of the settings may be as wrong as it likes."""
    if not home.settings_file.is_file():
        return []
    read = tomllib.loads(home.settings_file.read_text(encoding="utf-8"))
    found = read.get("sensor", [])
    rows = [row for row in found if isinstance(row, dict)] if isinstance(found, list) else []
    return [Offer(str(row["name"]), str(row.get("link", ""))) for row in rows if "name" in row]


def _targets(store: Store) -> Iterator[Offer]:
    from ..review.layout import figure, unit_text

    for target in store.targets():
        if not target.retired:
            yield Offer(target.name, f"v{target.version}, {figure(target.dose)} {unit_text(target.unit)}")


def _frames(store: Store) -> Iterator[Offer]:
    last: dict[str, str | None] = {}
    for frame, target, _ in store.lately_used(MOST):
        last.setdefault(frame, target)
    return (Offer(frame, f"last {target}" if target else "") for frame, target in last.items())


def _print(kept: Kept) -> Offer:
    doc = kept.document
    return Offer(str(doc.id), ", ".join(filter(None, (doc.label, doc.title, f"frame {doc.frame}", doc.state))))


def _out(act: str | None) -> Callable[[Store], Iterator[Offer]]:
    """Prints that are out, or those of them that an act is open to."""

    def find(store: Store) -> Iterator[Offer]:
        from ..exposure.states import TABLE, Act, State

        for kept in store.unsettled():
            state = kept.document.state
            if act is None or isinstance(TABLE[State(state)][Act(act)], State):
                yield _print(kept)

    return find


def _late(state: str | None) -> Callable[[Store], Iterator[Offer]]:
    """Prints of the last days, the newest first; of one state, or of all."""

    def find(store: Store) -> Iterator[Offer]:
        from ..clock import host_wall_us

        for kept in reversed(store.between(host_wall_us() - LATELY_S * 1_000_000, 1 << 62)):
            if state in (None, kept.document.state):
                yield _print(kept)

    return find


def _sheets(kind: str) -> Callable[[Store], Iterator[Offer]]:
    def find(store: Store) -> Iterator[Offer]:
        from ..notes import Calibration, StripPlan

        for number, sheet in store.notes(Calibration).items():
            if isinstance(sheet.plan, StripPlan) == (kind == "strips") and not sheet.dropped:
                yield Offer(number, ", ".join(filter(None, map(sheet.noted.get, ("process", "paper")))))

    return find


def _films(store: Store) -> Iterator[Offer]:
    from ..notes import Film

    return (Offer(name) for name in store.notes(Film))


def _editions(store: Store) -> Iterator[Offer]:
    from ..notes import Edition

    return (Offer(name, f"{edition.prints} prints") for name, edition in store.notes(Edition).items())


_KEPT: dict[str, Callable[[Store], Iterator[Offer]]] = {
    "targets": _targets, "frames": _frames, "films": _films, "editions": _editions,
    "strips": _sheets("strips"), "tablets": _sheets("tablets"), "running": _out(None), "hold": _out("hold"),
    "resume": _out("resume"), "finish": _out("finish"), "again": _late("finished"), "late": _late(None),
}  # fmt: skip
KINDS = {"sensors", "processes", *_PLAIN, *_KEPT}
