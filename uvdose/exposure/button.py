"""The button on a node: what a press asks for, and the acts that it takes. Pure."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from ..dose.timebase import uptime_after
from ..model import Fact, Mark
from ..units import US_PER_S
from .exposure import NO_DUE, Exposure
from .news import News, Press
from .outcome import Outcome
from .states import ENDED, Act, State
from .telling import hush

if TYPE_CHECKING:
    from .bench import Bench

TIMELY_US = 2 * US_PER_S
MOST_PER_S = 10  # presses; from memory, the quickest hands make about 7, and a contact that bounces many more
CLOCKS_US = US_PER_S // 20  # so far node and host may be apart: a press on the heels of a start seems to precede it
_ACTS = {"hold": Act.HOLD, "resume": Act.RESUME}
_NOTHING = {
    "wait": "it has not begun yet",
    "choose": "several prints lie in its light: say which one on the page, or with `uvdose hold ID`",
    "late": "it was heard late, and nobody knows when it was: say `uvdose hold ID --ago` yourself",
    "wild": "it counted more presses than a thumb makes: look at its button",
    "even": "an even number of presses in one line undo each other",
    "crossed": "it was held, taken up or begun in another way meanwhile",
}


def press(bench: Bench, news: News, out: Outcome) -> None:
    """A press ends the calls that are on; else it holds the print or takes it up again; else it asks for a start."""
    means, one = _means(bench, news)
    t_us = news.mark.t_us
    if means == "quiet":
        for exposure in _mine(bench.exposures.values(), news.sensor):
            if exposure.open_calls:
                hush(exposure, list(exposure.open_calls), t_us, out, tell=True)
    elif one is not None and means in _ACTS and (mark := _place(news.mark, one)) is not None:
        bench.act_at(one, _ACTS[means], mark, out)
    else:
        refused = _NOTHING.get(means, "")
        out.presses.append(Press(news.sensor, refused))
        if not refused:
            return  # told once it has begun
    data = {"line": _NOTHING[means]} if means in _NOTHING else {"what": means}
    out.facts.append(Fact(t_us, "pressed", one.id if one is not None and means in _ACTS else None, news.sensor, data))


def _means(bench: Bench, news: News) -> tuple[str, Exposure | None]:
    if not is_timely(news, bench.channels[news.sensor].track.usual_us):
        return "late", None
    if news.presses * US_PER_S > MOST_PER_S * max(US_PER_S, news.mark.t_us - news.t0_us):
        return "wild", None
    means, one = button_means(bench.exposures.values(), news.sensor, news.mark.t_us)
    if news.presses % 2 == 0 and means != "quiet":
        return "even", None
    # Two hands at once: the page was quicker than the line. What the press meant has been done, and the other way
    # round it would put an act before the one that it follows.
    return ("crossed", None) if one is not None and _place(news.mark, one) is None else (means, one)


def button_means(exposures: Iterable[Exposure], sensor: str, t_us: int = NO_DUE) -> tuple[str, Exposure | None]:
    """What a press at this sensor asks for: quiet, hold, resume, start, wait (for the beat), or choose.

    t_us: when it was pressed. What was called since then, by the light that was to be expected, it cannot answer.
    """
    mine = _mine(exposures, sensor)
    if any(e.open_calls and (e.reached_us is None or e.reached_us <= t_us) for e in mine):
        return "quiet", None
    running = [e for e in mine if e.state not in ENDED]
    if not running:
        return "start", None
    if len(running) > 1:
        return "choose", None
    one = running[0]
    return {State.HELD: "resume", State.WAITING: "wait"}.get(one.state, "hold"), one


def is_timely(news: News, usual_us: int) -> bool:
    """Whether a press is known to within moments: its line came at once, or at least in its turn."""
    return news.mark.t_us - news.t0_us <= max(TIMELY_US, 3 * usual_us)


def _place(mark: Mark, exposure: Exposure) -> Mark | None:
    """Where a press acts; None for one from before the newest act: by the node's own time where both have it."""
    last = exposure.last_act
    if last is None:
        return mark
    # A hold that was fixed on the press's own line is the same one; a start that was is older than the press.
    same = last.act in _ACTS.values()
    cut = last.cut if same else last.moved or last.mark
    after_us = mark.t_us - cut.t_us
    if cut.boot == mark.boot and cut.uptime_ms is not None and mark.uptime_ms is not None:
        after_us = uptime_after(mark.uptime_ms, mark.t_us, cut.uptime_ms, cut.t_us) * 1000
    if after_us > 0:
        return mark
    return None if same or after_us < -CLOCKS_US else last.cut


def _mine(exposures: Iterable[Exposure], sensor: str) -> list[Exposure]:
    return [e for e in exposures if e.plan.sensor == sensor]
