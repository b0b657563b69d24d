"""Files that are no recording, or a broken one: one line, an exit code, and nothing of them is kept."""

from __future__ import annotations

import gzip
import io
import itertools
import random
import string
from pathlib import Path

import pytest
from cli.conftest import Homed

from uvdose.bring.lines import MOST_LINE, text_lines
from uvdose.bring.recording import Asked, Recording
from uvdose.journal.schema import open_reading
from uvdose.journal.store import Store
from uvdose.model import Refusal

WRONG, REFUSED = 2, 4
GOOD = "time,uva\n" + "".join(f"2026-06-21T10:00:{s:02d}Z,4.{s}\n" for s in range(20))
UNIT = ("--unit", "mW/cm2")
ZURICH = ("--timezone", "Europe/Zurich")

# What lies in the file, further options, exit code, words of the line. The night of 25 October 2026 has 02:30 twice in
# Zurich, that of 29 March never (EU directive 2000/84/EC).
BAD: dict[str, tuple[bytes, tuple[str, ...], int, str]] = {
    "empty": (b"", UNIT, REFUSED, "the file is empty"),
    "blank": (b"\n\n\n", UNIT, REFUSED, "must name the columns"),
    "binary": (bytes(range(256)) * 40, UNIT, REFUSED, "NUL"),
    "gzip": (gzip.compress(GOOD.encode()), UNIT, REFUSED, "unpack it first"),
    "utf-16": (GOOD.encode("utf-16"), UNIT, REFUSED, "save it as UTF-8"),
    "utf-16 without a mark": (GOOD.encode("utf-16-le"), UNIT, REFUSED, "NUL"),
    "latin": ("time,µW\n".encode("latin-1"), UNIT, REFUSED, "no UTF-8"),
    "parquet": (b"PAR1" + b"\0" * 50, UNIT, REFUSED, "write it as CSV"),
    "no header": (GOOD.split("\n", 1)[1].encode(), UNIT, REFUSED, "no header"),
    "header alone": (b"time,uva\n", UNIT, REFUSED, "holds no reading"),
    "no such column": (GOOD.encode(), (*UNIT, "--value-column", "uvb"), WRONG, "it has time, uva"),
    "column twice": (b"time,uva,uva\n1,2,3\n", (*UNIT, "--value-column", "uva"), WRONG, "several times"),
    "which column": (b"time,uva,uvb\n1,2,3\n", UNIT, WRONG, "--value-column"),
    "which time": (b"when,uva\n1,2\n", UNIT, WRONG, "--time-column"),
    "time is value": (GOOD.encode(), (*UNIT, "--value-column", "time"), WRONG, "same column"),
    "no unit": (GOOD.encode(), (), WRONG, "--unit, one of counts"),
    "unit unknown": (GOOD.encode(), ("--unit", "lux"), WRONG, "one of counts"),
    "uv index": (GOOD.replace("uva", "uv index").encode(), UNIT, WRONG, "UV index"),
    "scale of irradiance": (GOOD.encode(), (*UNIT, "--scale", "2"), WRONG, "irradiance already"),
    "scale nan": (GOOD.encode(), ("--unit", "V", "--scale", "nan"), WRONG, "finite"),
    "full scale": (GOOD.encode(), (*UNIT, "--full-scale", "-1"), WRONG, "above zero"),
    "no number": (GOOD.replace("4.7", "much").encode(), UNIT, REFUSED, "line 9: 'much' is no number"),
    "infinite": (GOOD.replace("4.7", "inf").encode(), UNIT, REFUSED, "line 9: 'inf' is no reading"),
    "only nan": (b"time,uva\n2026-06-21T10:00:00Z,nan\n2026-06-21T10:00:01Z,\n", UNIT, REFUSED, "2 rows without"),
    "short row": (GOOD.replace(",4.7", "").encode(), UNIT, REFUSED, "line 9: it has 1 columns"),
    "open quote": (GOOD.replace("4.7", '"4.7').encode(), UNIT, REFUSED, "is no CSV"),
    "no zone": (GOOD.replace("Z", "").encode(), UNIT, REFUSED, "--timezone"),
    "no such zone": (GOOD.encode(), (*UNIT, "--timezone", "Mars/Base"), WRONG, "Europe/Zurich"),
    "hour twice": (b"time,uva\n2026-10-25 02:30:00,1\n", (*UNIT, *ZURICH), REFUSED, "came twice or never"),
    "hour never": (b"time,uva\n2026-03-29 02:30:00,1\n", (*UNIT, *ZURICH), REFUSED, "came twice or never"),
    "no time": (b"time,uva\nnoon,1\n", UNIT, REFUSED, "ISO 8601"),
    "year 1": (b"time,uva\n0001-01-01T00:00:00Z,1\n", UNIT, REFUSED, "outside of 1973 to 2103"),
    "before year 1": (b"time,uva\n0001-01-01T00:00:00+05:00,1\n", UNIT, REFUSED, "outside of 1973 to 2103"),
    "year 9999": (GOOD.encode() + b"9999-12-31T23:59:59Z,1\n", UNIT, REFUSED, "line 22"),
    "after year 9999": (GOOD.encode() + b"9999-12-31T23:59:59-05:00,1\n", UNIT, REFUSED, "outside of 1973 to 2103"),
    "a day": (b"time,uva\n2026-06-21,1\n", UNIT, REFUSED, "a day without a time"),
    "milliseconds": (b"time,uva\n1782036000000,1\n", UNIT, REFUSED, "Unix seconds"),
    "times mixed": (b"time,uva\n1782036000,1\n2026-06-21T10:00:00Z,1\n", UNIT, REFUSED, "line 3"),
    "backwards": ("time,uva\n" + "\n".join(GOOD.split("\n")[:0:-1]).strip(), UNIT, REFUSED, "run backwards"),  # type: ignore[dict-item]
    "decimal comma": (b"time;uva\n2026-06-21T10:00:00Z;4,31\n", UNIT, REFUSED, "--decimal-comma"),
    "means alone": (GOOD.encode(), (*UNIT, "--means", "60s"), WRONG, "--stamped"),
    "of alone": (GOOD.encode(), (*UNIT, "--of", "sill"), WRONG, "--of goes with"),
    "name": (GOOD.encode(), (*UNIT, "--sensor", "a b"), WRONG, "is not a name"),
}  # fmt: skip


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Homed:
    """A home with one recording in it."""
    home = Homed(tmp_path_factory.mktemp("home"))
    file = home.folder / "first.csv"
    file.write_text(GOOD.replace("4.", "3."), encoding="utf-8")
    assert home.call("import", file, *UNIT).code == 0
    return home


def kept(home: Homed) -> list[tuple[object, ...]]:
    store = Store(open_reading(home.folder / "journal.sqlite3"))
    return [row for table in ("chunk", "sensor", "meta") for row in store.db.execute(f"SELECT * FROM {table}")]


@pytest.mark.parametrize("what", BAD)
def test_one_line_and_nothing_kept(home: Homed, tmp_path: Path, what: str) -> None:
    data, options, code, words = BAD[what]
    file = tmp_path / "bad.csv"
    file.write_bytes(data if isinstance(data, bytes) else data.encode())
    before = kept(home)
    home.call("import", file, *options).refused(code, words)
    assert kept(home) == before


def test_what_is_no_file(home: Homed, tmp_path: Path) -> None:
    home.call("import", tmp_path / "none.csv").refused(REFUSED, "not there")
    home.call("import", tmp_path).refused(REFUSED, "no ordinary file")


def test_a_file_that_cannot_be_read(home: Homed) -> None:
    """A stick pulled out gives EIO; so does a process's memory at its begin (proc(5)): told of the file."""
    home.call("import", "/proc/self/mem", *UNIT).refused(REFUSED, "/proc/self/mem cannot be read")


def test_a_fault_at_the_end_keeps_nothing_of_the_begin(home: Homed, tmp_path: Path) -> None:
    file = tmp_path / "long.csv"
    rows = "".join(f"{1_782_036_000 + i},{i % 97}\n" for i in range(30_000))
    file.write_text(f"time,uva\n{rows}1782066000,much\n", encoding="utf-8")
    before = kept(home)
    home.call("import", file, *UNIT).refused(REFUSED, "line 30002")
    assert kept(home) == before


class Endless(io.RawIOBase):
    """A file that is one line of any length; counts what was read of it."""

    def __init__(self) -> None:
        self.taken = 0

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: memoryview) -> int:  # type: ignore[override]
        buffer[:] = b"x" * len(buffer)
        self.taken += len(buffer)
        assert self.taken < 1 << 22, "it is read on and on"
        return len(buffer)


def test_a_line_without_end_is_not_read_to_its_end() -> None:
    with pytest.raises(Refusal, match="longer than"):
        list(text_lines(io.BufferedReader(Endless())))


def test_a_line_of_two_gigabytes(home: Homed, tmp_path: Path) -> None:
    """A sparse file: what is no table is told by its first line, before all of it is read."""
    file = tmp_path / "huge.csv"
    with file.open("wb") as handle:
        handle.write(b"time,uva" + b"x" * MOST_LINE)
        handle.truncate(2 << 30)
    home.call("import", file, *UNIT).refused(REFUSED, "longer than")


READ: dict[str, tuple[str, tuple[str, ...]]] = {
    "bom": ("\ufeff" + GOOD, UNIT),
    "tabs": (GOOD.replace(",", "\t"), UNIT),
    "semicolon": (GOOD.replace(",", ";"), UNIT),
    "decimal comma": (GOOD.replace(",", ";").replace("4.", "4,"), (*UNIT, "--decimal-comma")),
    "cr lf": (GOOD.replace("\n", "\r\n"), UNIT),
    "unit in the header": (GOOD.replace("uva", "uva [mW/cm²]"), ()),
    "quoted": (GOOD.replace("uva", '"uva"'), UNIT),
    "local": (GOOD.replace("Z", "").replace("T10", "T12"), (*UNIT, *ZURICH)),
    "offset": (GOOD.replace("Z", "+02:00").replace("T10", "T12"), UNIT),
    "unix": ("time,uva\n" + "".join(f"{1_782_036_000 + s},4.{s}\n" for s in range(20)), UNIT),
    "more columns": ("".join(f"x,{line},y\n" for line in GOOD.splitlines()), (*UNIT, "--value-column", "uva")),
}


@pytest.mark.parametrize("what", READ)
def test_the_same_readings_however_they_are_written(tmp_path: Path, what: str) -> None:
    text, options = READ[what]
    file = tmp_path / "good.csv"
    file.write_text(text, encoding="utf-8", newline="")
    homed = Homed(tmp_path / "home")
    ran = homed.call("import", file, *options)
    assert ran.code == 0, ran
    rows = list(Store(open_reading(homed.folder / "journal.sqlite3")).readings("good", 0))
    # 1782036000 is 2026-06-21T10:00:00Z (date -u -d @1782036000)
    assert [(t, r.value) for t, r in rows] == [((1_782_036_000 + s) * 1_000_000, float(f"4.{s}")) for s in range(20)]


def test_what_is_odd_is_told_by_count(tmp_path: Path) -> None:
    lines = GOOD.splitlines()
    rows = [*lines[:5], lines[4], lines[3], *lines[5:9], "2026-06-21T10:00:09Z,-0.5", "2026-06-21T10:00:10Z,n/a",
            "2026-06-21T10:00:11Z,-99.9", *lines[14:]]  # fmt: skip
    file = tmp_path / "odd.csv"
    file.write_text("\n".join(rows), encoding="utf-8")
    homed = Homed(tmp_path / "home")
    told = homed.told("import", file, *UNIT, "--missing", "-99.9")
    assert told["left_out"] == {"twice": 1, "late": 1, "no number": 2, "below zero": 1}
    store = Store(open_reading(homed.folder / "journal.sqlite3"))
    values = [r.value for _, r in store.readings("odd", 0)]
    assert -0.5 in values and len(values) == told["readings"] == 16 and values == sorted(values, key=values.index)


def test_ten_thousand_broken_tables() -> None:
    """Whatever a file holds: readings in order that are numbers, or one refusal."""
    rng = random.Random(11)
    whole = GOOD.encode()
    alphabet = (string.printable + "\0é;,,\n\n\"\"").encode("latin-1")
    read = refused = 0
    for _ in range(10_000):
        data = bytearray(whole)
        for _ in range(rng.choice((1, 1, 2, 4))):
            at = rng.randrange(len(data))
            size = rng.choice((0, 1, 1, 3, 40))
            data[at : at + size] = bytes(rng.choice(alphabet) for _ in range(rng.randrange(4)))
            if rng.random() < 0.5:
                data[at : at + 1] = bytes([rng.choice(b"0123456789")])
        asked = Asked("x", unit="W/m2", timezone=rng.choice((None, "UTC")), decimal_comma=rng.random() < 0.5,
                      means_s=(means := rng.choice((None, 1.0))), stamped="end" if means else None)  # fmt: skip
        try:
            rows = list(Recording(io.BytesIO(bytes(data)), asked).rows())
        except Refusal as err:
            refused += 1
            assert 0 < len(err.line) < 600 and err.code in (WRONG, REFUSED)
            continue
        read += 1
        assert all(a.t_us < b.t_us for a, b in itertools.pairwise(rows))
        assert all(abs(row.reading.value) < 1e13 for row in rows)
    assert read > 500 and refused > 500
