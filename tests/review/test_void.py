"""A print whose start was taken back: shown as void, and part of no sum."""

from __future__ import annotations

import csv
import io
import json

import msgspec

from uvdose.exposure.states import Act
from uvdose.review.export import Wanted, write
from uvdose.review.gather import gather
from uvdose.review.text import render

from .conftest import BLUE


def _with_void(bindery) -> None:
    """A finished print of 60 s, a void one of 40 s, and one over a hole of 100 s in plain readings."""
    bindery.light(10, 400, 1.0)
    for act, seconds in ((Act.FINISH, 60), (Act.VOID, 40)):
        number = bindery.start(BLUE, "sill", "1")
        bindery.light(seconds, 400, 1.0)
        bindery.act(number, act)
    bindery.start(msgspec.structs.replace(BLUE, dose=900.0, unit="V.s"), "roof", "2")
    bindery.light(20, 400, 1.0)
    bindery.light(100, 400, silent=True)
    bindery.light(20, 400, 1.0)


def test_the_day(bindery) -> None:
    _with_void(bindery)
    day = gather(bindery.store, "2026-06-21")
    text = render(day)
    lines = text.splitlines()
    assert lines[0] == "2026-06-21: 3 exposures, 1 of them void"
    row = next(line for line in lines if line.startswith(" 2  "))
    assert row.split()[-4:] == ["void", "-", "mJ/cm²", "-"]
    story = lines[lines.index(row) + 2]
    assert story == "    void: started 10:01:10, taken back 10:01:50"
    assert "exposure 2" not in text, "neither on the timeline nor among what to look at"
    # 60 s on the sill; on the roof 20 s and 19 s read, and a hole of 101 s that is not measured.
    assert "1 exposure finished; 1:39 in the light in all, measured or bridged, and 1:41 missing; 0 of 1" in " ".join(
        text.split())
    void = json.loads(msgspec.json.encode(day.as_json()))["exposures"][1]
    assert void["state"] == "void" and void["stops"] is None


def test_the_export_has_no_stops_for_it(bindery) -> None:
    _with_void(bindery)
    out = io.StringIO(newline="")
    write(bindery.store, "exposures", "csv", Wanted(0, 1 << 60), out)
    rows = list(csv.DictReader(io.StringIO(out.getvalue(), newline="")))
    assert [(r["state"], r["stops [stops]"] == "") for r in rows[:2]] == [("finished", False), ("void", True)]
