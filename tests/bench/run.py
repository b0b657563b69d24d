"""The benchmark, run by hand: `python tests/bench/run.py [--only NAME] [--quick]`.

Every row is a ratio that was measured side by side in one run against a bare reference, with absolute figures beside
it. Absolute figures move from machine to machine; ratios hardly do. It is no test: nothing fails here by being slow.
"""

from __future__ import annotations

import argparse
import os
import platform
import sqlite3
import sys
import textwrap
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

HERE = Path(__file__).resolve()
for folder in (HERE.parents[2], HERE.parents[1]):
    if str(folder) not in sys.path:
        sys.path.insert(0, str(folder))

from bench.call_rows import call_rows, predict_rows  # noqa: E402
from bench.common import Row, brief  # noqa: E402
from bench.growth_rows import growth_rows  # noqa: E402
from bench.journal_rows import journal_rows, recount_rows  # noqa: E402
from bench.many_rows import many_rows  # noqa: E402
from bench.mqtt_rows import mqtt_rows  # noqa: E402
from bench.process_rows import daemon_rows, start_rows  # noqa: E402
from bench.serial_rows import serial_rows  # noqa: E402
from bench.year_rows import year_rows  # noqa: E402

GROUPS: dict[str, Callable[[bool], list[Row]]] = {
    "serial": serial_rows,
    "mqtt": mqtt_rows,
    "many": many_rows,
    "call": call_rows,
    "predict": predict_rows,
    "daemon": daemon_rows,
    "start": start_rows,
    "journal": journal_rows,
    "recount": recount_rows,
    "growth": growth_rows,
    "year": year_rows,
}
NAME_WIDTH, NOTE_WIDTH = 58, 60


def head() -> str:
    """The machine and the day."""
    import numpy
    import paho.mqtt
    import serial

    try:
        model = Path("/proc/cpuinfo").read_text().split("model name\t: ")[1].splitlines()[0]
    except (OSError, IndexError):
        model = platform.processor() or platform.machine()
    load = " ".join(f"{value:.2f}" for value in os.getloadavg())
    return (
        f"{datetime.now(UTC):%Y-%m-%d %H:%M} UTC, {model}, {os.cpu_count()} cores, {platform.system()} "
        f"{platform.release().split('-')[0]}, load before {load}\n"
        f"Python {platform.python_version()}, SQLite {sqlite3.sqlite_version}, pyserial {serial.__version__}, "
        f"paho-mqtt {paho.mqtt.__version__}, numpy {numpy.__version__}"
    )


def table(rows: list[Row]) -> str:
    """The rows as text."""
    lines = [f"{'row':{NAME_WIDTH}} {'unit':>8} {'uvdose':>11} {'reference':>11} {'ratio':>8}  good  note"]
    indent = " " * len(lines[0].removesuffix("note"))
    lines.append("-" * (len(indent) + NOTE_WIDTH))
    for r in rows:
        start = (
            f"{r.name:{NAME_WIDTH}} {r.unit:>8} {brief(r.ours):>11} {brief(r.reference):>11} {brief(r.ratio):>8}  "
            f"{r.better:<4}  "
        )
        notes = textwrap.wrap(r.note, NOTE_WIDTH) or [""]
        lines.append((start + notes[0]).rstrip())
        lines += [indent + note for note in notes[1:]]
    return "\n".join(lines)


def main(arguments: list[str] | None = None) -> int:
    """Run the groups asked for and print one table."""
    parser = argparse.ArgumentParser(description="Measure uvdose against bare references, side by side.")
    parser.add_argument("--only", action="append", choices=list(GROUPS), help="this group of rows; may be given again")
    parser.add_argument("--quick", action="store_true", help="under a minute, to see that it works; figures are rough")
    asked = parser.parse_args(arguments)
    told = head()
    rows: list[Row] = []
    begin = time.monotonic()
    for name in asked.only or GROUPS:
        print(f"{time.monotonic() - begin:5.0f} s  {name}…", file=sys.stderr, flush=True)
        rows += GROUPS[name](asked.quick)
    took = time.monotonic() - begin
    print(f"{told}\n{'quick, rough; ' if asked.quick else ''}took {took:.0f} s\n\n{table(rows)}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
