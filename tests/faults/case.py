"""One row of the fault matrix, and what it came to."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from support.broker import Broker

if TYPE_CHECKING:
    from faults.harness import Run

PACE = 20.0
CALL_WITHIN_S = 11.0  # real: the longest wait between two tries of a link and of a call, one after the other


@dataclass
class Case:
    """name; sensors by kind; the fault; what must hold besides (`check`).

    alarm: key of the alarm that the first sensor must raise after the fault's begin, and clear by the end. dose: by how
    much the first sensor's dose may be off, relative; None where `check` judges. momentary: the same for one without a
    register. late_s: how late the call may be, in real seconds, beyond the end of the fault where that cut the way to
    the person. said: the call is due by what the sensor said, not by what fell. interval: what fell must lie in the
    interval told. terminal: the person reads the call on the terminal, and does not wait for the buzz.
    """

    name: str
    kinds: tuple[str, ...]
    fault: Callable[[Run], None]
    alarm: str | None = None
    check: Callable[[Run], None] | None = None
    dose: float | None = 0.0
    momentary: float = 0.05
    pace: float = PACE
    late_s: float = CALL_WITHIN_S
    options: dict[str, Any] = field(default_factory=dict)
    setup: Callable[[Run], None] | None = None
    broker: Callable[[], Broker] = Broker
    mqtt: str = ""
    driver: Path | None = None
    lasts_s: float = 9.0
    said: bool = False
    interval: bool = True
    terminal: bool = False


@dataclass
class Result:
    """What a case came to. dose: worst relative error; call_ms: of the person's call; lag_s: of the alarm, real."""

    name: str
    seed: int
    dose: float | None = None
    call_ms: float | None = None
    lag_s: float | None = None
    lag_dose_s: float | None = None
    cpu: float = 0.0
    rss_mb: float = 0.0
    api_s: float = 0.0
    problems: list[str] = field(default_factory=list)
