"""The fault matrix: every case on real ports and a real broker. UVDOSE_SEEDS=N draws each N times.

`python tests/faults/show.py` prints its table.
"""

from __future__ import annotations

from collections.abc import Callable

import pytest
from faults.case import Result
from faults.cases import CASES
from faults.pool import SEEDS
from faults.show import HEAD, row

NAMES = [case.name for case in CASES]


def test_every_case_has_its_own_name() -> None:
    assert len(set(NAMES)) == len(NAMES)


@pytest.mark.timeout(180)
@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("fault", NAMES)
def test_fault(outcome: Callable[[str, int], Result], fault: str, seed: int) -> None:
    result = outcome(fault, seed)
    print(f"\n{HEAD}\n{row(result)}")
    assert not result.problems, "\n".join(result.problems)
