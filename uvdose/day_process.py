"""`python -m uvdose.day_process` makes the page of one day, or its document: a task on its input, an answer on its
output."""

from __future__ import annotations

import sys
from contextlib import closing
from pathlib import Path

import msgspec

from .apart import answer
from .days import Answer, Task
from .journal.daily import newest_day
from .journal.schema import open_reading
from .journal.store import Store
from .model import Refusal
from .review.gather import gather
from .stamps import day_bounds, local_date, use_zone


def _answer(task: Task) -> Answer:
    """Make it; a refusal is an answer, too."""
    use_zone(task.bench.timezone)
    try:
        with closing(open_reading(Path(task.journal))) as db:
            return _made(Store(db), task)
    except Refusal as why:
        return Answer("", refused=why.line, code=why.code)


def _made(store: Store, task: Task) -> Answer:
    day = gather(store, task.date if task.date is not None else newest_day(store))
    if task.kind == "json":
        return Answer(msgspec.json.encode(day.as_json()).decode())
    from .review.day_curve import curves
    from .review.day_page import Links, page, style_hash

    beside = [None if us is None else local_date(us) for us in store.beside(*day_bounds(day.date))]
    return Answer(page(day, curves(store, day), task.bench.name, links=Links(*beside)), style_hash(None))


if __name__ == "__main__":
    sys.exit(answer(Task, _answer))
