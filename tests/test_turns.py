"""The turns of `tests/run`: what their lists name is there, and together they are all."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest
from conftest import APART, LONGEST

HERE = Path(__file__).parent


@pytest.mark.parametrize("name", [*LONGEST, *(name for names in APART.values() for name in names)])
def test_what_a_list_names_is_there(name: str) -> None:
    assert (HERE / name).is_dir() if name.endswith("/") else (HERE / name).is_file(), name


def test_the_turns_together_are_all() -> None:
    """One turn for each mark, and one for what has none."""
    lines = (HERE / "run").read_text(encoding="utf-8").splitlines()
    asked = [shlex.split(line)[2] for line in lines if re.match(r"turn \d", line)]
    none, *marks = asked
    assert sorted(marks) == sorted(APART) and none == " and ".join(f"not {mark}" for mark in marks)
