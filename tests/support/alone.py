"""A coroutine in a thread of its own: the browser of other tests may have a loop in the one that runs the tests."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Coroutine
from concurrent.futures import ThreadPoolExecutor
from typing import Any, TypeVar

T = TypeVar("T")


def alone(run: Callable[[], Coroutine[Any, Any, T]]) -> T:
    """Run it to its end, a minute at most."""
    with ThreadPoolExecutor(1) as pool:
        return pool.submit(lambda: asyncio.run(run())).result(60)
