"""`python -m uvdose.outlook_process` reckons one outlook, or the clear light: a task on its input, an answer on its
output."""

from __future__ import annotations

import sys
from contextlib import closing
from pathlib import Path

import msgspec

from .ahead import clear_courses, look_ahead
from .apart import give_way
from .journal.schema import open_reading
from .journal.store import Store
from .model import Refusal
from .outlooks import Answer, Task
from .stamps import use_zone


def main() -> int:
    """Reckon it; a refusal is an answer, too."""
    give_way()
    task = msgspec.json.decode(sys.stdin.buffer.read(), type=Task)
    use_zone(task.settings.bench.timezone)
    try:
        with closing(open_reading(Path(task.journal))) as db:
            store = Store(db)
            if task.question is None:
                answer = Answer(None, clear=clear_courses(store, task.settings, task.now_us))
            else:
                answer = Answer(look_ahead(store, task.settings, task.question, task.now_us))
    except Refusal as why:
        answer = Answer(None, why.line, why.code)
    sys.stdout.buffer.write(msgspec.json.encode(answer))
    sys.stdout.flush()
    return 0


if __name__ == "__main__":
    sys.exit(main())
