"""What an answer to an act waits for: its commit, for a while. Runs on the daemon's loop."""

from __future__ import annotations

import asyncio
from concurrent.futures import Future

from ..core import Core
from ..exposure.exposure import Exposure
from ..exposure.outcome import Outcome
from ..messages import Taken, TakenBack
from ..model import Refusal

ACT_PATIENCE_S = 2.0
MAX_TEXT = 200


async def taken(core: Core, out: Outcome, exposure: Exposure | None, back: TakenBack | None = None) -> Taken:
    """Settle an outcome, and answer for this exposure once it is on disk, or the patience is over."""
    done = core.settle(out)
    core.tick()
    recorded = await on_disk(done) if done is not None else True
    note = "" if recorded else (
        f"taken, but not yet on disk ({core.trouble or 'the disk is slow'}); it is kept and tried again"
    )
    return Taken(core.document(exposure) if exposure is not None else None, recorded, note, back)


async def on_disk(done: Future[None]) -> bool:
    """Whether a commit was done within the patience that an act has."""
    waiter = asyncio.shield(asyncio.wrap_future(done))  # a request that is cut off must not cancel the commit
    finished, _ = await asyncio.wait({waiter}, timeout=ACT_PATIENCE_S)
    return bool(finished) and waiter.exception() is None


def check_text(what: str, text: str) -> None:
    """Raises `Refusal` (code 2) for what is too long to keep, or cannot be shown."""
    if len(text) > MAX_TEXT or not text.isprintable():
        raise Refusal(f"{what}: give at most {MAX_TEXT} printable characters", 2)
