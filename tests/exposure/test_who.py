"""What a node says of itself, and what of it matters."""

from __future__ import annotations

import pytest
from exposure.table import PaperBench, us

from uvdose.exposure.channel import told_change

OLD = "ok who sill 1.2 guva 4 1023 3"


@pytest.mark.parametrize(
    ("was", "now", "full_scale", "words"),
    [
        (None, OLD, 1023.0, []),
        (OLD, OLD, 1023.0, []),
        (OLD, "ok who sill 1.3 guva 4 1023 3", 1023.0, []),
        (OLD, "ok who sill 1.2 guva 8 1023 3", 1023.0, ["gain was 4, is 8"]),
        (OLD, "ok who sill 1.2 other 4 4095 3", 1023.0, ["sensor was guva", "full scale was 1023", "in the settings"]),
        (None, "ok who sill", 1023.0, []),
    ],
)
def test_told_change(was: str | None, now: str, full_scale: float, words: list[str]) -> None:
    line = told_change(was, now, full_scale)
    assert (line is None) == (not words)
    for word in words:
        assert word in (line or "")


def test_the_alarm_is_told_once_and_cleared() -> None:
    paper = PaperBench(lambda s: 50.0)
    changed = OLD.replace(" 4 ", " 8 ")
    paper.keep(paper.bench.introduced("sill", None, OLD, us(5)))
    paper.keep(paper.bench.introduced("sill", OLD, changed, us(6)))
    paper.keep(paper.bench.introduced("sill", OLD, changed, us(7)))
    paper.keep(paper.bench.introduced("sill", changed, changed, us(8)))
    assert [(f.name, f.data["alarm"]) for f in paper.facts] == [("alarm", "changed"), ("cleared", "changed")]
