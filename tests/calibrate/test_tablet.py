"""Step tablets, even and from a file."""

from __future__ import annotations

import pytest

from uvdose.calibrate.tablet import even, from_csv
from uvdose.model import Refusal


def test_the_usual_tablet() -> None:
    """21 equal steps, 0.05 to 3.05, 0.15 apart: US Navy training manual NAVEDTRA 14209, p. 10-40."""
    tablet = even()
    assert len(tablet.densities) == 21
    assert (tablet.densities[0], tablet.densities[1], tablet.densities[-1]) == (0.05, 0.20, 3.05)
    assert even(31, 0.10).densities[-1] == 3.05
    assert tablet.log_doses(3.4)[0] == pytest.approx(3.35)


@pytest.mark.parametrize(
    "text",
    [
        "step,density\n1,0.05\n2,0.21\n3,0.36\n",
        "# endpaper bench\n\n density , step \n0.05,1\n# thinnest above\n0.21,2\n0.36,3",
        "\ufeffstep;density\r\n1;0,05\r\n2;0,21\r\n3;0,36\r\n",
        "Step;note;Density\n1;a;0.05\n2;;0.21\n3;;0.36",
    ],
)
def test_files(text: str) -> None:
    assert from_csv(text).densities == (0.05, 0.21, 0.36)


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("", "empty tablet file"),
        ("# only words\n", "empty tablet file"),
        ("step,value\n1,0.05", "line 1: one column must be named density"),
        ("1,0.05\n2,0.2\n3,0.3", "line 1: one column must be named step"),
        ("step,density\n1,0.05\n\n3,0.35", "line 4: step 3 where 2 is due"),
        ("step,density\n1,0.05\n1,0.20", "line 3: step 1 comes twice"),
        ("step,density\n1,0.05\n2,nan", "line 3: density 'nan' is not a number"),
        ("step,density\n1,0.05\n2,-", "line 3: density '-' is not a number"),
        ("step,density\n1,0.05\n2,0.05", "line 3: density 0.05 after 0.05: densities must rise"),
        ("step,density\n1,0,05\n2,0,20", "line 2: 3 values in 2 columns.*semicolons"),
        ("step,density\none,0.05", "line 2: step 'one' is not a whole number"),
        ("step,density\n1,0.05\n2,8", "line 3: density 8"),
        ("step,density\n1,0.05\n2,0.2", "2 steps in the tablet file"),
    ],
)
def test_faults_of_a_file_are_told_with_their_line(text: str, line: str) -> None:
    with pytest.raises(Refusal, match=line) as refused:
        from_csv(text)
    assert refused.value.code == 2 and "\n" not in refused.value.line


@pytest.mark.parametrize("bad", [{"count": 1}, {"step": 0.0}, {"first": -1.0}, {"count": 10**6}])
def test_even_tablets_that_cannot_be(bad: dict[str, float]) -> None:
    with pytest.raises(Refusal):
        even(**bad)  # type: ignore[arg-type]
