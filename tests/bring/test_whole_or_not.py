"""An import is whole or not there, happens once, and never meets what a sensor of the bench says."""

from __future__ import annotations

import os
import random
import resource
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
from cli.conftest import SIMULATED, Daemon, Homed, argv, environment

from uvdose.clock import next_epoch
from uvdose.journal.imported import refuse_shared
from uvdose.journal.schema import open_reading
from uvdose.journal.store import Store

UNIT = ("--unit", "W/m2")
REFUSED = 4
BEGIN_S = 1_782_036_000


def recording(path: Path, count: int, seed: int = 0, begin_s: int = BEGIN_S) -> Path:
    """Readings a second apart whose digits do not pack well."""
    rng = random.Random(seed)
    with path.open("w", encoding="utf-8") as out:
        out.write("unix,uva\n")
        out.writelines(f"{begin_s + i},{rng.random() * 50!r}\n" for i in range(count))
    return path


def store_of(home: Homed) -> Store:
    return Store(open_reading(home.folder / "journal.sqlite3"))


def rows(home: Homed, sensor: str) -> int:
    return sum(1 for _ in store_of(home).readings(sensor, 0))


def test_once(tmp_path: Path) -> None:
    home, file = Homed(tmp_path / "home"), recording(tmp_path / "roof.csv", 300)
    assert home.call("import", file, *UNIT).code == 0
    home.call("import", file, *UNIT).refused(REFUSED, "there already, as sensor roof")
    home.call("import", file, *UNIT, "--sensor", "other").refused(REFUSED, "there already, as sensor roof")
    copy = tmp_path / "copy.csv"
    copy.write_bytes(file.read_bytes())
    home.call("import", copy, *UNIT).refused(REFUSED, "there already")
    assert rows(home, "roof") == 300
    earlier = recording(tmp_path / "earlier.csv", 100, 1, BEGIN_S - 50)
    home.call("import", earlier, *UNIT, "--sensor", "roof").refused(REFUSED, "later readings already")
    assert rows(home, "roof") == 300
    later = recording(tmp_path / "later.csv", 100, 2, BEGIN_S + 5000)
    assert home.call("import", later, *UNIT, "--sensor", "roof").code == 0
    times = [t for t, _ in store_of(home).readings("roof", 0)]
    assert len(times) == 400 and times == sorted(times)
    check = home.told("journal", "check")
    assert check["ok"] and check["readings"] == 400


def test_what_was_read_wrongly_can_be_read_again(tmp_path: Path) -> None:
    """In a wrong unit, or in the times of a wrong zone: under another name it is brought in as it should have been."""
    home, file = Homed(tmp_path / "home"), recording(tmp_path / "roof.csv", 100)
    assert home.call("import", file, "--unit", "mW/cm2").code == 0
    home.call("import", file, *UNIT).refused(REFUSED, "sensor roof has later readings already", "--sensor")
    assert home.call("import", file, *UNIT, "--sensor", "roof-again").code == 0
    home.call("import", file, *UNIT, "--sensor", "third").refused(REFUSED, "as sensor roof-again")
    assert list(store_of(home).readings("roof-again", 0)) == list(store_of(home).readings("roof", 0))


@pytest.mark.parametrize("settings", ['[bench]\ntimezone = "Europe/Zurich"\n', "[[sensor]\n", "sensor = 5\n"])
def test_a_home_without_a_sensor_takes_recordings_too(tmp_path: Path, settings: str) -> None:
    """Its settings may say the bench's time zone and no more, or be broken: no daemon runs there."""
    home = Homed(tmp_path / "home").write(settings)
    assert home.call("import", recording(tmp_path / "roof.csv", 10), *UNIT).code == 0
    assert rows(home, "roof") == 10


def test_an_export_is_taken_once_for_each_of_its_sensors(tmp_path: Path) -> None:
    first, second = Homed(tmp_path / "first"), Homed(tmp_path / "second")
    for name, seed in (("roof", 1), ("sill", 2)):
        assert first.call("import", recording(tmp_path / f"{name}.csv", 150, seed), *UNIT).code == 0
    file = tmp_path / "both.csv"
    assert first.call("export", "--what", "readings", "--out", file).code == 0
    second.call("import", file).refused(2, "holds readings of roof and sill", "--of")
    for name in ("roof", "sill"):
        assert second.call("import", file, "--of", name, "--sensor", f"kept-{name}").code == 0
        second.call("import", file, "--of", name, "--sensor", "again").refused(REFUSED, f"as sensor kept-{name}")
        here, there = store_of(first), store_of(second)
        assert list(there.readings(f"kept-{name}", 0)) == list(here.readings(name, 0))
    second.call("import", file, "--of", "attic").refused(REFUSED, "holds no reading")


def test_never_under_the_name_of_a_live_sensor(tmp_path: Path) -> None:
    home, file = Homed(tmp_path / "home").write(SIMULATED), recording(tmp_path / "roof.csv", 200)
    home.call("import", file, *UNIT, "--sensor", "sill").refused(REFUSED, "one of this bench")
    assert home.call("import", file, *UNIT, "--sensor", "roof").code == 0
    home.write(SIMULATED.replace('"sill"', '"roof"'))
    home.run("serve").refused(REFUSED, "sensor roof", "another name in the settings")


def test_beside_a_daemon_and_after_it(tmp_path: Path) -> None:
    """Refused while it runs; afterwards its dose time goes on as if nothing had been brought in."""
    file = recording(tmp_path / "roof.csv", 500)
    running = Daemon(tmp_path / "home")
    try:
        running.wait_live()
        running.run("import", file, *UNIT).refused(REFUSED, "a daemon runs for this home", "stop it")
    finally:
        running.stop()
    before = store_of(running).last_times()
    assert running.call("import", file, *UNIT).code == 0
    store = store_of(running)
    assert store.last_times() == before and before[0] > 0
    epoch = next_epoch(store.last_epoch(), *store.last_times(), 20)
    assert epoch == store.last_epoch()
    running.call("import", recording(tmp_path / "b.csv", 9), *UNIT, "--sensor", "sill").refused(REFUSED, "this bench")
    again = Daemon(running.folder)
    try:
        again.wait_live()
    finally:
        again.stop()
    times = [t for t, _ in store_of(running).readings("sill", 0)]
    assert times == sorted(times) and times[-1] > before[0]
    assert times[-1] < BEGIN_S * 1_000_000, "dose time of the bench is not that of the file"


@pytest.mark.parametrize("left", ["{", "null", '[{"sensor": 5}]', None])
def test_a_bench_counts_on_though_the_list_of_imports_is_damaged(tmp_path: Path, left: str | None) -> None:
    """Its dose time does not leap to that of the file, it begins, and the check tells what is wrong."""
    home = Homed(tmp_path / "home").write(SIMULATED)
    assert home.call("target", "set", "blue", "--dose", 60).code == 0
    assert home.call("import", recording(tmp_path / "roof.csv", 300), *UNIT).code == 0
    with closing(sqlite3.connect(home.folder / "journal.sqlite3")) as db:
        db.execute("DELETE FROM meta WHERE key = 'imported'" if left is None else
                   "UPDATE meta SET value = ? WHERE key = 'imported'", () if left is None else (left,))  # fmt: skip
        db.commit()
        refuse_shared(db, ["sill"])
    assert store_of(home).last_times() == (0, 0)
    check = home.call("journal", "check")
    assert check.code == (0 if left is None else 1) and ("is damaged" in check.err) == (left is not None)
    if left is not None:
        home.call("import", recording(tmp_path / "b.csv", 9), *UNIT).refused(REFUSED, "what was brought in is damaged")
    assert rows(home, "roof") == 300


@pytest.fixture(scope="module")
def long_file(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    yield recording(tmp_path_factory.mktemp("long") / "long.csv", 250_000)


def test_a_kill_half_way_leaves_nothing(tmp_path: Path, long_file: Path) -> None:
    home = Homed(tmp_path / "home")
    assert home.call("import", recording(tmp_path / "roof.csv", 300), *UNIT).code == 0
    wal = home.folder / "journal.sqlite3-wal"
    process = subprocess.Popen(argv("import", long_file, *UNIT, "--home", home.folder), env=environment())
    while not (wal.exists() and wal.stat().st_size > 500_000):
        assert process.poll() is None, "it was done before it could be killed: take a longer file"
        time.sleep(0.001)
    process.send_signal(signal.SIGKILL)
    assert process.wait() == -signal.SIGKILL
    check = home.told("journal", "check")
    assert check["ok"] and check["readings"] == 300
    assert home.call("import", long_file, *UNIT).code == 0
    assert rows(home, "long") == 250_000


def test_a_disk_that_is_full_leaves_nothing(tmp_path: Path, long_file: Path) -> None:
    """The operating system lets the process write no file beyond a megabyte, which SQLite takes for a disk's fault."""
    home = Homed(tmp_path / "home")
    assert home.call("import", recording(tmp_path / "roof.csv", 300), *UNIT).code == 0
    done = subprocess.run(
        argv("import", long_file, *UNIT, "--home", home.folder), env=environment(), capture_output=True, text=True,
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (1 << 20, 1 << 20)), check=False,
    )
    assert done.returncode == REFUSED and "nothing was brought in" in done.stderr, done
    assert len(done.stderr.splitlines()) == 1
    check = home.told("journal", "check")
    assert check["ok"] and check["readings"] == 300 and len(check["imported"]) == 1


_PEAK = "import resource, sys; from uvdose.cli import app; code = app.run(sys.argv[1:]);" \
        " print(code, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)"  # fmt: skip


def test_a_long_file_takes_no_more_memory(tmp_path: Path, long_file: Path) -> None:
    peaks = []
    for name, file in (("short", recording(tmp_path / "short.csv", 2000)), ("long", long_file)):
        words = [sys.executable, "-c", _PEAK, "import", str(file), *UNIT, "--home", str(tmp_path / name)]
        out = subprocess.run(words, env=environment(), capture_output=True, text=True, check=True).stdout
        code, peak = out.splitlines()[-1].split()
        assert code == "0"
        peaks.append(int(peak) * 1024)
    assert os.path.getsize(long_file) > 5_000_000
    assert peaks[1] - peaks[0] < 8_000_000, (peaks, resource.getpagesize())
