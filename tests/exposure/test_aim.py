"""An aim above or below the target's dose, on paper: every call goes by it, and the account knows nothing of it."""

from __future__ import annotations

import math
import re
from pathlib import Path

import pytest
from exposure.table import PaperBench, us

import uvdose
from uvdose.exposure.arming import wanted
from uvdose.exposure.document import document
from uvdose.messages import ExposureDoc

# 100 mJ/cm² are 1000 J/m²: 20 s at 50 W/m².
DOSE = 100.0


def _shown(paper: PaperBench, number: int) -> ExposureDoc:
    track = paper.bench.channels["sill"].track
    return document(paper.bench.exposures[number], track, us(paper.now), [])


@pytest.mark.parametrize("aim", [0.8, 1.0, 1.25])
def test_calls_come_at_their_share_of_the_aim(aim: float) -> None:
    """From the definition: at steady light a share f of the aim is there after f x aim x 20 s."""
    paper = PaperBench(lambda s: 50.0)
    begin = paper.now
    paper.start(DOSE, aim=aim, looks=(0.5,), lead_s=2.0, overshoots=(2.0,))
    paper.pass_to(begin + 4)
    assert _shown(paper, 1).eta_s == pytest.approx(20 * aim - 4)
    paper.pass_to(begin + 120)
    at = dict(paper.rings)
    whole = 20 * aim
    assert at["look:0.5"] - begin == pytest.approx(whole / 2, abs=0.01)
    assert at["lead"] - begin == pytest.approx(whole - 2, abs=0.01)
    assert at["reached"] - begin == pytest.approx(whole, abs=0.01)
    assert at["overshoot:2"] - begin == pytest.approx(4 * whole, abs=0.01)
    texts = [r.text for out in paper.outcomes for r in out.rings]
    assert any(text.startswith("reached blue, frame 1, 100 %") for text in texts)


def test_the_dose_is_as_read_and_the_aim_is_told_beside_the_target() -> None:
    paper = PaperBench(lambda s: 50.0 + (s % 7))
    paper.start(DOSE, 1, "1")
    paper.start(DOSE, 2, "2", aim=0.8)
    paper.pass_to(paper.now + 11)
    plain, aimed = _shown(paper, 1), _shown(paper, 2)
    assert (aimed.dose, aimed.dose_low, aimed.dose_high) == (plain.dose, plain.dose_low, plain.dose_high)
    assert (plain.target_dose, plain.target_dose_raw, plain.correction_stops) == (DOSE, DOSE, 0.0)
    assert aimed.target_dose == pytest.approx(80.0) and aimed.target_dose_raw == DOSE
    assert aimed.correction_stops == pytest.approx(math.log2(0.8))
    assert aimed.fraction == pytest.approx(plain.fraction / 0.8)
    # A dose of 80 does in this light what 100 did where it was proved.
    assert aimed.dose_as_proved == pytest.approx(aimed.dose / 0.8)
    assert plain.dose_as_proved == plain.dose


def test_a_node_is_armed_for_the_aim() -> None:
    paper = PaperBench(lambda s: 50.0)
    begun = paper._sum
    paper.start(DOSE, aim=0.8)
    paper.pass_to(paper.now + 3)
    found = wanted(paper.bench.exposures.values(), paper.bench.channels["sill"])[1].register
    # 500 counts for 16 s, in counts x ms.
    assert found == pytest.approx(begun + 500 * 16_000, abs=1)


def test_nothing_but_the_plan_and_its_document_goes_by_the_target_s_own_dose() -> None:
    root = Path(uvdose.__file__).parent
    found = {
        str(path.relative_to(root)) for path in root.rglob("*.py")
        if re.search(r"(plan|self)\.target\.dose", path.read_text(encoding="utf-8"))
    }
    assert found == {"exposure/record.py", "exposure/document.py"}
