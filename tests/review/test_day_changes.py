"""What befell on a day: how long alarms were on, zeros and checks, and targets that were made."""

from __future__ import annotations

import json

import msgspec
import pytest

from uvdose.notes import Check, CheckStep, Levelled, ScaleTaken, ZeroTaken
from uvdose.review.changes import health_of, targets_made
from uvdose.review.recorded import read
from uvdose.stamps import from_iso, iso_utc

from .conftest import BLUE, NOON_US, Bindery

S = 1_000_000
DAY = from_iso("2026-06-21T00:00:00Z"), from_iso("2026-06-22T00:00:00Z")


def happened(b: Bindery, *told: tuple[str, str, str]) -> None:
    """Alarms that come (+) and go (-), at times of UTC."""
    for utc, sign, alarm in told:
        row = (0, from_iso(f"{utc}:00Z"), "alarm" if sign == "+" else "cleared", "sill", json.dumps({"alarm": alarm}))
        b.db.execute("INSERT INTO event (t_us, wall_us, event, sensor, data) VALUES (?, ?, ?, ?, ?)", row)


def test_how_long_alarms_were_on(bindery: Bindery) -> None:
    happened(
        bindery,
        ("2026-06-12T08:00", "+", "link"), ("2026-06-21T01:00", "-", "link"),  # on since days before: an hour of it
        ("2026-06-20T22:00", "+", "frozen"), ("2026-06-20T23:00", "-", "frozen"),  # gone before the day began
        ("2026-06-21T08:00", "+", "silent"), ("2026-06-21T08:05", "-", "silent"),
        ("2026-06-21T09:00", "+", "silent"), ("2026-06-21T09:00", "-", "silent"),
        ("2026-06-21T10:00", "-", "noisy"),  # its begin is not kept
        ("2026-06-21T23:30", "+", "gap"), ("2026-06-22T03:00", "-", "gap"),  # half an hour of it
    )  # fmt: skip
    sill, = health_of(bindery.store, [], *DAY)
    told = {a.alarm: (a.times, a.seconds, a.lasting) for a in sill.alarms}
    assert told == {"link": (0, 3600, False), "silent": (2, 300, False), "gap": (1, 1800, True)}
    next_day, = health_of(bindery.store, [], DAY[1], DAY[1] + 86_400 * S)
    assert {a.alarm: (a.times, a.seconds, a.lasting) for a in next_day.alarms} == {"gap": (0, 3 * 3600, False)}


def test_pauses_and_full_scale(bindery: Bindery) -> None:
    bindery.light(10, 400, 0.5)
    bindery.light(80, 400, silent=True)
    bindery.light(7, 1023, 0.5, full=True)
    bindery.light(50, 400, 0.5, silent=True)
    bindery.light(10, 400, 0.5)
    roof, sill = health_of(bindery.store, read(bindery.store, *DAY), *DAY)
    assert (sill.holes, sill.holes_s, sill.longest_hole_s, sill.saturated_s) == (1, 81, 81, 7)
    assert (roof.holes, roof.saturated_s) == (1, 0)
    assert [h.holes for h in health_of(bindery.store, read(bindery.store, *DAY), NOON_US - 9 * S, NOON_US)] == []


def test_what_was_done_to_a_sensor(bindery: Bindery) -> None:
    bindery.say("zero", "sill", ZeroTaken(0.4, 0.01, 0.1, 60, 60.0, 0.0, "counts", 0.2, 0.01))
    bindery.say("check", "sill", Check((CheckStep("dark", True, ""), CheckStep("shade", None, ""))))
    bindery.say("check", "roof", Check((CheckStep("dark", False, ""),)))
    bindery.say("scale", "sill", ScaleTaken(0.0127, 0.0126, 0.0128, 0.004, "counts", 60.0, 10, 0.1, old_scale=0.0125))
    bindery.say("level", "sill", Levelled(2.0, 1.0, 3.0, 0.031, 0.01, True, 1.2, 40.0))
    roof, sill = health_of(bindery.store, [], *DAY)
    assert [(n.kind, n.ok, n.line) for n in roof.notes] == [("check", False, "check failed: dark")]
    assert [(n.kind, n.ok) for n in sill.notes] == [("zero", None), ("check", True), ("scale", None), ("level", True)]
    assert [n.line for n in sill.notes] == [
        "zero 0.400 counts, before 0.200 counts", "check passed", "scale 0.0127 mW/cm² per counts, before 0.0125",
        "leans 2.0° toward the sun, reads +3.1%",
    ]  # fmt: skip
    assert health_of(bindery.store, [], DAY[1], DAY[1] + S) == []


def test_targets_made(bindery: Bindery) -> None:
    """Only versions of the day, each against the one before it, whatever day that was of."""
    at = [iso_utc(NOON_US + k * 3600 * S) for k in range(4)]
    bindery.keep(msgspec.structs.replace(BLUE, version=3, dose=800.0, made_utc=at[0], basis="strip 2"))
    bindery.keep(msgspec.structs.replace(BLUE, name="brown", version=1, dose=50.0, made_utc=at[1]))
    bindery.keep(msgspec.structs.replace(BLUE, name="brown", version=2, dose=70.0, unit="V.s", made_utc=at[2]))
    bindery.keep(msgspec.structs.replace(BLUE, version=4, dose=1.0, made_utc=iso_utc(DAY[1])))
    found = targets_made(bindery.store, *DAY)
    assert [(t.name, t.version, t.before_version, t.before_dose) for t in found] == [
        ("blue", 3, 2, 400.0), ("brown", 1, 0, None), ("brown", 2, 1, 50.0)
    ]  # fmt: skip
    assert found[0].stops == pytest.approx(1) and found[0].basis == "strip 2"
    assert [t.stops for t in found[1:]] == [None, None], "no version before it, and another unit"
