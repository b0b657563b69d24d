"""What is taken out and brought in again is what it was: each reading, and each dose counted from them, bit for bit.

Oracle: the journal that it came from, counted by the code of a recount (`journal.replay.replay`).
"""

from __future__ import annotations

import itertools
import random
from pathlib import Path

import pytest
from cli.conftest import Homed

from uvdose.dose.account import Figures
from uvdose.dose.response import identity_response
from uvdose.exposure.channel import Channel
from uvdose.exposure.exposure import Exposure
from uvdose.exposure.record import Plan
from uvdose.exposure.states import Act
from uvdose.exposure.target import Target
from uvdose.journal.judged import judged
from uvdose.journal.replay import preroll_us, replay
from uvdose.journal.schema import open_reading
from uvdose.journal.store import Store
from uvdose.model import Mark, RegisterReading
from uvdose.review import raw
from uvdose.review.labels import Labels
from uvdose.review.suppose import bed_of, imagine
from uvdose.units import to_screen

from .streams import journal

EVER = (0, 1 << 60)
MINUTE_US = 60_000_000
KINDS = [(kind, seed) for kind in ("native", "numbered", "plain") for seed in range(2)]


def labelled(store: Store, sensor: str) -> list[tuple[int, int, object, object]]:
    """Each reading with label, dose time and the settings it came under."""
    return [
        (wall_us, t_us, reading, identity_response(run.identity))
        for run in raw.runs(store, *EVER) if run.identity.name == sensor for wall_us, t_us, reading in run.rows
    ]


def recounted(store: Store, sensor: str, target: Target, begin_us: int, end_us: int) -> Figures:
    """A print between two acts that a person named afterwards, as a recount has it."""
    identity = bed_of(store, target, sensor).at(begin_us)
    response = identity_response(identity)
    exposure = Exposure(Plan(1, target, sensor, "", response, begin_us))
    exposure.apply(Act.LIGHT, Mark(begin_us))
    exposure.apply(Act.FINISH, Mark(end_us))
    channel = Channel(sensor, identity, response)
    replay(channel, [exposure], judged(store.db, sensor, preroll_us(store, sensor, begin_us, response)))
    return exposure.figures(channel.track, end_us)


@pytest.mark.parametrize(("kind", "seed"), KINDS)
def test_bit_for_bit(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, kind: str, seed: int) -> None:
    before, after = Homed(tmp_path / "before"), Homed(tmp_path / "after")
    before.folder.mkdir()
    live = journal(before.folder / "journal.sqlite3", kind, seed)
    file = tmp_path / "readings.csv"
    assert before.call("export", "--what", "readings", "--out", file).code == 0
    ran = after.call("import", file, "--sensor", "kept")
    assert ran.code == 0 and "left out" not in ran.out, ran
    there = Store(open_reading(after.folder / "journal.sqlite3"))
    rows = labelled(live, "sill")
    assert labelled(there, "kept") == rows and len(rows) > 300
    rng = random.Random(seed)
    unit = identity_response(bed_of(live, Target("x", 1, 1.0), "sill").identities[0]).unit
    target = Target("x", 1, 500.0, unit) if kind == "native" else Target("x", 1, 90.0, unit)
    first_us, last_us = rows[0][0], rows[-1][0]
    begins = sorted(rng.randrange(first_us, last_us) for _ in range(24))
    clock_us = rng.randrange(30_000_000, 200_000_000)
    told = []
    for store, sensor in ((live, "sill"), (there, "kept")):
        bed = bed_of(store, target, sensor)
        day = Labels(store, sensor, first_us, last_us + MINUTE_US, bed.zero_at)
        told.append(imagine(store, target, bed, day, begins, clock_us))
        some = 0
        for begin_us, one in zip(begins, told[-1], strict=True):
            t_us = day.dose_us(begin_us)
            figures = recounted(store, sensor, target, t_us, t_us + clock_us)
            assert not one.known or one.clock_dose == to_screen(figures.dose, unit)
            assert not one.known or one.clock_missing_s == figures.missing_s
            some += one.known
        assert some > 8
    assert told[0] == told[1]
    assert any(one.needed_s is not None for one in told[0]) and any(one.needed_s is None for one in told[0])


def test_the_streams_hold_what_they_should(tmp_path: Path) -> None:
    """Wraps, power-ups, resets, holes, saturation, several readings at one moment: else the test above shows little."""
    rows = [(t, r) for seed in range(3) for t, r in journal(tmp_path / f"n{seed}", "native", seed).readings("sill", 0)]
    lines = [r for _, r in rows if isinstance(r, RegisterReading)]
    assert any(a.boot == b.boot and b.uptime_ms < a.uptime_ms for a, b in itertools.pairwise(lines))
    assert any(a.boot == b.boot and b.seq < a.seq for a, b in itertools.pairwise(lines))
    assert len({r.boot for r in lines}) > 6 and any(r.flags & 8 for r in lines) and any(r.sat_ms for r in lines)
    times = [t for t, _ in rows]
    assert any(b - a > 60_000_000 for a, b in itertools.pairwise(times))
    plain = [t for t, _ in journal(tmp_path / "p", "plain", 0).readings("sill", 0)]
    assert any(a == b for a, b in itertools.pairwise(plain))


def test_twice_in_one_file_is_told(tmp_path: Path) -> None:
    """Two exports joined: what is there a second time is left out, and the dose stays."""
    before, after = Homed(tmp_path / "before"), Homed(tmp_path / "after")
    before.folder.mkdir()
    live = journal(before.folder / "journal.sqlite3", "native", 1)
    file = tmp_path / "joined.csv"
    assert before.call("export", "--what", "readings", "--out", file).code == 0
    rows = file.read_bytes().decode().splitlines(keepends=True)
    at = next(i for i in range(200, 330) if rows[i].split(",")[8] == rows[i + 20].split(",")[8])
    file.write_text("".join([*rows[: at + 20], *rows[at + 10 :]]), encoding="utf-8", newline="")
    ran = after.call("import", file, "--sensor", "kept")
    assert ran.code == 0 and "left out" in ran.out, ran
    there = Store(open_reading(after.folder / "journal.sqlite3"))
    assert list(there.readings("kept", 0)) == list(live.readings("sill", 0))


@pytest.mark.parametrize("light", ["=1+1", "'=1+1", "''@tube", "+UV", "-", "'plain", "sun"])
def test_a_light_that_looks_like_a_formula_comes_back(tmp_path: Path, light: str) -> None:
    """A spreadsheet is kept from computing it, and the settings are what they were: lists of OWASP on CSV injection."""
    before, after = Homed(tmp_path / "before"), Homed(tmp_path / "after")
    first, second = tmp_path / "first.csv", tmp_path / "second.csv"
    first.write_text("time,uva [W/m2]\n2026-06-21T10:00:00Z,1\n2026-06-21T10:00:01Z,2\n", encoding="utf-8")
    assert before.call("import", first, "--light", light).code == 0
    assert before.call("export", "--what", "readings", "--out", second).code == 0
    last = second.read_text(encoding="utf-8").splitlines()[-1].rpartition(",")[2]
    assert not last.startswith(("=", "+", "-", "@"))
    assert after.call("import", second).code == 0
    there = Store(open_reading(after.folder / "journal.sqlite3"))
    assert [identity.light for identity in raw.identities(there)] == [light]
