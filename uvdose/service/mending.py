"""What the person repairs afterwards: take back, move, shade. Runs on the daemon's loop.

Every repair is the same three steps: write it into the journal beside what was there, count the exposure anew from
its raw readings, and put it in the place of the one that was counting.
"""

from __future__ import annotations

from concurrent.futures import TimeoutError as Late

from ..asked import MoveRequest, ShadeRequest, When
from ..core import Core
from ..exposure.exposure import Exposure
from ..exposure.outcome import Outcome
from ..exposure.record import ActRecord
from ..exposure.states import ENDED, Act, State, act_word, after
from ..journal.prune import pruned
from ..journal.replay import count_anew, refuse_other_unit
from ..journal.store import Store
from ..journal.writer import Statement
from ..model import Mark, Refusal
from ..stamps import at_local, iso_utc, local_time
from ..units import US_PER_S

WRITE_PATIENCE_S = 2.0
LONGEST_AGO_S = 30 * 86_400
LONGEST_TODAY_US = 18 * 3600 * US_PER_S  # a time of day further back than this was meant as one to come
APART_US = 5 * US_PER_S  # nearer than this two shaded stretches are one, and bridged as one
MOVABLE = {"start": Act.LIGHT, "hold": Act.HOLD, "resume": Act.RESUME, "finish": Act.FINISH}


class Mender:
    """Repairs of one bench's exposures. Each method returns the outcome to settle, or raises `Refusal`."""

    def __init__(self, core: Core, store: Store) -> None:
        self._core = core
        self._store = store

    def moment(self, when: When, now_us: int) -> int:
        """Dose time of a moment that the person names; now when nothing is named."""
        if when.at is not None:
            wall_us = self._core.clock.wall_us()
            try:
                ago_us = wall_us - at_local(when.at, wall_us)
            except ValueError:
                raise Refusal(f"time {when.at!r}: give HH:MM or HH:MM:SS of today, such as 14:05", 2) from None
        elif when.ago_s is not None and not abs(when.ago_s) <= LONGEST_AGO_S:
            raise Refusal("a moment must lie in the past, at most 30 days", 2)
        elif when.ago_s is not None:
            ago_us = int(when.ago_s * US_PER_S)
        else:
            return now_us
        if when.at is not None and ":" in when.at and "T" not in when.at and ago_us > LONGEST_TODAY_US:
            raise Refusal(f"{when.at} is still to come; give a time that has been", 2)
        if not 0 <= ago_us <= LONGEST_AGO_S * US_PER_S:
            raise Refusal("a moment must lie in the past, at most 30 days", 2)
        return now_us - ago_us

    def loaded(self, number: int) -> Exposure:
        """An exposure, counted anew from the journal when it is no longer at hand."""
        exposure = self._core.bench.exposures.get(number)
        if exposure is None:
            kept = self._store.exposure(number)
            if kept.plan.sensor not in self._core.bench.channels:
                raise Refusal(f"exposure {number}: its sensor {kept.plan.sensor} is not in the settings")
            refuse_other_unit(kept, self._core.bench.channels[kept.plan.sensor])
            exposure = self._core.bench.exposures[number] = self._count(number)
        return exposure

    def act_in_the_past(self, number: int, act: Act, t_us: int, now_us: int) -> Outcome:
        """An act that was forgotten, at the moment when it really happened."""
        self.refuse_trouble()
        exposure = self.loaded(number)
        after(exposure.state, act, number)
        last = exposure.last_act
        if last is not None and t_us <= last.when_us:
            self._refuse_order(number, last)
        self._core.settle(self._core.bench.act(number, act, t_us))
        return self._anew(number, f"{act} moved back {_ago(now_us - t_us)}", [], now_us)

    def count_from_the_start(self, number: int, now_us: int) -> Outcome:
        """After a start in the past: the light that has fallen since is in the journal."""
        begin_us = self._core.bench.exposure(number).plan.begin_us
        return self._anew(number, f"start moved back {_ago(now_us - begin_us)}", [], now_us)

    def undo(self, number: int, now_us: int) -> Outcome:
        """Take back the newest act: a start (the print becomes void), a hold, a resume, a finish."""
        exposure = self.loaded(number)
        last = exposure.last_act
        if last is None:
            raise Refusal(f"exposure {number} has not begun: `uvdose finish {number}` takes it back")
        if last.act is Act.LIGHT:
            return self._core.bench.act(number, Act.VOID, now_us)
        if exposure.started_us is None:
            raise Refusal(f"exposure {number} was taken back before it began: begin it anew with `uvdose expose`")
        if exposure.state in ENDED:
            self._refuse_taken_frame(exposure)
        what = "the start taken back counts again" if last.act is Act.VOID else f"{last.act} taken back"
        return self._anew(number, what, [
            ("UPDATE act SET withdrawn = 1 WHERE exposure = ? AND number = ?", (number, last.number))
        ], now_us)

    def move(self, number: int, request: MoveRequest, now_us: int) -> Outcome:
        """Say when the newest start, hold, resume or finish really happened."""
        act = MOVABLE.get(request.act)
        if act is None:
            raise Refusal(f"{request.act!r} cannot be moved; one of {', '.join(MOVABLE)}", 2)
        exposure = self.loaded(number)
        if exposure.state is State.VOID:
            raise Refusal(f"exposure {number}: it was taken back; `uvdose undo {number}` brings it back")
        standing = [a for a in exposure.acts if not a.withdrawn]
        found = [i for i, a in enumerate(standing) if a.act is act]
        if not found:
            raise Refusal(f"exposure {number} has no {request.act} to move; its acts: "
                          + ", ".join(act_word(a.act) for a in standing))
        i = found[-1]
        t_us = self.moment(request.when, now_us)
        if i > 0 and t_us <= standing[i - 1].when_us:
            self._refuse_order(number, standing[i - 1])
        if i + 1 < len(standing) and t_us >= standing[i + 1].when_us:
            self._refuse_order(number, standing[i + 1])
        begun_us = exposure.started_us if exposure.started_us is not None else exposure.plan.begin_us
        self.refuse_unread(exposure.plan.sensor, t_us, begun_us)
        return self._anew(number, f"{request.act} moved to {iso_utc(self._core.label(t_us))}", [
            ("UPDATE act SET moved = ? WHERE exposure = ? AND number = ?",
             (self._core.recorder.json(Mark(t_us)), number, standing[i].number))
        ], now_us)

    def shade(self, number: int, request: ShadeRequest, now_us: int) -> Outcome:
        """Leave out a stretch in which the sensor did not see the print's light."""
        exposure = self.loaded(number)
        t0_us, t1_us = self.moment(request.since, now_us), self.moment(request.until, now_us)
        if exposure.started_us is not None:
            t0_us = max(t0_us, exposure.started_us)
            t1_us = min(t1_us, exposure.finished_us or t1_us)
        if exposure.started_us is None or t1_us <= t0_us:
            raise Refusal(f"exposure {number}: the stretch must begin before it ends, and lie within the print", 2)
        for a_us, b_us in self._store.shades(number):
            if t0_us <= b_us + APART_US and a_us <= t1_us + APART_US:
                raise Refusal(f"exposure {number}: a shaded stretch that overlaps or touches this one is there already")
        return self._anew(number, f"shaded for {(t1_us - t0_us) / US_PER_S:.0f} s", [
            ("INSERT INTO shade VALUES (?, ?, ?)", (number, t0_us, t1_us))
        ], now_us)

    # -- inside ----------------------------------------------------------------------------------------------

    def _anew(self, number: int, what: str, statements: list[Statement], now_us: int) -> Outcome:
        self.refuse_trouble()
        try:
            self._core.flush_with(statements).result(WRITE_PATIENCE_S)
        except Late:
            raise Refusal("the disk is slow; what you asked is kept and will show after a restart") from None
        exposure = self._count(number)
        return self._core.bench.mend(exposure, what, now_us)

    def refuse_trouble(self) -> None:
        """Ask before anything is changed: a repair needs the journal."""
        if self._core.trouble:
            raise Refusal(f"{self._core.trouble}: nothing can be mended until it can")

    def _count(self, number: int) -> Exposure:
        exposure = count_anew(self._store, self._store.exposure(number)).exposure
        exposure.labels |= {
            name: iso_utc(self._core.label(t_us))
            for name, t_us in (("started", exposure.started_us), ("finished", exposure.finished_us))
            if t_us is not None
        }
        if exposure.finished_us is None:
            exposure.labels.pop("finished", None)
        return exposure

    def _refuse_order(self, number: int, other: ActRecord) -> None:
        at = local_time(self._core.label(other.when_us))
        raise Refusal(f"exposure {number}: its {act_word(other.act)} was at {at}; acts must stay in their order")

    def refuse_unread(self, sensor: str, t_us: int, begun_us: int) -> None:
        """A print cannot begin before the first reading, nor where readings up to its begin of now were taken out:
        their light would silently be none.
        """
        if next(iter(self._store.readings(sensor, 0, t_us)), None) is None:
            raise Refusal(f"sensor {sensor} had said nothing by then; give a time at which it was read")
        for stretch in pruned(self._store.db):
            if stretch.sensor == sensor and t_us <= stretch.t1_us and stretch.t0_us < begun_us:
                raise Refusal(f"sensor {sensor}: its readings of that time were pruned; give a later time")

    def _refuse_taken_frame(self, exposure: Exposure) -> None:
        for other in self._core.bench.running():
            if other.plan.frame == exposure.plan.frame and other.id != exposure.id:
                raise Refusal(f"frame {other.plan.frame} is taken by exposure {other.id}: finish that one first")


def _ago(us: int) -> str:
    return f"{us / US_PER_S:.0f} s"
