"""Real parts that a test needs: where one is missing, a run under CI fails and any other run skips and says so."""

from __future__ import annotations

import os
import shutil
from typing import NoReturn

import pytest

_SYSTEM = f"{os.environ.get('PATH', '')}:/usr/sbin:/usr/local/sbin:/sbin"


def missing(part: str, mend: str) -> NoReturn:
    """End the test: failed under CI, skipped elsewhere."""
    line = f"{part} is missing: {mend}"
    if os.environ.get("CI"):
        pytest.fail(line, pytrace=False)
    pytest.skip(line)


def program(name: str) -> str:
    """The path of a program of the distribution; system folders are looked into too."""
    found = shutil.which(name, path=_SYSTEM)
    return found if found is not None else missing(name, "tests/run installs it from the distribution's packages")
