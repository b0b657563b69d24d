"""What several benches did, out of their journals: each figure is that of its own home, bit for bit.

The other side of every comparison is the command at that home (`day`, `export`, `recount`), which tests of its own hold
against sums that were worked out by hand.
"""

from __future__ import annotations

import contextlib
import csv
import hashlib
import io
import json
import shutil
import sqlite3
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import msgspec
import pytest
from cli.conftest import Ran
from review.conftest import BLUE, Bindery, print_two

from uvdose.cli import app
from uvdose.clock import FixedClock
from uvdose.exposure.states import Act
from uvdose.journal.copying import copy_to
from uvdose.journal.schema import VERSION, home_id
from uvdose.notes import Verdict

NOON_US = 1_782_036_000_000_000  # 2026-06-21 10:00 UTC
DAY = "2026-06-21"
NAMES = ("bindery", "porch", "roof")


def call(*words: object) -> Ran:
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = app.run(list(map(str, words)))
    return Ran(code, out.getvalue(), err.getvalue())


def told(*words: object) -> Any:
    ran = call(*words, "--json")
    assert ran.code == 0, ran
    return json.loads(ran.out)


def homed(folder: Path, name: str, zone: str = "UTC", dose_us: int = 5_000_000_000, counts: int = 400) -> Bindery:
    """A home with two prints and a third, its own dose clock, and a target of the same name with its own dose."""
    folder.mkdir()
    settings = f'[bench]\nname = "{name}"\ntimezone = "{zone}"\n[[sensor]]\nname = "sill"\nlink = "simulated"\n'
    (folder / "uvdose.toml").write_text(settings)
    made = Bindery(folder / "journal.sqlite3")
    made.clock = FixedClock(dose_us, NOON_US)
    print_two(made)
    made.keep(msgspec.structs.replace(BLUE, version=3, dose=float(counts)))
    number = made.start(msgspec.structs.replace(BLUE, version=3, dose=float(counts)), "sill", "n", f"own of {name}")
    made.light(77, counts)
    made.act(number, Act.FINISH)
    made.light(70, counts)
    made.say("verdict", str(number), Verdict(tone="dark"))
    return made


@pytest.fixture
def workshop(tmp_path: Path, in_utc: None) -> Iterator[dict[str, Bindery]]:
    made = {
        "bindery": homed(tmp_path / "bindery", "bindery"),
        "porch": homed(tmp_path / "porch", "porch", "Asia/Tokyo", 77_123_456, 333),
        "roof": homed(tmp_path / "roof", "roof", "America/New_York", 9_000_000_000_001, 271),
    }
    yield made
    for one in made.values():
        one.db.close()


@pytest.fixture
def in_utc(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    import time

    monkeypatch.setenv("TZ", "UTC")
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


def exported(folder: Path, *words: object) -> str:
    """What an export wrote, byte by byte."""
    file = folder / "exported"
    ran = call(*words, "--out", file, "--force")
    assert ran.code == 0, ran
    return file.read_bytes().decode()


def homes(workshop: dict[str, Bindery]) -> list[Path]:
    return [one.path.parent for one in workshop.values()]


def digests(folder: Path) -> dict[str, str]:
    """Every file below a folder but what SQLite's readers share."""
    return {
        str(p.relative_to(folder)): hashlib.sha256(p.read_bytes()).hexdigest()
        for p in sorted(folder.rglob("*")) if p.is_file() and not p.name.endswith("-shm")
    }


def test_three_benches_day_is_each_ones_own_to_the_last_bit(workshop: dict[str, Bindery], tmp_path: Path) -> None:
    before = digests(tmp_path)
    found = told("together", "day", *homes(workshop), "--day", DAY)
    assert [b["bench"] for b in found["benches"]] == list(NAMES) and found["left_out"] == []
    for one in found["benches"]:
        own = told("day", DAY, "--home", tmp_path / one["bench"])
        assert json.dumps(one["day"]) == json.dumps(own)  # text: equal numbers that are written otherwise would show
        assert [e["id"] for e in own["exposures"]] == [1, 2, 3], "each has its own numbers, as pencilled on the sheets"
    own_doses = [b["day"]["exposures"][2]["dose"] for b in found["benches"]]
    assert len(set(own_doses)) == 3 and len({b["home"] for b in found["benches"]}) == 3
    assert found["totals"]["begun"] == 9
    text = call("together", "day", *homes(workshop)).out
    for name in NAMES:
        assert f"own of {name}" in text
    assert text.startswith(f"{DAY}: 3 benches, 9 exposures")
    assert digests(tmp_path) == before, "nothing in any home is changed"


def test_each_day_goes_by_its_benchs_own_clocks(workshop: dict[str, Bindery], tmp_path: Path) -> None:
    """10:00 UTC is the same day in all three; what begins 15 hours later is another day in Tokyo alone."""
    late = workshop["porch"]
    late.clock.advance(5.2 * 3600)
    number = late.start(BLUE, "sill", "x", "late")
    late.light(20, 300)
    late.act(number, Act.FINISH)
    late.light(70, 300)
    found = {b["bench"]: b["day"] for b in told("together", "day", *homes(workshop), "--day", "2026-06-22")["benches"]}
    assert [e["label"] for e in found["porch"]["exposures"]] == ["late"] and found["roof"]["exposures"] == []
    assert found["porch"]["timezone"] == "Asia/Tokyo"
    assert told("together", "day", *homes(workshop))["date"] == "2026-06-22"


def test_every_print_is_counted_again_as_at_home(workshop: dict[str, Bindery], tmp_path: Path) -> None:
    workshop["porch"].act(2, Act.FINISH)
    workshop["porch"].light(70, 100, 1.0)
    found = told("together", "recount", *homes(workshop))
    for one in found["benches"]:
        for again in one["recounts"]:
            assert again == told("recount", again["id"], "--home", tmp_path / one["bench"]) and again["same"]
    assert [len(b["recounts"]) for b in found["benches"]] == [2, 3, 2]
    assert [n["id"] for n in found["benches"][0]["not_counted"]] == [2]  # it lies in the light still
    changed = sqlite3.connect(tmp_path / "roof" / "journal.sqlite3")
    row, text = changed.execute("SELECT id, shown FROM exposure WHERE id = 3").fetchone()
    shown = json.loads(text)
    shown["dose"] += 1e-9
    changed.execute("UPDATE exposure SET shown = ? WHERE id = ?", (json.dumps(shown), row))
    changed.commit()
    changed.close()
    ran = call("together", "recount", *homes(workshop))
    assert ran.code == 1 and "roof 3" in ran.err and len(ran.err.splitlines()) == 1


@pytest.mark.parametrize("what", ["exposures", "events", "readings", "minutes", "notes", "targets"])
@pytest.mark.parametrize("form", ["csv", "jsonl"])
def test_an_export_is_each_ones_own_with_its_bench_before_it(
    workshop: dict[str, Bindery], tmp_path: Path, what: str, form: str
) -> None:
    joined = exported(tmp_path, "together", "export", *homes(workshop), "--what", what, "--format", form)
    rows: list[tuple[str, Any]] = []
    for name in NAMES:
        own = exported(tmp_path, "export", "--what", what, "--format", form, "--home", tmp_path / name)
        if form == "csv":
            rows += [(name, row) for row in list(csv.reader(io.StringIO(own)))[1:]]
        else:
            rows += [(name, json.loads(line)) for line in own.splitlines()]
    if form == "csv":
        head, *body = list(csv.reader(io.StringIO(joined)))
        assert head[0] == "bench" and [(r[0], r[1:]) for r in body] == rows
    else:
        lines = [json.loads(line) for line in joined.splitlines()]
        assert [(line.pop("bench"), line) for line in lines] == rows
    assert len(rows) >= 3


def test_readings_of_two_benches_come_in_apart(workshop: dict[str, Bindery], tmp_path: Path) -> None:
    """Both have a sensor `sill`: told apart, each gives the doses of its home; taken for one they are refused."""
    file = tmp_path / "all.csv"
    assert call("together", "export", *homes(workshop), "--what", "readings", "--out", file).code == 0
    fresh = tmp_path / "fresh"
    call("import", file, "--sensor", "any", "--home", fresh).refused(2, "bindery.sill", "--of")
    assert call("import", file, "--of", "porch.sill", "--sensor", "porch-sill", "--home", fresh).code == 0
    columns = ("utc", "dose_time_s", "value", "register", "seq")
    wanted = ("export", "--what", "readings", "--home")
    own = list(csv.DictReader(io.StringIO(exported(tmp_path, *wanted, tmp_path / "porch", "--sensor", "sill"))))
    came = list(csv.DictReader(io.StringIO(exported(tmp_path, *wanted, fresh))))
    assert len(own) == len(came) > 200
    pick = lambda rows: [[v for k, v in row.items() if k.partition(" ")[0] in columns] for row in rows]  # noqa: E731
    assert pick(own) == pick(came)


def test_the_same_journal_twice_counts_once(workshop: dict[str, Bindery], tmp_path: Path) -> None:
    home = tmp_path / "porch"
    early = tmp_path / "early.sqlite3"
    copy_to(workshop["porch"].db, early, replace=False)
    number = workshop["porch"].start(BLUE, "sill", "x", "later")
    workshop["porch"].light(30, 200)
    workshop["porch"].act(number, Act.FINISH)
    workshop["porch"].light(70, 200)
    for places in ([home, early], [early, home], [home, home], [home, early, tmp_path / "roof", home]):
        ran = call("together", "day", *places, "--json")
        assert ran.code == 0, ran
        found = json.loads(ran.out)
        assert found["totals"]["begun"] == (4 if len(places) == 2 else 7)
        assert len(found["left_out"]) == len(places) - len(found["benches"]) > 0
        assert "is a copy of" in ran.err
        (porch,) = [b for b in found["benches"] if b["bench"] in ("porch", "early")]
        assert [e["id"] for e in porch["day"]["exposures"]] == [1, 2, 3, 4]


def test_two_that_began_as_one_share_no_day_of_their_past(workshop: dict[str, Bindery], tmp_path: Path) -> None:
    """A home that was copied for a second bench: days after it are each one's own, days before would count twice."""
    home, twin = tmp_path / "porch", tmp_path / "twin"
    other = homed(twin, "porch", "Asia/Tokyo", 77_123_456, 333)  # the same rows, made once more
    other.db.execute("UPDATE meta SET value = ? WHERE key = 'home'", (home_id(workshop["porch"].db),))
    for number, made in enumerate((workshop["porch"], other), 1):
        made.clock = FixedClock(200_000_000_000 * number, NOON_US + 3 * 86_400_000_000 + number * 60_000_000)
        made.boot += number
        made.uptime_ms = made.register = 0
        made.light(30, 400)
        print_ = made.start(BLUE, "sill", f"f{number}", f"after {number}")
        made.light(30 + number, 400)
        made.act(print_, Act.FINISH)
        made.light(70, 400)
    other.db.close()
    call("together", "day", home, twin).refused(2, "both called porch", "porch-2=")
    call("together", "day", home, f"twin={twin}", "--day", DAY).refused(4, "began as one journal", "told twice")
    call("together", "export", home, f"twin={twin}").refused(4, "began as one journal")
    found = told("together", "day", home, f"twin={twin}", "--day", "2026-06-24")
    assert [[e["label"] for e in b["day"]["exposures"]] for b in found["benches"]] == [["after 1"], ["after 2"]]
    assert [b["bench"] for b in found["benches"]] == ["porch", "twin"]


def test_a_journal_of_an_older_schema_is_read_and_left_as_it_is(workshop: dict[str, Bindery], tmp_path: Path) -> None:
    old = tmp_path / "old.sqlite3"
    copy_to(workshop["roof"].db, old, replace=False)
    with contextlib.closing(sqlite3.connect(old, isolation_level=None)) as db:  # as it was before light by minutes
        for statement in ("DROP TABLE minute", "DROP TABLE summed", f"DELETE FROM migration WHERE version = {VERSION}",
                          f"PRAGMA user_version = {VERSION - 1}"):  # fmt: skip
            db.execute(statement)
    before = digests(tmp_path)
    found = told("together", "day", tmp_path / "porch", f"roof={old}")
    assert digests(tmp_path) == before
    own = told("day", DAY, "--home", tmp_path / "roof")
    mine = found["benches"][1]["day"]["exposures"]
    assert [e["dose"] for e in mine] == [e["dose"] for e in own["exposures"]]
    assert call("together", "recount", f"roof={old}").code == 0


def test_a_damaged_journal_is_one_line_that_names_it(workshop: dict[str, Bindery], tmp_path: Path) -> None:
    bad = tmp_path / "bad.sqlite3"
    for way in range(3):
        bad.unlink(missing_ok=True)
        copy_to(workshop["roof"].db, bad, replace=False)
        data = bytearray(bad.read_bytes())
        if way == 0:
            data[:16] = b"no database here"
        elif way == 1:
            data[4096:] = bytes(len(data) - 4096)
        bad.write_bytes(bytes(data[: len(data) // 2] if way == 2 else data))
        for words in (("day",), ("day", "--json"), ("recount",)):
            call("together", words[0], tmp_path / "porch", bad, *words[1:], "--day", DAY).refused(4, "bad.sqlite3")
        out = tmp_path / "out.csv"
        ran = call("together", "export", tmp_path / "porch", bad, "--what", "readings", "--out", out)
        assert ran.code == 4 and "bad.sqlite3" in ran.err and len(ran.err.splitlines()) == 1
        assert not out.exists(), "nothing half"


def test_what_cannot_be_meant_is_one_line(workshop: dict[str, Bindery], tmp_path: Path) -> None:
    call("together", "day", tmp_path / "nowhere").refused(4, "no journal", "nowhere")
    call("together", "day", "=x").refused(2, "NAME=PATH")
    call("together", "day", tmp_path / "porch", "--day", "soon").refused(2, "soon")
    call("together", "export", tmp_path / "porch", "--what", "gold").refused(2, "gold")
    call("together", "export", tmp_path / "porch", "--out", tmp_path / "porch" / "journal.sqlite3", "--force").refused(
        4, "one of the journals")
    empty = tmp_path / "empty"
    empty.mkdir()
    call("together", "day", empty).refused(4, "no journal")
    assert call("together", "day").code == 2


@pytest.mark.parametrize("own", ["journal.sqlite3", "journal.sqlite3-wal", "journal.sqlite3-shm", "uvdose.toml"])
@pytest.mark.parametrize("name", ["porch", "copy"])
def test_an_export_takes_no_file_of_a_home(workshop: dict[str, Bindery], tmp_path: Path, own: str, name: str) -> None:
    """Nor of one that was left out, since it holds what another does."""
    shutil.copytree(tmp_path / "porch", tmp_path / "copy")
    (tmp_path / "journal.sqlite3-wal").symlink_to(tmp_path / name / own)
    files = [path for path in (tmp_path / name).iterdir() if not path.name.endswith("-shm")]  # of locks
    before = {path: path.read_bytes() for path in files}
    places = [tmp_path / "porch", tmp_path / "copy"]
    for out in (tmp_path / name / own, tmp_path / "journal.sqlite3-wal"):
        call("together", "export", *places, "--out", out, "--force").refused(4, "choose another name")
    assert {path: path.read_bytes() for path in before} == before


def test_a_copy_by_another_name_is_not_written_over(workshop: dict[str, Bindery], tmp_path: Path) -> None:
    copy = tmp_path / "kept.sqlite3"
    copy_to(workshop["porch"].db, copy, replace=False)
    for out in (copy, tmp_path / "kept.sqlite3-wal"):
        call("together", "export", copy, "--out", out, "--force").refused(4, "one of the journals")


def test_a_name_that_would_steer_the_terminal_is_told_in_words(tmp_path: Path) -> None:
    ran = call("together", "day", tmp_path / "no\x1b[2J\x07where\u202e")
    ran.refused(2, "no\\x1b[2J\\x07where\\u202e")
    assert ran.err.removesuffix("\n").isprintable()
