"""Which prints and which version of a target the proposal of the verdicts goes by."""

from __future__ import annotations

import math

import msgspec
import pytest
from exposure.table import IDENTITY, PaperBench, us

from uvdose.calibrate.verdicts import Prior
from uvdose.config import SensorSettings
from uvdose.dose.response import identity_of
from uvdose.exposure.document import document
from uvdose.exposure.target import Combination, Target
from uvdose.journal.store import Kept
from uvdose.notes import Verdict
from uvdose.review.judging import _judgement, alike, prior_of

SILL = identity_of(SensorSettings("sill", "simulated", scale=0.0125))
FIRST = Target("blue", 1, 2000.0, combination=Combination("iron blue", "rag"), identity=SILL)
change = msgspec.structs.replace


def strip_made(version: int, dose: float, basis: str = "strip 3") -> Target:
    return change(FIRST, version=version, dose=dose, low=dose / 2, high=dose * 2, basis=basis)


def test_the_calibration_print_is_the_base_and_no_verdict_on_it() -> None:
    by_verdicts = change(FIRST, version=3, dose=2300.0, low=2000.0, high=2600.0, basis="verdicts of 4, 5")
    prior, since = prior_of([FIRST, strip_made(2, 2600.0), by_verdicts])
    assert (prior.dose, since) == (2600.0, 2)
    assert prior.half_stops == pytest.approx(1.0)
    assert prior_of([FIRST, change(by_verdicts, version=2)]) == (Prior(2000.0), 1)


def test_a_sheet_read_anew_or_a_target_retired_takes_no_verdict_away() -> None:
    made, anew = strip_made(1, 2600.0), strip_made(2, 2700.0)
    retired = change(anew, version=3, retired=True)
    prior, since = prior_of([made, anew, retired, change(FIRST, version=4, dose=2700.0)])
    assert (prior.dose, since) == (2700.0, 1)
    assert prior_of([made, strip_made(2, 3000.0, "strip 9")])[1] == 2


@pytest.mark.parametrize("newest", [
    change(FIRST, version=2, dose=31.0, unit="counts.s"),
    change(FIRST, version=2, dose=31.0, combination=Combination("iron blue", "kozo")),
    change(FIRST, version=2, dose=31.0, identity=change(SILL, scale=0.02)),
])  # fmt: skip
def test_a_dose_of_another_unit_paper_or_sensor_is_no_base(newest: Target) -> None:
    for before in (FIRST, strip_made(1, 2600.0)):
        assert prior_of([before, newest]) == (Prior(31.0), 2)
        assert not alike(before, newest)


def test_what_was_not_noted_does_not_differ() -> None:
    later = change(FIRST, version=2, combination=Combination("iron blue", "rag", coat="two coats", film="clear"))
    assert alike(FIRST, later)
    assert not alike(later, change(FIRST, combination=Combination("iron blue", "rag", film="thick")))
    assert math.isclose(prior_of([strip_made(1, 2600.0), later])[0].dose, 2600.0)


def test_a_print_at_a_corrected_aim_counts_as_one_at_its_target() -> None:
    """What a dose of 80 does where the aim is 0.8 of the target's 100 is what 100 did where it was proved."""
    judged = []
    for aim in (1.0, 0.8):
        paper = PaperBench(lambda s: 50.0)
        exposure = paper.start(100.0, aim=aim)
        paper.pass_to(paper.now + round(20 * aim))
        shown = document(exposure, paper.bench.channels["sill"].track, us(paper.now), [])
        kept = Kept(exposure.plan, IDENTITY, "finished", True, 0, shown)
        judged.append(_judgement(kept, Verdict(tone="dark", stops=0.5), None))
    plain, corrected = judged
    assert plain is not None and corrected is not None
    assert plain.dose == pytest.approx(100.0) and corrected.dose == pytest.approx(plain.dose)
    assert corrected.dose_u_stops == pytest.approx(plain.dose_u_stops)
