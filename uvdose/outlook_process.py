"""`python -m uvdose.outlook_process` reckons one outlook, or the clear light: a task on its input, an answer on its
output."""

from __future__ import annotations

import sys
from contextlib import closing
from pathlib import Path

from .ahead import clear_courses, look_ahead
from .apart import answer
from .journal.schema import open_reading
from .journal.store import Store
from .model import Refusal
from .outlooks import Answer, Task
from .stamps import use_zone


def _answer(task: Task) -> Answer:
    """Reckon it; a refusal is an answer, too."""
    use_zone(task.settings.bench.timezone)
    try:
        with closing(open_reading(Path(task.journal))) as db:
            store = Store(db)
            if task.question is None:
                return Answer(None, clear=clear_courses(store, task.settings, task.now_us))
            return Answer(look_ahead(store, task.settings, task.question, task.now_us))
    except Refusal as why:
        return Answer(None, why.line, why.code)


if __name__ == "__main__":
    sys.exit(answer(Task, _answer))
