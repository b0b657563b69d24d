"""Records as CSV (RFC 4180), JSON lines or Parquet. All of them stream.

A text in CSV that begins as a formula does (= + - @) gets an apostrophe before it, so that no spreadsheet computes
it; numbers, JSON lines and Parquet stay as they are.
"""

from __future__ import annotations

import csv
from collections.abc import Callable, Iterable, Sequence
from itertools import islice
from typing import Any, BinaryIO, TextIO

import msgspec

from ..cells import to_cell
from ..model import Refusal
from ..stamps import from_iso
from .columns import JSON, NUMBER, SCHEMA_VERSION, TIME, TRUTH, WHOLE, Column, header, unit_of

FORMS = ("csv", "jsonl", "parquet")
PARQUET = "parquet"
ROWS_AT_A_TIME = 10_000

Record = dict[str, Any]
Units = dict[str, list[str]]
Writer = Callable[[Iterable[Record], Sequence[Column], Units, Any], int]


def write_jsonl(records: Iterable[Record], columns: Sequence[Column], units: Units, out: TextIO) -> int:
    """One object a line; returns how many."""
    count = 0
    for record in records:
        out.write(msgspec.json.encode(record).decode() + "\n")
        count += 1
    return count


def write_csv(records: Iterable[Record], columns: Sequence[Column], units: Units, out: TextIO) -> int:
    """A header and one row each; returns how many."""
    table = csv.writer(out, lineterminator="\r\n")
    table.writerow([header(column, units) for column in columns])
    names = [column.name for column in columns]
    count = 0
    for record in records:
        table.writerow([_cell(record.get(name)) for name in names])
        count += 1
    return count


def _cell(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, dict | list):
        return msgspec.json.encode(value).decode()
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return to_cell(value)
    return repr(value) if isinstance(value, float) else str(value)


def refuse_parquet() -> None:
    """Raises `Refusal` where what writes Parquet is not installed."""
    try:
        import pyarrow.parquet  # noqa: F401
    except ImportError:
        raise Refusal("Parquet wants pyarrow, which is not installed: `pip install pyarrow`; or take csv or jsonl") \
            from None


def write_parquet(records: Iterable[Record], columns: Sequence[Column], units: Units, out: BinaryIO) -> int:
    """A table with typed columns, each with its unit and meaning as metadata; returns how many rows."""
    import pyarrow as pa
    from pyarrow import parquet

    kinds = {
        WHOLE: pa.int64(), NUMBER: pa.float64(), TRUTH: pa.bool_(), TIME: pa.timestamp("us", tz="UTC")
    }
    schema = pa.schema(
        [
            pa.field(c.name, kinds.get(c.kind, pa.string()), metadata={
                "unit": unit_of(c, units), "meaning": c.meaning, "type": c.kind
            }) for c in columns
        ], metadata={"uvdose_schema": str(SCHEMA_VERSION)},
    )  # fmt: skip
    rest, count = iter(records), 0
    with parquet.ParquetWriter(out, schema) as writer:
        while some := list(islice(rest, ROWS_AT_A_TIME)):
            filled = [
                pa.array([_typed(record.get(c.name), c.kind) for record in some], kinds.get(c.kind, pa.string()))
                for c in columns
            ]
            writer.write_table(pa.Table.from_arrays(filled, schema=schema))
            count += len(some)
    return count


def _typed(value: object, kind: str) -> object:
    if value is None:
        return None
    if kind == JSON:
        return msgspec.json.encode(value).decode()
    return from_iso(str(value)) if kind == TIME else value
