"""`uvdose day --out`: which files there are, that none is lost, and that the day is the one that was asked for."""

from __future__ import annotations

import io
import os
import stat
from collections.abc import Iterator
from pathlib import Path

import pypdf
import pytest
from support.june import SETTINGS, measured

from .conftest import Homed


@pytest.fixture(autouse=True)
def in_utc(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    import time

    monkeypatch.setenv("TZ", "UTC")
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


@pytest.fixture
def bench(home: Homed) -> Homed:
    """Readings of the first two days of June 2016, one a minute (BSRN Payerne), and no prints."""
    home.write(SETTINGS)
    measured(home.folder / "journal.sqlite3", 3.0).close()
    return home


def test_a_page_and_a_pdf(bench: Homed, tmp_path: Path) -> None:
    for name in ("day.html", "Day.HTML", "day.pdf"):
        file = tmp_path / name
        ran = bench.call("day", "2016-06-02", "--out", file)
        assert ran.code == 0 and ran.out == "" and ran.err == f"uvdose: 2016-06-02 lies in {file}\n", ran
        assert "2 June 2016" in (words(file) if name.endswith(".pdf") else file.read_text(encoding="utf-8"))
    assert "bindery" in words(tmp_path / "day.pdf")


def words(file: Path) -> str:
    return " ".join(p.extract_text() for p in pypdf.PdfReader(io.BytesIO(file.read_bytes())).pages)


@pytest.mark.parametrize(("said", "width"), [((), 595.28), (("--paper", "letter"), 612.0), (("--paper", "A4"), 595.28)])
def test_the_paper(bench: Homed, tmp_path: Path, said: tuple[str, ...], width: float) -> None:
    assert bench.call("day", "2016-06-02", "--out", tmp_path / "a.pdf", *said).code == 0
    found = pypdf.PdfReader(tmp_path / "a.pdf").pages[0].mediabox.width
    assert float(found) == pytest.approx(width, abs=0.01)
    assert bench.call("day", "2016-06-02", "--out", tmp_path / "a.html", *said).code == 0
    told = (tmp_path / "a.html").read_text(encoding="utf-8")
    assert ("@page { size: Letter; }" in told, "@page { size: A4; }" in told) == ("letter" in said, "A4" in said)


@pytest.mark.parametrize("end", ["html", "pdf"])
def test_a_file_that_is_there_stays_without_force(bench: Homed, tmp_path: Path, end: str) -> None:
    file = tmp_path / f"day.{end}"
    file.write_text("mine")
    bench.call("day", "2016-06-02", "--out", file).refused(4, "is there already", "--force")
    assert file.read_text() == "mine"
    assert bench.call("day", "2016-06-02", "--out", file, "--force").code == 0
    first = file.read_bytes()
    assert bench.call("day", "2016-06-02", "--out", file, "--force").code == 0
    assert file.read_bytes() == first != b"mine", "the same day, the same bytes"
    assert [p.name for p in tmp_path.iterdir() if p.name.endswith(".part")] == []


@pytest.mark.parametrize(
    ("said", "code", "told"),
    [
        (("--out", "day.png"), 2, ".html or .pdf"), (("--out", "day"), 2, ".html or .pdf"),
        (("--out", "a.pdf", "--paper", "A3"), 2, "A4 or Letter"),
        (("--out", "a.html", "--paper", ""), 2, "A4 or Letter"),
        (("--paper", "A4"), 2, "--out"), (("--out", "{home}/none/a.html"), 4, "cannot be written"),
        (("--out", "{home}/none/a.pdf"), 4, "cannot be written"),
    ],
)  # fmt: skip
def test_what_cannot_be_meant_is_refused(bench: Homed, said: tuple[str, ...], code: int, told: str) -> None:
    bench.call("day", "2016-06-02", *(word.format(home=bench.folder) for word in said)).refused(code, told)


def test_without_prints_there_is_no_newest_day_and_nothing_is_written(bench: Homed, tmp_path: Path) -> None:
    bench.call("day", "--out", tmp_path / "day.html").refused(4, "no exposure in the journal yet")
    bench.call("day", "2016-6-2", "--out", tmp_path / "day.html").refused(2, "YYYY-MM-DD")
    assert not (tmp_path / "day.html").exists()


def test_json_goes_beside_the_file(bench: Homed, tmp_path: Path) -> None:
    assert bench.told("day", "2016-06-02", "--out", tmp_path / "day.html")["date"] == "2016-06-02"
    assert (tmp_path / "day.html").exists()


def test_a_page_into_a_pipe_and_settings_that_cannot_be_read(bench: Homed, tmp_path: Path) -> None:
    pipe = tmp_path / "pipe.html"
    os.mkfifo(pipe)
    reader = os.open(pipe, os.O_RDONLY | os.O_NONBLOCK)
    bench.write("[bench\nname = ")
    try:
        assert bench.call("day", "2016-06-20", "--out", pipe).code == 0  # a small page, which the pipe holds
        assert os.read(reader, 1 << 20).startswith(b"<!DOCTYPE html>")
    finally:
        os.close(reader)
    assert stat.S_ISFIFO(pipe.stat().st_mode), "it is still a pipe"
