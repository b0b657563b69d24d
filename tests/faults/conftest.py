"""The cases that were chosen all start in the background, some at once, in the order in which they are asked for."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor

import pytest
from faults.case import Result
from faults.cases import CASES
from faults.harness import run_case
from faults.pool import AT_ONCE

BY_NAME = {case.name: case for case in CASES}


@pytest.fixture(scope="session")
def outcome(request: pytest.FixtureRequest) -> Iterator[Callable[[str, int], Result]]:
    """The result of a case; waits for it."""
    pool = ThreadPoolExecutor(AT_ONCE)
    jobs: dict[tuple[str, int], Future[Result]] = {}
    for item in request.session.items:
        values = getattr(item, "callspec", None)
        if values is not None and "fault" in values.params:
            key = (values.params["fault"], values.params["seed"])
            jobs[key] = pool.submit(run_case, BY_NAME[key[0]], key[1])
    yield lambda name, seed: jobs[name, seed].result()
    pool.shutdown(cancel_futures=True)
