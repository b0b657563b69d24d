"""A print that ends while its sensor is away: day, export, recount, restart and the daemon say the same of it."""

from __future__ import annotations

import io
import json

import msgspec
import pytest

from uvdose.dose.response import identity_of, response_of
from uvdose.exposure.bench import Bench
from uvdose.exposure.document import document
from uvdose.exposure.states import Act
from uvdose.journal.replay import resume
from uvdose.messages import ExposureDoc
from uvdose.review.export import Wanted, write
from uvdose.review.gather import gather
from uvdose.review.recount import recount
from uvdose.review.text import render

from .conftest import BLUE, SENSORS, Bindery

EVER = Wanted(0, 1 << 60)
FIGURES = ("dose", "dose_low", "dose_high", "measured_s", "bridged_s", "missing_s")


def away(bindery: Bindery, sensor: str, silent_s: int = 20) -> int:
    """A print of 30 s in the light, the last `silent_s` of them with its sensor away, finished."""
    unit = bindery.bench.channels[sensor].track.response.unit
    bindery.light(20, 400, 1.0)
    number = bindery.start(msgspec.structs.replace(BLUE, dose=9000.0, unit=unit), sensor, "1")
    bindery.light(30 - silent_s, 400, 1.0)
    bindery.light(silent_s, 400, silent=True)
    bindery.act(number, Act.FINISH)
    return number


def live(bindery: Bindery, number: int) -> ExposureDoc:
    exposure = bindery.bench.exposures[number]
    return document(exposure, bindery.bench.channels[exposure.plan.sensor].track, bindery.clock.dose_us(), [])


def views(bindery: Bindery, number: int) -> list[dict[str, object]]:
    """What the journal's readers say of an exposure."""
    out = io.StringIO(newline="")
    write(bindery.store, "exposures", "jsonl", EVER, out)
    exported = next(r for r in map(json.loads, out.getvalue().splitlines()) if r["id"] == number)
    shown = next(p for p in gather(bindery.store, "2026-06-21").prints if p.document.id == number)
    counted = recount(bindery.store, number)
    assert counted.same and counted.kept_dose == counted.dose
    return [{k: v[k] for k in FIGURES} for v in (
        msgspec.to_builtins(shown.document), exported, msgspec.to_builtins(counted),
    )]


def figures(shown: ExposureDoc) -> dict[str, object]:
    return {k: getattr(shown, k) for k in FIGURES}


@pytest.mark.parametrize("sensor", ["sill", "roof"])
def test_it_settles_without_a_reading(bindery: Bindery, sensor: str) -> None:
    number = away(bindery, sensor)
    bindery.light(60, 400, silent=True)
    kept = bindery.store.exposure(number)
    assert not kept.settled and "it is settling" in render(gather(bindery.store, "2026-06-21"))
    assert views(bindery, number) == [figures(live(bindery, number))] * 3
    bindery.light(1, 400, silent=True)
    kept = bindery.store.exposure(number)
    assert kept.settled and kept.document.missing_s == 20 and kept.document.missing_dose > 0
    assert views(bindery, number) == [figures(live(bindery, number))] * 3 == [figures(kept.document)] * 3
    assert [e.data for e in bindery.store.events() if e.event == "gap"] == [{"kind": "missing", "seconds": 20.0}]
    bindery.light(20, 400, 1.0)  # the sensor comes back, and what it counted meanwhile changes nothing
    assert views(bindery, number) == [figures(kept.document)] * 3
    assert "it is settling" not in render(gather(bindery.store, "2026-06-21"))


@pytest.mark.parametrize("silent_s", [2, 20])
@pytest.mark.parametrize("sensor", ["sill", "roof"])
def test_a_reading_in_time_settles_it(bindery: Bindery, sensor: str, silent_s: int) -> None:
    number = away(bindery, sensor, silent_s)
    bindery.light(20, 400, silent=True)
    bindery.light(1, 400, 1.0)
    kept = bindery.store.exposure(number)
    assert kept.settled and kept.document.missing_s == 0 and kept.document.measured_s + kept.document.bridged_s == 30
    assert views(bindery, number) == [figures(kept.document)] * 3


@pytest.mark.parametrize("sensor", ["sill", "roof"])
def test_a_restart_settles_it_by_the_same_rule(bindery: Bindery, sensor: str) -> None:
    number = away(bindery, sensor)
    before = views(bindery, number)
    assert before[0] == before[1] == before[2], "the daemon has ended, and the journal's readers agree"
    bindery.clock.advance(3600)
    bindery.bench = Bench()
    for settings in SENSORS:
        bindery.bench.add_sensor(settings.name, identity_of(settings), response_of(settings))
    resume(bindery.store, bindery.bench, bindery.clock.dose_us())
    bindery.settle(bindery.bench.tick(bindery.clock.dose_us()))
    assert not bindery.store.exposure(number).settled, "a node that ran on may still have its say"
    due_us = bindery.bench.next_us(bindery.clock.dose_us())
    assert 0 < due_us - bindery.clock.dose_us() <= 5_000_000
    bindery.clock.advance(5)
    bindery.settle(bindery.bench.tick(bindery.clock.dose_us()))
    kept = bindery.store.exposure(number)
    assert kept.settled and kept.document.missing_s == 20
    assert views(bindery, number) == [figures(kept.document)] * 3 == [figures(live(bindery, number))] * 3


@pytest.mark.parametrize("sensor", ["sill", "roof"])
def test_out_again_after_it_was_settled_so(bindery: Bindery, sensor: str) -> None:
    number = away(bindery, sensor)
    bindery.light(100, 400, silent=True)
    bindery.light(5, 400, 1.0)
    bindery.act(number, Act.AGAIN)
    bindery.light(10, 400, 1.0)
    bindery.light(20, 400, silent=True)
    bindery.act(number, Act.FINISH)
    bindery.light(100, 400, silent=True)
    kept = bindery.store.exposure(number)
    assert kept.settled and kept.document.missing_s == 40 and kept.document.measured_s == 20
    assert views(bindery, number) == [figures(kept.document)] * 3
    bindery.light(5, 400, 1.0)
    assert views(bindery, number) == [figures(kept.document)] * 3


def test_a_finish_that_is_moved_is_no_longer_settled_so(bindery: Bindery) -> None:
    """The readings decide again. The node counted on unheard, and its register does not tell when: 15 s are missing."""
    number = away(bindery, "sill")
    bindery.light(100, 400, silent=True)
    bindery.light(5, 400, 1.0)
    record = bindery.store.acts(number)[-1]
    moved = msgspec.json.encode({"t_us": record.t_us - 5_000_000}).decode()
    bindery.db.execute("UPDATE act SET moved = ? WHERE number = ?", (moved, record.number))
    assert not recount(bindery.store, number).same
    assert (recount(bindery.store, number).measured_s, recount(bindery.store, number).missing_s) == (10, 15)
