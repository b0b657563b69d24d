"""Days whose whole text and JSON are kept as golden files; all of them are invented.

`PYTHONPATH=.:tests python -m review.days` writes the files anew. Look at what has changed before you keep it. Figures
in JSON are rounded to nine digits, since the last bits of a sum may differ from machine to machine.
"""

from __future__ import annotations

import json
import math
import os
import random
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import msgspec

from uvdose.exposure.states import Act
from uvdose.notes import Check, CheckStep, Verdict, ZeroTaken
from uvdose.review.day import Day
from uvdose.review.gather import gather
from uvdose.review.text import render
from uvdose.stamps import iso_utc

from .conftest import BLUE, Bindery

FOLDER = Path(__file__).with_name("days")
DATE = "2026-06-21"
BROWN = msgspec.structs.replace(BLUE, name="brown", version=1, dose=60.0, unit="V.s")


def one(b: Bindery) -> Day:
    """One print, over a cloud, with a hold and its verdict."""
    b.light(60, 400)
    number = b.start(BLUE, "sill", "north", "fern")
    b.light(20, 400)
    b.light(40, 200)
    b.act(number, Act.HOLD)
    b.light(30, 400)
    b.act(number, Act.RESUME)
    b.light(58, 400)
    b.act(number, Act.FINISH)
    b.light(70, 400)
    b.say("verdict", str(number), Verdict("dark", 0.3, None, "right", "edges soft"))
    return gather(b.store, DATE)


def printed(b: Bindery) -> Day:
    """What the fixture of that name makes: two sensors, one print still in the light over a bridged hole."""
    from .conftest import print_two

    print_two(b)
    return gather(b.store, DATE)


def twelve(b: Bindery) -> Day:
    """A dozen on two frames and two sensors, long names, one void, one over a hole that is too long to bridge, a new
    target and what the morning's look at the sensor found."""
    b.say("zero", "sill", ZeroTaken(0.0, 0.01, 0.1, 60, 60.0, 0.0, "counts", 0.2, 0.01))
    b.say("check", "sill", Check((CheckStep("dark", True, ""), CheckStep("level", False, ""))))
    b.light(70, 350, 0.8)
    newer = msgspec.structs.replace(BLUE, version=3, dose=420.0, basis="verdicts of 1, 2",
                                    made_utc=iso_utc(b.clock.wall_us()))  # fmt: skip
    b.keep(newer)
    for k in range(6):
        label = ("", "a label that is much too long for its column", "fern")[k % 3]
        first = b.start(newer if k > 2 else BLUE, "sill", "north", label)
        second = b.start(BROWN, "roof", "the south frame by the wall")
        b.light(40, 300 + 20 * k, 0.9)
        if k == 1:
            b.act(second, Act.VOID)
        if k == 2:
            b.light(100, 300, silent=True)
        b.light(60, 380, 0.7 + 0.05 * k)
        b.act(first, Act.FINISH)
        if k != 1:
            b.act(second, Act.FINISH)
        b.light(9, 380, 0.9)
    b.light(70, 300, 0.7)
    return gather(b.store, DATE)


def sixty(b: Bindery) -> Day:
    """Sixty short ones under clouds, on two frames by turns; every fifth has its verdict."""
    drawn = random.Random(60)
    b.light(60, 400)
    for k in range(60):
        number = b.start(BLUE, "sill", ("north", "south")[k % 2], f"sheet {k + 1}" if k % 4 else "")
        for _ in range(4):
            b.light(25, drawn.randint(250, 400))
        if k % 7 == 0:
            b.act(number, Act.HOLD)
            b.light(12, 380)
            b.act(number, Act.RESUME)
            b.light(5, 380)
        b.act(number, Act.FINISH)
        if k % 5 == 0:
            b.say("verdict", str(number), Verdict(("light", "right", "dark")[k % 3]))
        b.light(8, 380)
    b.light(70, 300)
    return gather(b.store, DATE)


def none(b: Bindery) -> Day:
    """Readings, and no print."""
    b.light(300, 400, 0.5)
    return gather(b.store, DATE)


def gaps(b: Bindery) -> Day:
    """A sensor that comes and goes, with a print in its light."""
    b.light(30, 400)
    number = b.start(msgspec.structs.replace(BLUE, dose=4000.0), "sill", "north", "fern")
    for seconds in (20, 90, 41, 300):
        b.light(45, 400)
        b.light(seconds, 400, silent=True)
        b.restart_node()
        b.light(20, 1023, full=True)
    b.act(number, Act.FINISH)
    b.light(70, 400)
    return gather(b.store, DATE)


def seldom(b: Bindery) -> Day:
    """One reading a minute."""
    b.seldom(20, 0.8)
    number = b.start(msgspec.structs.replace(BROWN, dose=900.0), "roof", "south", "fern")
    b.seldom(30, 0.7)
    b.act(number, Act.FINISH)
    b.seldom(20, 0.8)
    return gather(b.store, DATE)


def weeks(b: Bindery) -> Day:
    """Plant juice: two days in the light and the nights between, of which the second is shown. One reading in 50 s:
    a cosine cubed from sunrise to sunset, and at night zero."""
    juice = msgspec.structs.replace(BROWN, name="spinach", dose=200_000.0)
    b.seldom(2, 0.8)
    number = b.start(juice, "roof", "south", "leaf")
    for reading in range(50 * 72):
        noon = (10 + reading / 72) % 24 - 13
        b.seldom(1, round(0.8 * max(0.0, math.cos(noon * math.pi / 16)) ** 3, 4), every_s=50)
    b.act(number, Act.FINISH)
    b.seldom(3, 0.8)
    return gather(b.store, "2026-06-22")


DAYS: dict[str, Callable[[Bindery], Day]] = {
    "one": one, "printed": printed, "twelve": twelve, "sixty": sixty, "none": none, "gaps": gaps, "seldom": seldom,
    "weeks": weeks,
}  # fmt: skip


def rounded(value: Any) -> Any:
    """Every figure to nine digits."""
    if isinstance(value, float):
        return float(f"{value:.9g}")
    if isinstance(value, dict):
        return {key: rounded(item) for key, item in value.items()}
    return [rounded(item) for item in value] if isinstance(value, list) else value


def as_text(day: Day) -> str:
    """The JSON of a day with a line for each key and each exposure, so that a change is seen."""
    document = rounded(json.loads(msgspec.json.encode(day.as_json())))
    lines = []
    for key, value in document.items():
        if isinstance(value, list) and value and isinstance(value[0], dict):
            rows = ",\n".join(f"  {json.dumps(item, ensure_ascii=False)}" for item in value)
            lines.append(f"{json.dumps(key)}: [\n{rows}\n ]")
        else:
            lines.append(f"{json.dumps(key)}: {json.dumps(value, ensure_ascii=False)}")
    return "{\n " + ",\n ".join(lines) + "\n}\n"


def main() -> None:
    os.environ["TZ"] = "UTC"
    time.tzset()
    for name, make in DAYS.items():
        with tempfile.TemporaryDirectory() as folder:
            day = make(Bindery(Path(folder) / "journal.sqlite3"))
        FOLDER.joinpath(f"{name}.txt").write_text(render(day), encoding="utf-8")
        FOLDER.joinpath(f"{name}.json").write_text(as_text(day), encoding="utf-8")


if __name__ == "__main__":
    main()
