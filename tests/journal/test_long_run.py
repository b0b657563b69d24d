"""A month of one reading a second, each second committed, on a clock that only counts: memory flat, the file small.

In CI two days; `UVDOSE_LONG=1` runs the 30 days, and `-s` shows the figures.
"""

from __future__ import annotations

import gc
import os
import random
import resource
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from uvdose.clock import real_s
from uvdose.config import SensorSettings
from uvdose.dose.response import identity_of
from uvdose.journal.checkup import check
from uvdose.journal.recorder import Recorder
from uvdose.journal.schema import open_reading, open_writing
from uvdose.journal.writer import Writer
from uvdose.model import RegisterReading

LONG = bool(os.environ.get("UVDOSE_LONG"))
DAYS = 30 if LONG else 2
DAY_S = 86_400
EVERY_S = DAY_S if LONG else DAY_S // 4
SENSOR = identity_of(SensorSettings("sill", "serial", port="-", scale=0.0125, full_scale=1023.0))


@pytest.fixture
def quick_folder(tmp_path: Path) -> Iterator[Path]:
    """In memory where there is such a file system, since two million syncs of a disk prove nothing here."""
    shm = Path("/dev/shm")
    if not os.access(shm, os.W_OK):
        yield tmp_path
        return
    with tempfile.TemporaryDirectory(dir=shm) as name:
        yield Path(name)


def _lines(rng: random.Random) -> Iterator[tuple[int, RegisterReading]]:
    """Light that wanders by a few per cent a second, noise in its last digits, arrivals with jitter."""
    register, level = 0, 400_000.0
    n = 0
    while True:
        n += 1
        level = min(900_000.0, max(2_000.0, level * rng.gauss(1, 0.03)))
        milli = int(level + rng.gauss(0, 500))
        register += milli
        yield n * 1_000_000 + rng.randrange(900), RegisterReading(7, n, n * 1000, max(0, milli), register, 0, 0, 0)


@pytest.mark.timeout(4 * 3600 if LONG else 300)
def test_memory_stays_flat_and_the_file_small(quick_folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = quick_folder / "journal.sqlite3"
    db = open_writing(path)
    recorder = Recorder(db, lambda t_us: 1_782_036_000_000_000 + t_us)
    troubles: list[str] = []
    writer = Writer(db, troubles.append)
    writer.commit(recorder.sensor(SENSOR)).result(10)
    lines = _lines(random.Random(20260621))
    began_s = real_s()
    marks: list[int] = []
    for second in range(DAYS * DAY_S):
        t_us, line = next(lines)
        recorder.keep_readings([("sill", t_us, line)])
        writer.commit(recorder.flush()).result(30)
        if second % EVERY_S == EVERY_S - 1:
            gc.collect()
            marks.append(_resident_kb())
    seconds = real_s() - began_s
    assert writer.close() and not troubles
    db.close()
    size = path.stat().st_size
    reader = open_reading(path)
    found = check(reader, path)
    reader.close()
    readings = DAYS * DAY_S
    assert found.ok and found.readings == readings
    with capsys.disabled():
        if LONG:
            print(f"\n{DAYS} days: {readings} commits in {seconds:.0f} s, {size / 1e6:.1f} MB,")
            print(f"{size / readings:.2f} bytes a reading; memory after a day {marks[0]} kB, at the end {marks[-1]} kB")
    assert size / readings < 40
    assert max(marks[1:]) - marks[0] < 3_000, marks


def _resident_kb() -> int:
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * resource.getpagesize() // 1024
