"""`uvdose lamp`: the trend of prints that a journal holds, distance by closed forms, and what is refused."""

from __future__ import annotations

import contextlib
import io
import json
import math
import sqlite3
import time

import pytest

from uvdose.cli import app
from uvdose.cli.lamp_flicker import _read_hz
from uvdose.model import Refusal

from .conftest import SIMULATED, Daemon, Homed

UNDER = SIMULATED.replace("scale = 0.0125\n", 'scale = 0.0125\nlight = "lamp"\n')
MONTH_US = 365.25 / 12 * 86_400e6


def test_distance_by_closed_forms() -> None:
    """Inverse square for a small lamp; R^2/(R^2 + d^2) for an even round panel (Lambert's disc, textbooks)."""
    def told(*words: str) -> dict[str, float]:
        out = io.StringIO()
        with contextlib.redirect_stdout(out):
            assert app.run(["lamp", "distance", *words, "--json"]) == 0
        found: dict[str, float] = json.loads(out.getvalue())
        return found

    assert told("30", "60")["factor"] == pytest.approx(0.25) and told("30", "60")["stops"] == pytest.approx(-2.0)
    assert told("30", "60", "--radius", "20")["factor"] == pytest.approx((400 + 900) / (400 + 3600))
    assert app.run(["lamp", "distance", "0", "60"]) == 2


@pytest.mark.parametrize("wrong", [
    "--mains 55", "--rate nan", "--rate 0", "--seconds 0", "--over -1", "--lasting inf", "--mains x",
])  # fmt: skip
def test_flicker_of_what_cannot_be(wrong: str) -> None:
    assert app.run(["lamp", "flicker", *wrong.split()]) == 2


def test_what_is_refused(home: Homed) -> None:
    home.write(SIMULATED)
    home.call("lamp", "ageing").refused(4, "stands in the sun", 'light = "lamp"')
    home.call("lamp", "ageing", "roof").refused(2, "roof")
    home.write(UNDER)
    home.call("target", "set", "blue", "--dose", 10)
    home.call("lamp", "ageing").refused(4, "too little to tell", "0 prints")
    home.call("lamp", "warm").refused(3)


@pytest.mark.parametrize("per_month", [0.03, 0.0])
def test_ageing_out_of_the_journal(serve: object, per_month: float) -> None:
    """One real print, and copies of it that a test dates a month apart, each with so much less light."""
    daemon: Daemon = serve("lamp", UNDER)  # type: ignore[operator]
    daemon.wait_live()
    daemon.told("target", "set", "blue", "--dose", 100)
    daemon.told("expose", "blue")
    time.sleep(0.3)
    daemon.told("finish", 1)
    end = time.monotonic() + 15
    while not all(e["settled"] for e in daemon.told("status")["exposures"]):
        assert time.monotonic() < end
        time.sleep(0.05)
    time.sleep(0.5)
    daemon.stop()
    db = sqlite3.connect(daemon.folder / "journal.sqlite3")
    names = [row[1] for row in db.execute("PRAGMA table_info(exposure)")]
    with db:
        for month in range(1, 6):
            row = dict(zip(names, db.execute("SELECT * FROM exposure WHERE id = 1").fetchone(), strict=True))
            row["id"] = 1 + month
            row["begin_wall_us"] += round(month * MONTH_US)
            dose = db.execute("SELECT json_extract(shown, '$.dose') FROM exposure WHERE id = 1").fetchone()[0]
            noise = 1 + 1e-4 * (-1) ** month
            db.execute(f"INSERT INTO exposure ({', '.join(row)}) VALUES ({', '.join('?' * len(row))})",
                       list(row.values()))  # fmt: skip
            db.execute("UPDATE exposure SET shown = json_set(shown, '$.dose', ?) WHERE id = ?",
                       (dose * (1 - per_month) ** month * noise, 1 + month))  # fmt: skip
    db.close()
    told = daemon.told("lamp", "ageing")
    assert told["prints"] == 6 and told["days"] == pytest.approx(5 * 365.25 / 12)
    assert told["per_month"] == pytest.approx(per_month, abs=2e-4)
    assert told["per_month_low"] <= per_month <= told["per_month_high"]
    words = " ".join(daemon.call("lamp", "ageing").out.split())
    if per_month:
        assert "6 prints over 152 days: the lamp loses 3.0 % a month" in words
        tenth = round(math.log(0.9) / math.log(1 - per_month) * 365.25 / 12)
        assert f"a tenth of it is gone {tenth} days" in words or f"gone {tenth - 1} days" in words \
            or f"gone {tenth + 1} days" in words
    else:
        assert "no ageing is to be seen yet" in words


def test_readings_that_came_all_at_once_tell_no_rate() -> None:
    assert _read_hz("lamp", [5.0 + k / 4 for k in range(13)]) == 4.0
    with pytest.raises(Refusal, match="came at one moment"):
        _read_hz("lamp", [5.0] * 12)
