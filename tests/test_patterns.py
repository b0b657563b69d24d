"""The sounds of the calls: both programs for boards make those of the wire format, so that one ear knows every node."""

from __future__ import annotations

import re
import runpy
from pathlib import Path

NOTES = Path(__file__).parents[1] / "firmware_notes"


def _in_the_wire_format() -> dict[int, tuple[int, ...]]:
    text = (NOTES / "wire-format.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| (\d) [a-z-]+ \|[^|]*\| ([0-9 ]+) \|$", text, re.MULTILINE)
    return {int(number): tuple(map(int, times.split())) for number, times in rows}


def test_a_call_sounds_alike_on_every_node() -> None:
    told = _in_the_wire_format()
    assert sorted(told) == list(range(1, 8)) and len(set(told.values())) == 7
    assert runpy.run_path(str(NOTES / "micropython" / "calls.py"))["RHYTHMS"] == told
    source = (NOTES / "avr" / "core" / "sound.c").read_text(encoding="utf-8")
    unit = re.search(r"#define UNIT_MS (\d+)u", source)
    table = re.search(r"PATTERNS\[PATTERN_LAST\]\[PARTS\] = \{(.*?)^\};", source, re.DOTALL | re.MULTILINE)
    assert unit is not None and table is not None
    rows = re.findall(r"\{([0-9, ]+)\}", table[1])
    assert {i: tuple(int(unit[1]) * int(n) for n in row.split(",")) for i, row in enumerate(rows, 1)} == told
