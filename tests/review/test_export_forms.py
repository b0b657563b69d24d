"""The three forms of an export say the same, as its page describes it; what they say does not change unnoticed.

Oracles: the standard library's csv and json, pyarrow; golden files of an invented day (`golden/`).
"""

from __future__ import annotations

import csv
import io
import json
import sys
from datetime import datetime
from pathlib import Path

import msgspec
import pyarrow.parquet as pq
import pytest
from cli.conftest import ROOT, Homed

from uvdose.model import Refusal
from uvdose.review.columns import JSON, NUMBER, SCHEMA_VERSION, TABLES, TEXT, TIME, TRUTH, WHOLE, page
from uvdose.review.export import WHATS, Wanted, write
from uvdose.review.export_forms import refuse_parquet
from uvdose.review.labels import Labels
from uvdose.review.suppose import bed_of, imagine
from uvdose.review.suppose_text import Supposed, document, render

from .conftest import BLUE, NOON_US, Bindery

EVER = Wanted(0, 1 << 60)
GOLDEN = Path(__file__).parent / "golden"
KINDS = {WHOLE: int, NUMBER: (int, float), TRUTH: bool, TIME: str, TEXT: str, JSON: (dict, list)}


def text_of(printed: Bindery, what: str, form: str, wanted: Wanted = EVER) -> str:
    out = io.StringIO(newline="")
    write(printed.store, what, form, wanted, out)
    return out.getvalue()


def noted(printed: Bindery) -> Bindery:
    """With a note and a second version of the target."""
    again = msgspec.structs.replace(BLUE, version=3, dose=420.0, made_utc="2026-06-21T11:00:00.000Z")
    statements = printed.recorder.target(again)
    statements.append(("INSERT INTO note (id, wall_us, kind, subject, data) VALUES (1, ?, 'verdict', '1', ?)",
                       (NOON_US, '{"tone":"dark","text":"=1+1"}')))  # fmt: skip
    printed._commit(statements)
    return printed


@pytest.mark.parametrize("what", WHATS)
def test_columns_are_as_described(printed: Bindery, what: str) -> None:
    """Each row of JSON lines has every column and no other, in order, of its type; CSV heads are names and units."""
    described = TABLES[what]
    rows = [json.loads(line) for line in text_of(noted(printed), what, "jsonl").splitlines()]
    assert rows
    for row in rows:
        assert list(row) == [c.name for c in described]
        for column in described:
            assert row[column.name] is None or isinstance(row[column.name], KINDS[column.kind]), column
            if column.kind == TIME and row[column.name] is not None:
                assert datetime.fromisoformat(row[column.name]).utcoffset() is not None
    head = next(csv.reader(io.StringIO(text_of(printed, what, "csv"))))
    assert [name.split(" [")[0] for name in head] == [c.name for c in described]
    assert [" [" in name for name in head] == [bool(c.unit) for c in described]
    assert all(c.unit for c in described if c.kind == NUMBER) and all(c.meaning.endswith(".") for c in described)


@pytest.mark.parametrize("what", WHATS)
def test_parquet_says_what_json_says(printed: Bindery, tmp_path: Path, what: str) -> None:
    lines = [json.loads(line) for line in text_of(noted(printed), what, "jsonl").splitlines()]
    path = tmp_path / "out.parquet"
    with path.open("wb") as out:
        assert write(printed.store, what, "parquet", EVER, out) == len(lines)
    table = pq.read_table(path)
    assert table.schema.metadata[b"uvdose_schema"] == str(SCHEMA_VERSION).encode()
    head = next(csv.reader(io.StringIO(text_of(printed, what, "csv"))))
    for column, name in zip(TABLES[what], head, strict=True):
        told = {k.decode(): v.decode() for k, v in table.schema.field(column.name).metadata.items()}
        assert told["meaning"] == column.meaning
        assert name == (f"{column.name} [{told['unit']}]" if told["unit"] else column.name)
    for row, line in zip(table.to_pylist(), lines, strict=True):
        for column in TABLES[what]:
            read, said = row[column.name], line[column.name]
            if column.kind == JSON and read is not None:
                read = json.loads(read)
            if column.kind == TIME and read is not None:
                said = datetime.fromisoformat(said)
            assert read == said, column


def test_without_pyarrow(printed: Bindery, monkeypatch: pytest.MonkeyPatch) -> None:
    home = Homed(printed.path.parent)
    home.call("export", "--format", "parquet").refused(2, "--out")
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    with pytest.raises(Refusal, match="pip install pyarrow"):
        refuse_parquet()
    home.call("export", "--format", "parquet", "--out", printed.path.parent / "x").refused(4, "pip install pyarrow")
    assert not (printed.path.parent / "x").exists()


def test_parquet_by_the_command(printed: Bindery, tmp_path: Path) -> None:
    path = tmp_path / "light.parquet"
    ran = Homed(printed.path.parent).call(
        "export", "--what", "readings", "--sensor", "roof", "--format", "parquet", "--out", path
    )
    assert ran.code == 0, ran
    table = pq.read_table(path)
    assert set(table["sensor"].to_pylist()) == {"roof"} and table.schema.field("value").metadata[b"unit"] == b"V"
    Homed(printed.path.parent).call("export", "--sensor", "attic").refused(4, "no sensor 'attic'", "roof, sill")


def test_the_page_is_that_of_the_code() -> None:
    """`shared/export_schema.md` is what `uvdose export --schema` prints: write it anew when columns change."""
    assert (ROOT / "shared" / "export_schema.md").read_text(encoding="utf-8") == page()
    assert Homed(Path("/nonexistent")).call("export", "--schema").out == page()


def imagined(printed: Bindery) -> Supposed:
    bed = bed_of(printed.store, BLUE, "sill")
    day = Labels(printed.store, "sill", NOON_US, NOON_US + 3_600_000_000, bed.zero_at)
    begins = [NOON_US + s * 1_000_000 for s in (0, 40, 70, 150)]
    return Supposed(BLUE, "sill", 60.0, [], imagine(printed.store, BLUE, bed, day, begins, 60_000_000))


def golden(printed: Bindery, name: str) -> str:
    what, _, form = name.partition(".")
    if what == "suppose":
        supposed = imagined(printed)
        return render(supposed) + "\n" if form == "txt" else msgspec.json.format(
            msgspec.json.encode(document(supposed)), indent=1
        ).decode() + "\n"
    text = text_of(noted(printed), what, form)
    return "".join(text.splitlines(keepends=True)[:40])


@pytest.mark.parametrize("name", [
    "exposures.csv", "exposures.jsonl", "events.csv", "readings.csv", "readings.jsonl", "minutes.csv",
    "notes.csv", "targets.csv", "targets.jsonl", "suppose.json", "suppose.txt",
])  # fmt: skip
def test_golden(printed: Bindery, name: str) -> None:
    """What programs of others read: a change here is a change of the schema."""
    assert golden(printed, name) == (GOLDEN / name).read_bytes().decode()
