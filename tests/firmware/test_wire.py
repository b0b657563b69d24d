"""The firmware's core against the wire format's vectors, and against random lines.

Source of the vectors: shared/wire/vectors.json, which the daemon is tested on as well; of the checksum's check value:
the CRC catalogue (CRC-16/CCITT-FALSE of "123456789" is 29B1).
"""

from __future__ import annotations

import json
import os
import subprocess
from typing import Any

import pytest
from support.driven import answers, drive, order, readings, said, wire
from support.firmware import ROOT, host_program

from uvdose.decode.native import format_line, frame_command

VECTORS: dict[str, Any] = json.loads((ROOT / "shared" / "wire" / "vectors.json").read_text(encoding="utf-8"))
FIELDS = ("boot", "seq", "uptime_ms", "level_milli", "register", "sat_ms", "presses", "flags")


def test_every_reading_is_written_so_that_it_is_read_back() -> None:
    script = []
    for vector in VECTORS["readings"]:
        whole, thousandths = divmod(int(vector["level_milli"]), 1000)
        before, after = [vector[f] for f in FIELDS[:3]], [vector[f] for f in FIELDS[4:]]
        script.append(" ".join(["format", *before, str(whole), str(thousandths), *after]))
    lines = drive(script)
    got = readings(lines)
    assert len(got) == len(VECTORS["readings"])
    plain = 0
    for vector, reading, line in zip(VECTORS["readings"], got, said(lines), strict=True):
        assert [str(getattr(reading, f)) for f in FIELDS] == [vector[f] for f in FIELDS]
        assert line.encode() + b"\n" == format_line(reading)
        plain += line == vector["line"]
    assert plain >= 5, "those of the vectors that are in the form in which a node writes are the same to the letter"


@pytest.mark.parametrize("vector", VECTORS["commands"], ids=lambda v: v["text"])
@pytest.mark.parametrize("ending", ["\n", "\r\n"])
def test_every_command_is_taken(vector: dict[str, str], ending: str) -> None:
    line = vector["line"].removesuffix("\n") + ending
    (answer,) = answers(drive([wire(line.encode())]))
    verb = vector["text"].split()[0]
    assert answer.split()[:2] == ["ok", verb]
    if verb == "arm":
        assert answer == f"ok {vector['text']}"


@pytest.mark.parametrize("line", VECTORS["refused_commands"])
def test_every_refused_command_is_refused(line: str) -> None:
    assert answers(drive([wire(line.encode("latin-1") + b"\n")])) == ["err checksum"]


@pytest.mark.parametrize("vector", VECTORS["invalid"], ids=lambda v: v["line"][:40])
def test_what_is_no_reading_is_no_command_either(vector: dict[str, str]) -> None:
    raw = vector["line"].encode("latin-1")
    got = drive([wire(raw + b"\n")])
    assert len(said(got)) == 1
    proved = vector["reason"] not in ("checksum", "no checksum")
    printable = all(0x20 <= b < 0x7F for b in raw) and raw.count(b"*") == 1 and not raw.startswith(b"*")
    short = len(raw) <= 64
    assert answers(got) == ["err unknown" if proved and printable and short else "err checksum"]


@pytest.mark.parametrize("vector", VECTORS["answers"], ids=lambda v: v["text"])
def test_answers_are_framed_as_the_vectors_are(vector: dict[str, str]) -> None:
    """Those of the vectors that this node says: told by asking for them."""
    asked = {"ok slot 3 -": "slot 3", "ok now": "now", "ok buzz": "buzz 4 60", "err unknown": "sing"}
    if vector["text"] in asked:
        assert vector["line"] in said(drive([order(asked[vector["text"]])]))
    else:
        # Others are said by other nodes; as lines to this one they are proved, and no command.
        assert answers(drive([wire(vector["line"].encode() + b"\n")])) == ["err unknown"]


@pytest.mark.parametrize(
    ("command", "answer"),
    [
        ("buzz 0 1", "err value"), ("buzz 8 1", "err value"), ("buzz 1 3600.001", "err value"),
        ("buzz 1 -1", "err value"),
        ("buzz 1 3600", "ok buzz"), ("buzz 1 0", "ok buzz"), ("buzz 1 0.25", "ok buzz"), ("buzz 1 1e3", "err value"),
        ("buzz 1", "err arguments"), ("buzz 1 2 3", "err arguments"), ("who me", "err arguments"),
        ("now now", "err arguments"),
        ("arm 4 1 1", "err value"), ("arm 0 9223372036854775808 1", "err value"), ("arm 0 1 0", "err value"),
        ("arm 0 99999999999999999999999 1", "err value"), ("arm 0 1.5 1", "err value"), ("arm 0 007 1", "ok arm 0 7 1"),
        ("arm 0 1 1 1 1 1", "err arguments"), ("disarm 4", "err value"), ("disarm 3", "ok disarm"),
        ("disarm", "err arguments"), ("lease 86400", "ok lease"), ("lease 86400.1", "err value"),
        ("lease 0", "ok lease"), ("lease nan", "err value"),
        ("rate 0.1", "ok rate"), ("rate 0.09", "err value"), ("rate 10", "ok rate"), ("rate 1000", "err value"),
        ("rate 4294967296.2", "err value"), ("WHO", "err unknown"), ("who2", "err unknown"),
        ("armed 1 2 3", "err unknown"), ("disarm  1", "ok disarm"),
        ("slot 4", "err value"), ("slot", "err arguments"), ("slot 3", "ok slot 3 -"),
    ],
)
def test_answers(command: str, answer: str) -> None:
    """Source: firmware_notes/wire-format.md, "To the node"."""
    assert answers(drive([order(command)])) == [answer]


def test_who_has_six_words_without_blanks() -> None:
    (answer,) = answers(drive([order("who")]))
    assert len(answer.split(" ")) == 8 and answer.split(" ")[6] == "4092"


def test_now_gives_its_line_and_then_its_answer_and_an_empty_line_nothing() -> None:
    got = said(drive(["pass 7 3", wire(b"\n\r\n"), order("now"), wire(b"\n")]))
    assert len(got) == 2 and got[0].startswith("uv1,") and got[1].startswith("ok now*")


def test_answers_come_in_the_order_of_the_commands_and_an_overlong_line_is_one() -> None:
    long = [wire(b"x" * 300 + b"\n"), order("quiet"), wire(b"y" * 65 + b"\n" + b"z" * 64 + b"\n"), order("sing")]
    got = answers(drive(long))
    assert got == ["err checksum", "ok quiet", "err checksum", "err checksum", "err unknown"]


def test_a_proved_command_in_a_line_that_is_too_long_is_not_obeyed() -> None:
    """A line that is cut, at its end or its beginning, must not become another one that is proved."""
    inside = frame_command("quiet").rstrip(b"\n")
    for length in range(60, 70):
        assert answers(drive([wire(b" " * length + inside + b"\n")])) == ["err checksum"]
    full = frame_command("quiet".ljust(59)).rstrip(b"\n")
    assert answers(drive([wire(full + b"\n"), wire(full + b"x\n"), wire(full + full + b"\n")])) == [
        "ok quiet", "err checksum", "err checksum",
    ]


@pytest.mark.timeout(900)
def test_random_lines_are_each_answered_once() -> None:
    lines = 10_000_000 if os.environ.get("UVDOSE_LONG") else 100_000
    done = subprocess.run([str(host_program("fuzz")), str(lines), "1"], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    answered, _, taken, _ = done.stdout.split()
    assert int(answered) > 0.99 * lines and int(taken) > 0.02 * lines


def test_the_core_keeps_what_it_promises_itself() -> None:
    """Checksum, state kept through a reset in any moment, button: tests/firmware/host/unit.c."""
    done = subprocess.run([str(host_program("unit"))], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
