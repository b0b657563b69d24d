"""Targets and notes put into the journal: through the daemon when it answers, else under the home's lock."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from contextlib import closing
from typing import TYPE_CHECKING, TypeVar

import msgspec

from ..model import Refusal

if TYPE_CHECKING:
    import sqlite3

    from ..asked import TargetRequest
    from ..config import Home
    from ..dose.response import Identity
    from ..exposure.target import Target
    from ..journal.backlog import Statement
    from ..journal.store import Store
    from ..notes import Doc
    from .asking import Daemon

D = TypeVar("D", bound="Doc")
MOST_TRIES, ON_DISK_S = 20, 0.05
REFUSED = 4

NOT_ON_DISK = "{what}, but not yet on disk; `uvdose status` says why, and it is tried again"


def keep_target(place: Home, request: TargetRequest) -> Target:
    """A target as a new version. Raises `Refusal`."""
    for what, value in msgspec.structs.asdict(request).items():
        if isinstance(value, float) and not math.isfinite(value):  # here, since JSON cannot carry NaN to the daemon
            raise Refusal(f"{what.replace('_', ' ')} {value}: give a finite number", 2)
    return _target_through_daemon(place, request) or _target_under_lock(place, request)


def keep_note(place: Home, kind: str, subject: str | None, note: Doc) -> str:
    """A note; returns its subject, for a new one the next number of its kind. Raises `Refusal`."""
    from ..asked import NoteRequest
    from ..notes import checked
    from .asking import find_daemon

    data = msgspec.to_builtins(note)
    checked(kind, data)  # here, since JSON cannot carry NaN to the daemon
    daemon = find_daemon(place)
    if daemon is None:
        return _note_under_lock(place, kind, subject, note)
    made = daemon.post("notes", NoteRequest(kind, data, subject), dict)
    if not made["recorded"]:
        raise Refusal(NOT_ON_DISK.format(what="it is noted"))
    return str(made["subject"])


def identities_now(place: Home, store: Store) -> list[Identity]:
    """Each sensor as it is set up now, with what its node last said of itself; none in a home of recordings, which has
    no settings, or none of a sensor."""
    from ..config import load_settings
    from ..dose.response import identity_of
    from ..settings_bench import names_no_sensor

    if names_no_sensor(place.settings_file):
        return []
    who = store.known_who()
    return [identity_of(sensor, who.get(sensor.name)) for sensor in load_settings(place).sensor]


def refuse_older_settings(place: Home, sensor: str) -> None:
    """Raises `Refusal` where a daemon works by settings of a sensor that the file has changed since.

    What can be taken at once is taken; a target would be bound to the rest as it was, though the file says otherwise.
    """
    from ..messages import SettingsTaken
    from .asking import find_daemon

    daemon = find_daemon(place)
    if daemon is None:
        return
    later = daemon.post("settings/reread", {}, SettingsTaken).later
    if waits := [key for key in later if key.startswith(f"sensor {sensor}.")]:
        raise Refusal(f"the daemon works by the settings of before ({', '.join(waits)} was changed since): end"
                      " `uvdose serve`, start it again, then say this again")  # fmt: skip


def tell_older_settings(place: Home, daemon: Daemon) -> None:
    """Where the settings were written after the daemon began: it takes what can be taken at once; one line says what
    waits for its next start. Costs two looks at files where they were not."""
    from ..messages import SettingsTaken
    from .show import note

    try:
        if place.settings_file.stat().st_mtime_ns <= place.runtime_file.stat().st_mtime_ns:
            return
    except OSError:
        return
    try:
        told = daemon.post("settings/reread", {}, SettingsTaken)
    except Refusal as err:
        note(f"uvdose.toml was changed since the daemon began, and cannot be taken: {err.line}")
        return
    if told.taken:
        note(f"uvdose.toml was changed; the daemon goes by it from now on ({'; '.join(told.taken)})")
    if told.later:
        note(f"uvdose.toml was changed since the daemon began ({', '.join(told.later)}): it goes by the old settings"
             " until you end `uvdose serve` and start it again")  # fmt: skip


def change_note(place: Home, kind: type[D], subject: str, change: Callable[[int, D | None], D]) -> tuple[int, D]:
    """A note made of the newest one on its subject; returns the id of the new version, and the note.

    change: is given the id of the version and what it says, 0 and None where there is none. It is asked anew where
    somebody else was quicker, and raises `Refusal` where what is wanted makes no sense any more.
    """
    from ..asked import NoteRequest
    from ..clock import pause
    from ..messages import NoteTaken
    from ..notes import checked, kind_name
    from .asking import find_daemon, journal

    name = kind_name(kind)
    daemon = find_daemon(place)
    if daemon is None:
        return _change_under_lock(place, kind, subject, change)
    tries = 0
    while True:
        with journal(place) as store:
            number, before = store.newest_note(kind, subject)
        note = change(number, before)
        data = msgspec.to_builtins(note)
        checked(name, data)
        try:
            taken = daemon.post("notes", NoteRequest(name, data, subject, number), NoteTaken)
        except Refusal as err:
            tries += 1
            if err.code != REFUSED or tries == MOST_TRIES:
                raise
            pause(ON_DISK_S)  # who was quicker may not be on disk yet
            continue
        if not taken.recorded:
            raise Refusal(NOT_ON_DISK.format(what="it is noted"))
        return taken.id, note


def _target_through_daemon(place: Home, request: TargetRequest) -> Target | None:
    from .asking import find_daemon, journal

    daemon = find_daemon(place)
    if daemon is None:
        return None
    made = daemon.post("targets", request, dict)
    if not made["recorded"]:
        raise Refusal(NOT_ON_DISK.format(what="the target is set"))
    with journal(place) as store:
        return next(t for t in store.versions(request.name) if t.version == made["version"])


def _target_under_lock(place: Home, request: TargetRequest) -> Target:
    from ..clock import host_wall_us
    from ..exposure.setting import next_version
    from ..home import lock
    from ..journal.imported import identities_brought_in
    from ..journal.recorder import Recorder
    from ..journal.schema import open_writing
    from ..journal.store import Store
    from ..stamps import iso_utc

    wall_us = host_wall_us()
    with lock(place, "uvdose target set"), closing(open_writing(place.journal_file)) as db:
        store = Store(db)
        sensors = identities_now(place, store)
        if not sensors and request.sensor is not None:  # bound to a recording only where that is said
            sensors = identities_brought_in(db)
        last = store.newest_target(request.name)
        like = store.newest_target(request.like) if request.like is not None else None
        target = next_version(request, last, sensors, iso_utc(wall_us), like)
        _write(db, Recorder(db, lambda _: wall_us).target(target))
    return target


def _note_under_lock(place: Home, kind: str, subject: str | None, note: Doc) -> str:
    from ..clock import host_wall_us
    from ..home import lock
    from ..journal.recorder import Recorder
    from ..journal.schema import open_writing

    wall_us = host_wall_us()
    with lock(place, f"uvdose, noting a {kind}"), closing(open_writing(place.journal_file)) as db:
        noted = Recorder(db, lambda _: wall_us).note(kind, subject, note, wall_us)
        _write(db, noted.statements)
    return noted.subject


def _change_under_lock(
    place: Home, kind: type[D], subject: str, change: Callable[[int, D | None], D]
) -> tuple[int, D]:
    from ..clock import host_wall_us
    from ..home import lock
    from ..journal.recorder import Recorder
    from ..journal.schema import open_writing
    from ..journal.store import Store
    from ..notes import checked, kind_name

    name, wall_us = kind_name(kind), host_wall_us()
    with lock(place, f"uvdose, noting a {name}"), closing(open_writing(place.journal_file)) as db:
        note = change(*Store(db).newest_note(kind, subject))
        checked(name, msgspec.to_builtins(note))
        noted = Recorder(db, lambda _: wall_us).note(name, subject, note, wall_us)
        _write(db, noted.statements)
    return noted.id, note


def _write(db: sqlite3.Connection, statements: Sequence[Statement]) -> None:
    """All of them, or none. Raises `Refusal`."""
    import sqlite3

    from ..journal.moment import whole_or_not

    try:
        with whole_or_not(db):
            for sql, values in statements:
                db.execute(sql, values)
    except sqlite3.Error as err:
        raise Refusal(f"the journal cannot be written: {err}; nothing was kept: make room on its disk") from None
