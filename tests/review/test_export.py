"""What is taken out, read back by the standard library, is what was kept."""

from __future__ import annotations

import csv
import io
import json

import msgspec
import pytest

from uvdose.model import Refusal
from uvdose.review.export import Wanted, write
from uvdose.review.outfile import fresh_file
from uvdose.stamps import day_bounds

from .conftest import BLUE

EVER = Wanted(0, 1 << 60)


def taken_out(store, what: str, form: str = "csv", wanted: Wanted = EVER) -> str:
    out = io.StringIO(newline="")
    write(store, what, form, wanted, out)
    return out.getvalue()


def table(text: str) -> list[dict[str, str]]:
    assert text.endswith("\r\n") and "\n" not in text.replace("\r\n", "")
    return list(csv.DictReader(io.StringIO(text, newline="")))


def test_exposures(printed) -> None:
    rows = table(taken_out(printed.store, "exposures"))
    assert [r["id"] for r in rows] == ["1", "2"]
    # Two units meet, so that the header sends to the column that names them.
    assert [(r["unit"], float(r["target_dose [see unit]"])) for r in rows] == [("mJ/cm2", 400.0), ("V.s", 60.0)]
    assert rows[0]["paper"] == "rag, 120 g" and rows[0]["label"] == "fern"
    assert float(rows[0]["dose [see unit]"]) == printed.store.exposure(1).document.dose
    assert float(rows[0]["measured_s [s]"]) == 118 and rows[1]["finished_utc"] == ""


def test_one_unit_stands_in_the_header(printed) -> None:
    printed.db.execute("DELETE FROM exposure WHERE id = 2")
    assert float(table(taken_out(printed.store, "exposures"))[0]["dose [mJ/cm2]"]) == pytest.approx(490)


def test_events(printed) -> None:
    rows = table(taken_out(printed.store, "events"))
    kept = printed.store.events()
    assert [(int(r["id"]), r["utc"], r["event"], json.loads(r["data"])) for r in rows] == [
        (e.id, e.utc, e.event, e.data) for e in kept
    ]
    lines = [json.loads(line) for line in taken_out(printed.store, "events", "jsonl").splitlines()]
    assert [line["id"] for line in lines] == [e.id for e in kept]


def test_readings(printed) -> None:
    rows = table(taken_out(printed.store, "readings"))
    sill = [r for r in rows if r["sensor"] == "sill"]
    roof = [r for r in rows if r["sensor"] == "roof"]
    kept = list(printed.store.readings("sill", 0))
    assert [(round(float(r["dose_time_s [s]"]) * 1e6), int(r["register [counts.ms]"])) for r in sill] == [
        (t, reading.register) for t, reading in kept
    ]
    assert sill[0]["utc"] == "2026-06-21T10:00:01.000Z"
    assert {(r["value [see value_unit]"], r["value_unit"]) for r in roof} == {("1.0", "V"), ("0.5", "V")}
    assert {(float(r["irradiance [see irradiance_unit]"]), r["irradiance_unit"]) for r in sill} == {
        (5.0, "mW/cm2"), (2.5, "mW/cm2")
    }  # fmt: skip
    assert roof[0]["register [counts.ms]"] == "" and len(roof) == 208


def test_a_stretch_may_begin_inside_a_chunk(printed) -> None:
    whole = table(taken_out(printed.store, "readings"))
    begin = day_bounds("2026-06-21")[0] + (10 * 3600 + 60) * 1_000_000
    part = table(taken_out(printed.store, "readings", wanted=Wanted(begin, begin + 30_000_000)))
    expected = [r for r in whole if "2026-06-21T10:01:00.000Z" <= r["utc"] < "2026-06-21T10:01:30.000Z"]
    assert part == expected and len(part) == 60


@pytest.mark.parametrize("sign", list("=+-@"))
def test_no_text_of_a_person_becomes_a_formula(bindery, sign: str) -> None:
    label = f'{sign}HYPERLINK("x")'
    bindery.light(30, 400, 1.0)
    bindery.start(msgspec.structs.replace(BLUE, dose=9000.0), "sill", label, label)
    bindery.light(5, 0, -0.5)
    row = table(taken_out(bindery.store, "exposures"))[0]
    assert row["label"] == row["frame"] == f"'{label}"
    # A number below zero is no text, and JSON lines stay exact.
    rows = table(taken_out(bindery.store, "readings"))
    assert {r["value [see value_unit]"] for r in rows if r["sensor"] == "roof"} == {"1.0", "-0.5"}
    assert json.loads(taken_out(bindery.store, "exposures", "jsonl"))["label"] == label


def test_a_file_is_whole_under_its_name_or_not_there(printed, tmp_path) -> None:
    path = tmp_path / "out.csv"
    with fresh_file(path, False) as out:
        write(printed.store, "exposures", "csv", EVER, out)
        assert not path.exists()
    whole = path.read_bytes()
    assert whole.startswith(b"id,") and whole.endswith(b"\r\n") and b"\r\r" not in whole
    with pytest.raises(Refusal, match=r"is there already.*--force"), fresh_file(path, False):
        raise AssertionError("it is told before anything is written")
    printed.db.execute("UPDATE chunk SET data = x'00' WHERE id = 2")
    with pytest.raises(Refusal, match="raw readings 2"), fresh_file(path, True) as out:
        write(printed.store, "readings", "csv", EVER, out)
    assert path.read_bytes() == whole and [p.name for p in tmp_path.iterdir() if "out" in p.name] == ["out.csv"]
    with fresh_file(path, True) as out:
        out.write("new")
    assert path.read_text() == "new"
    with pytest.raises(Refusal, match="cannot be written"), fresh_file(tmp_path / "none" / "x", False):
        pass


def test_unknown_kinds_are_refused(printed) -> None:
    for what, form in (("all", "csv"), ("events", "xml")):
        with pytest.raises(Refusal):
            taken_out(printed.store, what, form)


def test_a_damaged_chunk_is_said(printed) -> None:
    printed.db.execute("UPDATE chunk SET data = x'00' WHERE id = 1")
    with pytest.raises(Refusal, match="raw readings 1 of the journal cannot be read"):
        taken_out(printed.store, "readings")
