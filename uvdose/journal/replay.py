"""Exposures counted again from raw readings: after a restart, and for a recount. The same code counts both."""

from __future__ import annotations

import contextlib
from collections.abc import Iterable, Iterator

import msgspec

from ..dose.integrator import Track, reading_value
from ..dose.response import Response
from ..dose.standing import LOOK_BACK, Standing
from ..exposure.bench import Bench
from ..exposure.calls import REACHED
from ..exposure.channel import Channel, Timed
from ..exposure.exposure import NO_DUE, Exposure
from ..exposure.states import ENDED, State
from ..model import Refusal
from ..units import US_PER_S
from .judged import Judged, JudgedRun, judged, one_by_one, until
from .pack import unpack
from .store import Kept, Store

GRACE_S = 5.0  # real seconds in which a node that ran on has its say before anything is predicted
PREROLL_US = 1_200_000_000  # more than the light's history reaches back
MANY = 100_000  # readings: for fewer, numpy takes longer to load than they take to count
PREROLL_READINGS = 500  # and more readings than any verdict on their values is told from


def preroll_us(store: Store, sensor: str, since_us: int, response: Response) -> int:
    """From where readings must be read, so that a count begun at `since_us` knows what the live one knew.

    Where the value stands still at `since_us` it may be frozen, which was told from the values before it stood: then
    they are read too, however long ago that was. Nothing at or below zero is ever frozen, so that no night is read.
    """
    count = from_us = begin_us = 0
    standing: float | None = None
    before: list[float] = []
    for t_us, value in _backwards(store, sensor, since_us):
        count += 1
        standing = value if standing is None else standing
        if before or value != standing or value <= response.zero:
            before.append(value)
        begin_us, from_us = t_us, t_us if count <= PREROLL_READINGS else from_us
        if count >= PREROLL_READINGS and len(before) >= LOOK_BACK:
            break
    if not count:
        return since_us - PREROLL_US
    if begin_us < from_us and not _is_frozen(before[::-1], standing or 0.0, response):
        begin_us = from_us
    return min(since_us - PREROLL_US, begin_us)


def _is_frozen(before: list[float], standing: float, response: Response) -> bool:
    """Whether a value that goes on standing after those before it is told to be frozen."""
    quality = Standing(response.zero, response.full_scale, None)
    values = before + [standing] * LOOK_BACK
    return any("frozen" in quality.add(i * US_PER_S, value, False) for i, value in enumerate(values))


def _backwards(store: Store, sensor: str, until_us: int) -> Iterator[tuple[int, float]]:
    """Dose times and values of a sensor's readings up to a moment, newest first. What is damaged is passed over."""
    rows = store.db.execute(
        "SELECT c.kind, c.data FROM chunk c JOIN sensor s ON s.id = c.sensor WHERE s.name = ? AND c.t0_us <= ?"
        " ORDER BY c.id DESC", (sensor, until_us)
    )
    for kind, data in rows:
        with contextlib.suppress(ValueError):
            yield from ((t_us, reading_value(r)) for t_us, r in reversed(unpack(kind, data)) if t_us <= until_us)


def rebuild(store: Store, kept: Kept) -> Exposure:
    """An exposure with its acts and calls as the journal has them, its light not yet added up."""
    exposure = Exposure(kept.plan)
    reached_us = store.reached_us(exposure.id) if REACHED in kept.passed else None
    for record in store.acts(exposure.id):
        if reached_us is not None and exposure.state is State.COUNTING and record.when_us >= reached_us:
            exposure.reach(reached_us)
        exposure.restore(record)
    if reached_us is not None and exposure.reached_us is None:
        if exposure.state in ENDED:
            exposure.reached_us = reached_us  # crossed before its end, and learnt after it
        else:
            exposure.reach(reached_us)
    if exposure.keeper is not None and exposure.acts:
        exposure.keeper.resume(exposure.acts[-1])
    exposure.passed = set(kept.passed)
    exposure.shade(store.shades(exposure.id))
    shown = kept.document
    labels = {"started": shown.started_utc, "reached": shown.reached_utc, "finished": shown.finished_utc}
    exposure.labels = {k: v for k, v in labels.items() if v is not None}
    return exposure


def begin_us(exposure: Exposure) -> int:
    """When the first light can have fallen on an exposure, whatever the person has moved since."""
    return min([exposure.plan.begin_us, *(a.when_us for a in exposure.acts)])


class Counted(msgspec.Struct, frozen=True):
    """An exposure counted from raw readings: how many there were, and the dose time of the last (None: none).

    track: the light of its sensor as the last of them left it.
    """

    exposure: Exposure
    readings: int
    last_us: int | None
    track: Track


def count_anew(store: Store, kept: Kept, in_bulk: bool = False) -> Counted:
    """An exposure of the journal, counted from its raw readings up to the first one at or after its end.

    in_bulk: with arrays where there are so many readings that they are worth loading; it comes to the same. Raises
    `Refusal` when readings cannot be read.
    """
    exposure = rebuild(store, kept)
    plan = kept.plan
    end_us = None
    if exposure.finished_us is not None:
        end_us = max([exposure.finished_us, *(record.cut.t_us for record in exposure.acts)])
    from_us = preroll_us(store, plan.sensor, begin_us(exposure), plan.response)
    try:
        if in_bulk and exposure.keeper is None and _is_worth_arrays(store, plan.sensor, from_us, end_us):
            readings, track = _with_arrays(store, kept, exposure, from_us, end_us)
        else:
            channel = Channel(plan.sensor, kept.identity, plan.response, plan.pace, Standing)
            rows, track = judged(store.db, plan.sensor, from_us), channel.track
            readings = replay(channel, [exposure], rows if end_us is None else until(rows, end_us))
    except ValueError as err:
        raise Refusal(f"exposure {plan.id}: its raw readings cannot be read: {err}") from None
    track.respond(plan.response)
    return Counted(exposure, readings, track.last.t_us if track.last is not None else None, track)


def _is_worth_arrays(store: Store, sensor: str, from_us: int, end_us: int | None) -> bool:
    row = store.db.execute(
        "SELECT sum(c.n) FROM chunk c JOIN sensor s ON s.id = c.sensor"
        " WHERE s.name = ? AND c.t1_us >= ? AND c.t0_us <= ?",
        (sensor, from_us, NO_DUE if end_us is None else end_us),
    ).fetchone()
    return int(row[0] or 0) >= MANY


def _with_arrays(
    store: Store, kept: Kept, exposure: Exposure, from_us: int, end_us: int | None
) -> tuple[int, Track]:
    from .arrays import blocks
    from .counting import Counting

    track = Track(kept.plan.response, kept.plan.pace, Standing)
    counting = Counting(track, [exposure])
    counting.take(blocks(store.db, kept.plan.sensor, from_us, end_us))
    exposure.put_closed(NO_DUE)
    return counting.readings, track


def replay(channel: Channel, exposures: list[Exposure], rows: Iterable[Judged | JudgedRun]) -> int:
    """Add the light of raw readings to exposures; returns how many readings there were.

    Whether a value that stands is frozen goes by the settings of when it came: they may have changed under a print,
    and then again, and it must be told as it was told then.
    """
    count = 0
    for row in rows:
        if isinstance(row, JudgedRun):
            count += len(row.t_us)
            if not _as_one(channel, exposures, row):
                for single in one_by_one([row]):
                    _add(channel.replay(*single), exposures)
        else:
            count += 1
            _add(channel.replay(*row), exposures)
    for exposure in exposures:
        exposure.put_closed(NO_DUE)
    return count


def _add(timed: Timed, exposures: list[Exposure]) -> None:
    for exposure in exposures:
        keeper, segments = exposure.keeper, timed.segments
        if keeper is not None:
            _, segments = keeper.feed(timed, exposure.lit_by_light, decide=False)
        for segment in segments:
            exposure.add(segment, None)


def _as_one(channel: Channel, exposures: list[Exposure], row: JudgedRun) -> bool:
    """Add a run as one segment, where that is what its lines add one by one."""
    found = channel.replay_together(*row)
    if found is None or not all(e.takes_whole(found.segment) for e in exposures):
        return False
    channel.replayed(found)
    for exposure in exposures:
        exposure.add(found.segment, None)
    return True


def resume(store: Store, bench: Bench, now_us: int) -> None:
    """Bring a bench to where the last commit stood: its sensors' last light, its unsettled exposures."""
    for kept in store.unsettled():
        channel = bench.channels.get(kept.plan.sensor)
        if channel is not None:
            refuse_other_unit(kept, channel)
            bench.exposures[kept.plan.id] = rebuild(store, kept)
    for name, channel in bench.channels.items():
        mine = [e for e in bench.exposures.values() if e.plan.sensor == name]
        since_us = min((begin_us(e) for e in mine), default=now_us)
        response = channel.track.response
        replay(channel, mine, judged(store.db, name, preroll_us(store, name, since_us, response)))
        channel.track.respond(response)
    for channel in bench.channels.values():
        channel.resumed(now_us, int(GRACE_S * US_PER_S * bench.pace))
    for call in store.open_calls():
        if call.exposure in bench.exposures:
            bench.exposures[call.exposure].open_calls[call.key] = call.kind


def refuse_other_unit(kept: Kept, channel: Channel) -> None:
    """An exposure goes on with the response it began with: readings in another unit would be added wrongly."""
    for field in ("unit", "format"):
        then, now = getattr(kept.identity, field), getattr(channel.identity, field)
        if then != now:
            raise Refusal(
                f"exposure {kept.plan.id} still counts on sensor {channel.name} with {field} {then}, now it is {now}: "
                "put the settings back, start, and finish it before they change"
            )
