"""A process that writes batches is killed at random moments: every batch that was told as written is there, whole,
and the sums of the minutes are those of the readings.

25 kills, or 400 with `UVDOSE_LONG=1`; the seed is fixed.
"""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from uvdose.journal.care import look_after
from uvdose.journal.checkup import check
from uvdose.journal.pack import unpack
from uvdose.journal.schema import open_reading, open_writing

KILLS = 400 if os.environ.get("UVDOSE_LONG") else 25
READINGS_A_BATCH = 7

CHILD = """
import sys
from pathlib import Path
from uvdose.journal.recorder import Recorder
from uvdose.journal.schema import open_writing
from uvdose.journal.summing import Summer
from uvdose.journal.writer import Writer
from uvdose.model import RegisterReading
from journal.journals import SENSOR

db = open_writing(Path(sys.argv[1]))
recorder = Recorder(db, lambda t: t)
first = db.execute("SELECT coalesce(max(id), 0) FROM event").fetchone()[0] + 1
writer = Writer(db, lambda line: None, summer=Summer(db))
writer.commit(recorder.sensor(SENSOR)).result()
waiting = []
for n in range(first, first + 100000):
    rows = [("sill", (n * 7 + i) * 1000, RegisterReading(7, n * 7 + i, 0, 0, n, 0, 0, 0)) for i in range(7)]
    recorder.keep_readings(rows)
    event = ("INSERT INTO event VALUES (?, ?, 0, 'alarm', NULL, NULL, '{}')", (n, n))
    waiting.append((n, writer.commit([*recorder.flush(), event])))
    if n % 3 == 0:
        for number, done in waiting:
            done.result()
            print(number, flush=True)
        waiting.clear()
"""


@pytest.mark.timeout(60 + 3 * KILLS)
def test_every_committed_row_is_there_after_each_kill(tmp_path: Path) -> None:
    rng = random.Random(20160619)
    path = tmp_path / "journal.sqlite3"
    env = os.environ | {"PYTHONPATH": os.pathsep.join(str(Path(__file__).parents[i]) for i in (2, 1))}
    told = 0
    for _ in range(KILLS):
        child = subprocess.Popen([sys.executable, "-c", CHILD, str(path)], stdout=subprocess.PIPE, text=True, env=env)
        assert child.stdout is not None
        if rng.random() < 0.8:  # else killed while it opens the journal, perhaps while it makes it
            told = int(child.stdout.readline())
        time.sleep(rng.uniform(0, 0.15))
        child.send_signal(signal.SIGKILL)
        lines = child.communicate()[0].split("\n")[:-1]
        told = max([told, *map(int, lines)])
        assert look_after(path) == [] or path.stat().st_size == 0
        open_writing(path).close()
        db = open_reading(path)
        events = [int(r[0]) for r in db.execute("SELECT id FROM event ORDER BY id")]
        assert events == list(range(1, len(events) + 1)) and len(events) >= told
        seqs = [
            reading.seq  # type: ignore[union-attr]
            for kind, data in db.execute("SELECT kind, data FROM chunk ORDER BY id")
            for _, reading in unpack(kind, data)
        ]
        assert seqs == list(range(READINGS_A_BATCH, READINGS_A_BATCH * (len(events) + 1)))
        found = check(db, path, every_minute=True)
        assert found.ok, "the minutes hold what their marks say, to the bit"
        db.close()
    db = open_reading(path)
    found = check(db, path, every_minute=True)
    assert told > KILLS and found.ok and found.minutes_proved == found.minutes > 0
    db.close()
