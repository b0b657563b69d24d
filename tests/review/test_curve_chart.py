"""The curve of a calibration sheet as picture and as text: made, readable, and refused where there is none."""

from __future__ import annotations

import math
import re
import struct
from pathlib import Path

import numpy as np
import pytest

from uvdose.calibrate.curve import SCurve
from uvdose.calibrate.sheet import Finding, evaluate
from uvdose.calibrate.tablet import even
from uvdose.model import Refusal
from uvdose.notes import Calibration, Seen, StripPlan, TabletPlan
from uvdose.review.curve_chart import draw_curve
from uvdose.review.curve_text import HEIGHT, WIDTH, curve_lines

PAPER = SCurve(0.06, 1.5, 2.5, 2.7)
LONG = "tablet 12, a process with a very long name, " + "handmade paper of the bindery, hot pressed, " * 4


def _shown(doses: list[float], misread: dict[int, float] | None = None) -> tuple[float, ...]:
    shown = [round(float(PAPER.density(math.log10(d))[0]), 2) for d in doses]
    return tuple((misread or {}).get(i, d) for i, d in enumerate(shown, 1))


def _tablet(misread: dict[int, float] | None = None) -> Finding:
    known = even(21, 0.15)
    seen = Seen("density", values=_shown([6000 / 10**d for d in known.densities], misread))
    return evaluate(Calibration(TabletPlan(6000.0, known.densities, known.name), "mJ/cm2", seen=seen), 6000.0, 0.01)


def _strip() -> Finding:
    doses = (300.0, 600.0, 1200.0, 2400.0, 4800.0)
    seen = Seen("density", values=_shown(list(doses)))
    return evaluate(Calibration(StripPlan(doses), "counts.s", seen=seen), doses, 0.01)


MANY = {1: 1.0, 2: 1.2, 4: 1.2, 7: 0.9, 8: 1.5, 14: 0.9}


@pytest.mark.parametrize(("found", "title", "left_out"), [
    (_strip(), "strip 1, iron blue", 0), (_tablet(), LONG, 0), (_tablet(MANY), "tablet 2", 4),
], ids=["few", "long", "many"])  # fmt: skip
def test_pictures(tmp_path: Path, found: Finding, title: str, left_out: int) -> None:
    paths = [tmp_path / f"curve.{end}" for end in ("svg", "png", "pdf")]
    for path in paths:
        draw_curve(found, "mJ/cm2", title, path)
    svg, png, pdf = (path.read_bytes() for path in paths)
    texts = re.findall(r">([^<>]+)</text>", svg.decode())
    assert {"density", "full tone", "dose on the sheet, mJ/cm²"} <= set(texts), "text stays text"
    assert any(t.startswith("target ") for t in texts) and any(title.startswith(t) for t in texts)
    assert all(len(t) <= 80 for t in texts), "a long title is broken"
    assert not any("×" in t for t in texts), "plain figures along the dose"
    out = [s.number for s in found.steps if s.left_out]
    assert len(out) >= left_out and ("x  left out, with its step's number" in texts) == bool(out)
    assert {str(n) for n in out} <= set(texts)
    assert pdf.startswith(b"%PDF") and len(pdf) > 5000
    assert png.startswith(b"\x89PNG") and struct.unpack(">II", png[16:24]) == (1140, 780)
    from matplotlib import image

    ink = np.asarray(image.imread(paths[1])).mean(axis=2) < 0.5
    assert 0.005 < ink.mean() < 0.2, "something is drawn, and not everything"
    assert not ink[:, :2].any() and not ink[:, -2:].any(), "nothing is cut off at the sides"


@pytest.mark.parametrize("found", [_strip(), _tablet(), _tablet(MANY)], ids=["few", "tablet", "many"])
def test_text(found: Finding) -> None:
    lines = curve_lines(found, "counts.s")
    assert len(lines) == HEIGHT + 3 and max(map(len, lines)) <= WIDTH + 8
    drawn = "\n".join(lines)
    assert "-0.00" not in drawn and "counts·s" in drawn and "·" in drawn and "│ full tone" in drawn
    out = sum(bool(s.left_out) for s in found.steps)
    assert ("x left out" in lines[-1]) == bool(out)
    assert "".join(lines[:HEIGHT]).count("x") == out


@pytest.mark.parametrize("seen", [Seen("right", right=3), Seen("picks", full=3, tone=1)])
def test_picked_steps_have_no_curve(tmp_path: Path, seen: Seen) -> None:
    doses = (300.0, 600.0, 1200.0, 2400.0)
    found = evaluate(Calibration(StripPlan(doses), "mJ/cm2", seen=seen), doses, 0.01)
    assert curve_lines(found, "mJ/cm2") == []
    with pytest.raises(Refusal, match="no densities were read"):
        draw_curve(found, "mJ/cm2", "strip 1", tmp_path / "curve.svg")
    assert not list(tmp_path.iterdir())


def test_where_it_cannot_be_written(tmp_path: Path) -> None:
    (tmp_path / "folder.png").mkdir()
    for name, why in (("curve", "ends with"), ("curve.gif", "ends with"), ("none/curve.svg", "cannot be written"),
                      ("folder.png", "cannot be written")):  # fmt: skip
        with pytest.raises(Refusal, match=why):
            draw_curve(_strip(), "mJ/cm2", "strip 1", tmp_path / name)
    assert [p.name for p in tmp_path.iterdir()] == ["folder.png"]
