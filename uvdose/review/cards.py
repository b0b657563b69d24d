"""A test strip's card: at what dose it was really moved, counted anew from the raw readings."""

from __future__ import annotations

import msgspec

from ..exposure.calls import STEP
from ..exposure.channel import Channel
from ..exposure.exposure import Exposure
from ..exposure.record import ActRecord
from ..exposure.states import Act
from ..journal.judged import judged
from ..journal.replay import begin_us, preroll_us, replay
from ..journal.store import Kept, Store
from ..units import to_screen

EARLY = 8  # a move one second early is as odd as one eight seconds late


class Move(msgspec.Struct, frozen=True):
    """The card at one step call, numbered from 1. dose: since the strip's start, in its unit.

    told: the person said that it was moved; else it is taken as moved at the call.
    """

    step: int
    dose: float
    told: bool


def card_moves(store: Store, kept: Kept) -> list[Move]:
    """The card's moves of a strip, in the order of its calls. Raises `Refusal` where its readings cannot be read.

    One that nobody told of lies between those that were told, and not beyond what the strip got.
    """
    plan, unit = kept.plan, kept.document.unit
    told = card_acts(store, kept)
    exposures = [_until(store, kept, record) for record in told.values()]
    if exposures:
        channel = Channel(plan.sensor, kept.identity, plan.response, plan.pace)
        since_us = preroll_us(store, plan.sensor, min(begin_us(e) for e in exposures), plan.response)
        until_us = max(e.finished_us or 0 for e in exposures)
        last_us = next((t for t, _ in store.readings(plan.sensor, until_us + 1)), until_us)
        replay(channel, exposures, judged(store.db, plan.sensor, since_us, last_us))
    counted = dict(zip(told, exposures, strict=True))
    moves = []
    for number, step in enumerate(plan.target.calls.steps, 1):
        if number in counted:
            moves.append(Move(number, to_screen(counted[number].account.figures().dose, unit), told=True))
        else:
            moves.append(Move(number, step.share * plan.aim_dose, told=False))
    return _in_order(moves, kept.document.dose)


def _in_order(moves: list[Move], whole: float) -> list[Move]:
    """Untold moves put between the told ones; a card that was never moved gave its step all that the strip got."""
    found: list[Move] = []
    for i, move in enumerate(moves):
        if not move.told:
            least = max((m.dose for m in found), default=0.0)
            dose = min([max(move.dose, least), whole, *(m.dose for m in moves[i + 1 :] if m.told)])
            move = Move(move.step, dose, told=False)
        found.append(move)
    return found


def card_acts(store: Store, kept: Kept) -> dict[int, ActRecord]:
    """The acts by which the person said that the card was moved, by the number of the step call that each answers.

    It answers the last call before it, as the screen says; where that is answered already, the call that is nearest,
    which may be one to come if it is EARLY times nearer: a hand is late rather than early. Of two at one call the
    later holds.
    """
    calls = {
        int(str(key).partition(":")[2]): t_us
        for t_us, key in store.db.execute(
            "SELECT t_us, json_extract(data, '$.key') FROM event WHERE exposure = ? AND event = ?",
            (kept.plan.id, STEP),
        )
    }
    calls = dict(sorted(calls.items()))
    found: dict[int, ActRecord] = {}
    for record in store.acts(kept.plan.id):
        if record.act is Act.CARD and not record.withdrawn and calls:
            at_us = record.when_us
            called = [number for number, t_us in calls.items() if t_us <= at_us]
            nearest = min(calls, key=lambda number: _off(at_us - calls[number]))
            found[called[-1] if called and called[-1] not in found else nearest] = record
    return dict(sorted(found.items()))


def _off(late_us: int) -> int:
    return late_us if late_us >= 0 else -late_us * EARLY


def _until(store: Store, kept: Kept, card: ActRecord) -> Exposure:
    """The strip as it would be, had it been taken in when the card was moved."""
    exposure = Exposure(kept.plan)
    for record in store.acts(kept.plan.id):
        if record.number >= card.number:
            break
        exposure.restore(record)
    exposure.restore(ActRecord(card.number, Act.FINISH, card.t_us, card.cut))
    exposure.shade(store.shades(kept.plan.id))
    return exposure
