"""Exposures counted again from raw readings: after a restart, and for a recount. The same code counts both."""

from __future__ import annotations

from collections.abc import Iterable

from ..exposure.bench import Bench
from ..exposure.calls import REACHED
from ..exposure.channel import Channel
from ..exposure.exposure import Exposure
from ..exposure.states import State
from ..model import Reading
from .store import Kept, Store

PREROLL_US = 1_200_000_000  # more than the light's history reaches back
_PREROLL_CHUNKS = 13  # and more readings than the usual interval is told from


def preroll_us(store: Store, sensor: str, begin_us: int) -> int:
    """From where readings must be read, so that a count begun at `begin_us` knows what the live one knew."""
    rows = store.db.execute(
        "SELECT c.t0_us FROM chunk c JOIN sensor s ON s.id = c.sensor WHERE s.name = ? AND c.t0_us <= ?"
        " ORDER BY c.id DESC LIMIT ?", (sensor, begin_us, _PREROLL_CHUNKS)
    ).fetchall()
    return min([begin_us - PREROLL_US, *(int(r[0]) for r in rows)])


def rebuild(store: Store, kept: Kept) -> Exposure:
    """An exposure with its acts and calls as the journal has them, its light not yet added up."""
    exposure = Exposure(kept.plan)
    passed = store.passed(exposure.id)
    reached_us = passed.get(REACHED)
    for record in store.acts(exposure.id):
        if reached_us is not None and exposure.state is State.COUNTING and record.t_us >= reached_us:
            exposure.reach(reached_us)
        exposure.restore(record)
    if reached_us is not None and exposure.reached_us is None:
        exposure.reach(reached_us)
    exposure.passed = set(passed)
    shown = kept.document
    labels = {"started": shown.started_utc, "reached": shown.reached_utc, "finished": shown.finished_utc}
    exposure.labels = {k: v for k, v in labels.items() if v is not None}
    return exposure


def replay(channel: Channel, exposures: list[Exposure], rows: Iterable[tuple[int, Reading]]) -> int:
    """Add the light of raw readings to exposures; returns how many readings there were."""
    count = 0
    for timed in channel.replay(rows):
        count += 1
        for segment in timed.segments:
            for exposure in exposures:
                exposure.add(segment, None)
    return count


def resume(store: Store, bench: Bench, now_us: int) -> None:
    """Bring a bench to where the last commit stood: its sensors' last light, its unsettled exposures."""
    for kept in store.unsettled():
        if kept.plan.sensor in bench.channels:
            bench.exposures[kept.plan.id] = rebuild(store, kept)
    for name, channel in bench.channels.items():
        mine = [e for e in bench.exposures.values() if e.plan.sensor == name]
        begin_us = min((e.plan.begin_us for e in mine), default=now_us)
        replay(channel, mine, store.readings(name, preroll_us(store, name, begin_us)))
    for call in store.open_calls():
        if call.exposure in bench.exposures:
            bench.exposures[call.exposure].open_calls[call.key] = call.kind
