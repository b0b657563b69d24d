"""Growth from a thousand to ten million readings of one node at 10 Hz: into the journal, a day looked at, a recount.

Each of the three is a process of its own, `growth_rows.py in|review|recount FOLDER COUNT`, which tells its processor
time and its highest memory. The reference of a step is ten times the step before, for memory that step itself: a ratio
above 1 is worse than linear, and memory that grows.
"""

from __future__ import annotations

import json
import os
import random
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path

HERE = Path(__file__).resolve()
if __name__ == "__main__":
    sys.path[:0] = [str(HERE.parents[2]), str(HERE.parents[1])]

from bench.common import Row, plain  # noqa: E402
from bench.pipeline import BOOT, FAR, NAME, NATIVE, Journal, lit_bench  # noqa: E402
from uvdose.dose.response import response_of  # noqa: E402
from uvdose.exposure.document import document  # noqa: E402
from uvdose.exposure.outcome import Outcome  # noqa: E402
from uvdose.exposure.record import Plan  # noqa: E402
from uvdose.exposure.states import Act  # noqa: E402
from uvdose.journal.replay import count_anew  # noqa: E402
from uvdose.journal.schema import open_reading  # noqa: E402
from uvdose.journal.store import Store  # noqa: E402
from uvdose.model import RegisterRun  # noqa: E402
from uvdose.review.gather import gather  # noqa: E402
from uvdose.stamps import local_date  # noqa: E402

STEPS = (1_000, 10_000, 100_000, 1_000_000, 10_000_000)
STEP_MS, TOGETHER = 100, 250
BEGIN_US = 1_767_225_600_000_000  # 2026-01-01 00:00 UTC: ten million readings are eleven days and a half
LIMIT_S = 1800
FILE = "journal.sqlite3"
_WHAT = {
    "in": "a print in the light; committed at each 250, summed",
    "review": "the first day of them, which 864,000 fill",
    "recount": "one print, nearly as long as all of them; as arrays from 100,000 on",
}


def growth_rows(quick: bool) -> list[Row]:
    """All steps; ten million readings only where there is time."""
    rows: list[Row] = []
    before: dict[str, dict[str, float]] = {}
    for count in STEPS[: -1 if quick else None]:
        with tempfile.TemporaryDirectory() as folder:
            told = {what: _apart(what, folder, count) for what in _WHAT}
        for what, about in _WHAT.items():
            now, then = told[what], before.get(what)
            name = f"growth: {what}, {count:,} readings"
            tenfold = "reference: ten times the step before"
            rows.append(plain(f"{name}, processor", "s", now["cpu"], 10 * then["cpu"] if then else None,
                              note=f"{about}; {tenfold}"))  # fmt: skip
            rows.append(plain(f"{name}, memory", "MB", now["mb"], then["mb"] if then else None,
                              note="at most; reference: the step before"))  # fmt: skip
            if "bytes" in now:
                rows.append(plain(f"{name}, on disk", "kB", now["bytes"] / 1e3,
                                  10 * then["bytes"] / 1e3 if then else None,
                                  note=f"{now['bytes'] / count:.1f} bytes a reading; {tenfold}"))  # fmt: skip
        before = told
    return rows


def _apart(what: str, folder: str, count: int) -> dict[str, float]:
    command = [sys.executable, str(HERE), what, folder, str(count)]
    env = os.environ | {"TZ": "UTC"}
    said = subprocess.run(command, check=True, stdout=subprocess.PIPE, timeout=LIMIT_S, text=True, env=env).stdout
    told: dict[str, float] = json.loads(said)
    return told


def runs(count: int) -> Iterator[RegisterRun]:
    """Restless light, its lines by so many together as the decoder gives what came at once."""
    rng = random.Random(3)
    level, register = 400_000, 0
    for begin in range(0, count, TOGETHER):
        numbers = range(begin, min(begin + TOGETHER, count))
        levels, registers = [], []
        for _ in numbers:
            level = min(900_000, max(50_000, level + rng.randrange(-3000, 3001)))
            register += level * STEP_MS // 1000
            levels.append(level)
            registers.append(register)
        uptimes = [(k + 1) * STEP_MS for k in numbers]
        yield RegisterRun(BOOT, [*numbers], uptimes, levels, registers, 0, 0, 0)


def take_in(folder: Path, count: int) -> dict[str, float]:
    """A daemon's way with them, without its loop: a bench, a print from the first run to the last, the journal."""
    journal = Journal(folder, NATIVE, BEGIN_US)
    journal.db.execute("PRAGMA synchronous=OFF")  # what is asked is processor time, and nobody pulls the plug
    bench = lit_bench(NATIVE, frames=0)
    channel = bench.channels[NAME]
    used = 0.0

    def settle(step: Callable[..., Outcome], *given: object, now_us: int) -> None:
        nonlocal used
        begin_s = time.process_time()
        out = step(*given, now_us)
        journal.recorder.keep_readings(out.readings)
        shown = {e.id: document(e, channel.track, now_us, []) for e in out.changed}
        told = journal.recorder.outcome(out, shown)[0] if out.pressing else []
        journal.writer.commit([*journal.recorder.flush(), *told]).result()
        used += time.process_time() - begin_s

    number = journal.recorder.next_exposure()
    last_us = 0
    for run in runs(count):
        if run.seq[-1] == count - 1:
            settle(bench.act, number, Act.FINISH, now_us=last_us)
        last_us = run.uptime_ms[-1] * 1000
        settle(bench.take, NAME, [run], now_us=last_us)
        if not bench.exposures:
            settle(bench.start, Plan(number, FAR, NAME, "1", response_of(NATIVE), last_us), now_us=last_us)
    assert bench.exposures[number].settled
    assert channel.readings == count and not journal.troubles, (channel.readings, journal.troubles)
    journal.close()
    return {"cpu": used, "bytes": float(journal.file.stat().st_size)}


def look(folder: Path, count: int) -> dict[str, float]:
    """A day's review, or a recount, out of the journal."""
    with closing(open_reading(folder / FILE)) as db:
        store = Store(db)
        kept = store.exposure(1)
        begin_s = time.process_time()
        if sys.argv[1] == "review":
            day = gather(store, local_date(BEGIN_US))
            assert len(day.prints) == 1
        else:
            found = count_anew(store, kept, in_bulk=True)
            assert found.readings > count - TOGETHER
        return {"cpu": time.process_time() - begin_s}


def most_mb() -> float:
    """The highest memory of this process. Not by `getrusage`, which tells that of who started it where it was more."""
    return int(Path("/proc/self/status").read_text().split("\nVmHWM:")[1].split()[0]) * 1024 / 1e6


if __name__ == "__main__":
    did = (take_in if sys.argv[1] == "in" else look)(Path(sys.argv[2]), int(sys.argv[3]))
    print(json.dumps(did | {"mb": most_mb()}))
