"""What else befell on a day: targets that were made, and how the sensors did."""

from __future__ import annotations

from collections.abc import Sequence

from ..exposure.target import Target
from ..journal import daily
from ..journal.store import Store
from ..notes import Check, Doc, Levelled, ScaleTaken, ZeroTaken
from ..stamps import iso_utc
from ..units import US_PER_S, stops_between
from .day import AlarmOfDay, NoteOfDay, SensorHealth, TargetChange
from .layout import figure, unit_text
from .recorded import Recorded

_LOOK_BACK_US = 14 * 86_400 * US_PER_S


def targets_made(store: Store, wall0_us: int, wall1_us: int) -> list[TargetChange]:
    """Versions of targets made in a stretch of wall time, in the order in which they were made."""
    found = []
    for target, before in daily.targets_made(store, wall0_us, wall1_us):
        found.append(TargetChange(
            name=target.name, version=target.version, utc=target.made_utc, dose=target.dose, unit=target.unit,
            before_version=before.version if before is not None else 0,
            before_dose=before.dose if before is not None else None,
            before_unit=before.unit if before is not None else "",
            stops=_stops(target, before), basis=target.basis, reason=target.reason, retired=target.retired,
        ))
    return found


def _stops(target: Target, before: Target | None) -> float | None:
    return None if before is None or before.unit != target.unit else stops_between(target.dose, before.dose)


def health_of(store: Store, read: Sequence[Recorded], wall0_us: int, wall1_us: int) -> list[SensorHealth]:
    """How each sensor did that was read, had an alarm or was seen to on a day; in the order of their names."""
    alarms = _alarms(store, wall0_us, wall1_us)
    notes = _notes(store, wall0_us, wall1_us)
    names = {r.name for r in read if len(r.holes(wall0_us, wall1_us)) or ((r.wall_us >= wall0_us) & (
        r.wall_us < wall1_us)).any()}
    found = []
    for name in sorted(names | set(alarms) | set(notes)):
        mine = [r for r in read if r.name == name]
        holes = [int(us) / US_PER_S for r in mine for us in r.holes(wall0_us, wall1_us)]
        found.append(SensorHealth(
            name=name, alarms=alarms.get(name, []), holes=len(holes), holes_s=sum(holes),
            longest_hole_s=max(holes, default=0.0), saturated_s=sum(r.full_s(wall0_us, wall1_us) for r in mine),
            notes=notes.get(name, []),
        ))
    return found


def _alarms(store: Store, wall0_us: int, wall1_us: int) -> dict[str, list[AlarmOfDay]]:
    """Alarms of a day by sensor; one that came up to two weeks before and was still on counts from midnight."""
    since: dict[tuple[str, str], int] = {}
    times: dict[tuple[str, str], int] = {}
    spent: dict[tuple[str, str], int] = {}
    last_us = wall0_us
    for wall_us, event, sensor, alarm in daily.alarms(store, wall0_us - _LOOK_BACK_US, wall1_us):
        key = str(sensor), str(alarm)
        last_us = max(last_us, wall_us)
        if event == "alarm":
            since.setdefault(key, wall_us)
            if wall_us >= wall0_us:
                times[key] = times.get(key, 0) + 1
        elif (begun_us := since.pop(key, None)) is not None and wall_us > wall0_us:
            spent[key] = spent.get(key, 0) + wall_us - max(begun_us, wall0_us)
    until_us = min(wall1_us, max(last_us, store.last_times()[1]))
    for key, begun_us in since.items():
        spent[key] = spent.get(key, 0) + max(0, until_us - max(begun_us, wall0_us))
    found: dict[str, list[AlarmOfDay]] = {}
    for sensor, alarm in sorted(spent.keys() | times.keys()):
        key = sensor, alarm
        found.setdefault(sensor, []).append(
            AlarmOfDay(alarm, times.get(key, 0), spent.get(key, 0) / US_PER_S, key in since)
        )
    return found


def _notes(store: Store, wall0_us: int, wall1_us: int) -> dict[str, list[NoteOfDay]]:
    found: dict[str, list[NoteOfDay]] = {}
    for kind in (ZeroTaken, Check, ScaleTaken, Levelled):
        for wall_us, sensor, note in daily.notes_made(store, kind, wall0_us, wall1_us):
            found.setdefault(sensor, []).append(_told(iso_utc(wall_us), note))
    return {sensor: sorted(notes, key=lambda n: n.utc) for sensor, notes in found.items()}


def _told(utc: str, note: Doc) -> NoteOfDay:
    """A note on a sensor in one line."""
    if isinstance(note, ZeroTaken):
        unit = unit_text(note.unit)
        return NoteOfDay(utc, "zero", f"zero {figure(note.zero)} {unit}, before {figure(note.old_zero)} {unit}")
    if isinstance(note, ScaleTaken):
        before = "" if note.old_scale is None else f", before {note.old_scale:.4g}"
        return NoteOfDay(utc, "scale", f"scale {note.scale:.4g} mW/cm² per {unit_text(note.unit)}{before}")
    if isinstance(note, Levelled):
        return NoteOfDay(utc, "level", f"leans {note.degrees:.1f}° toward the sun, reads {note.over:+.1%}", note.steady)
    if isinstance(note, Check):
        failed = [step.step for step in note.steps if step.ok is False]
        return NoteOfDay(utc, "check", f"check failed: {', '.join(failed)}" if failed else "check passed", not failed)
    raise TypeError(type(note))
