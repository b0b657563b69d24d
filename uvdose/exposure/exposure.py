"""One exposure: its state, its windows of light, and the calls that are still to come. Pure."""

from __future__ import annotations

from ..dose.account import Account, Figures, MomentRun
from ..dose.integrator import Track
from ..model import Mark, MomentSegment, RegisterSegment, Segment
from ..units import US_PER_S
from .calls import LEAD, OVERSHOOT, REACHED, READY, Light, Threshold, Thresholds
from .fixing import better_mark, cuts, overlap_us
from .gate import GateKeeper
from .record import ActRecord, Plan
from .shade import Shades
from .states import ENDED, Act, State, after

NO_DUE = 1 << 62
MAY_BE_ENOUGH = "look:missing"
REMIND_US = 180 * US_PER_S
LESS = 2 ** (-1 / 12)  # a called target that lies further below than this is to be called again
OPENING = (Act.LIGHT, Act.RESUME, Act.AGAIN)


class Exposure:
    """The life of one sheet in the frame."""

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self.id = plan.id
        self.state = State.WAITING
        self.account = Account(plan.response)
        self.acts: list[ActRecord] = []
        self.passed: set[str] = set()
        self.open_calls: dict[str, str] = {}
        self.labels: dict[str, str] = {}
        self.started_us: int | None = None
        self.reached_us: int | None = None
        self.finished_us: int | None = None
        self.settled = False
        factor, zero = plan.response.factor, plan.response.zero
        self.keeper = GateKeeper(plan.gate, factor, zero, plan.begin_us) if plan.gate else None
        self._shades: Shades | None = None
        self._unresolved: list[ActRecord] = []
        self._closed: list[ActRecord] = []
        self.thresholds = Thresholds(plan.aim_base, plan.target.calls)
        self.due_us = NO_DUE
        self.due_known: tuple[object, ...] = ()

    def shade(self, stretches: list[tuple[int, int]]) -> None:
        """Stretches (dose time) to leave out; before any light is added."""
        self._shades = Shades(stretches) if stretches else None

    # -- acts ------------------------------------------------------------------------------------------------

    def apply(self, act: Act, mark: Mark, by_light: bool = False) -> ActRecord:
        """Take an act at its mark. Raises `Refusal` where the table of states has no such act."""
        record = ActRecord(len(self.acts), act, mark.t_us, mark, by_light=by_light)
        self.restore(record)
        return record

    def restore(self, record: ActRecord) -> None:
        """Take an act as it stands in the journal; one that was taken back has no effect."""
        if record.withdrawn:
            self.acts.append(record)
            return
        self.state = after(self.state, record.act, self.id, self.reached_us is not None)
        self.acts.append(record)
        if record.act in OPENING:
            self.account.open(record.cut)
            if self.started_us is None:
                self.started_us = record.when_us
        elif self.account.is_open and record.act is not Act.CARD:
            self.account.close(record.cut)
        self.finished_us = record.when_us if self.state in ENDED else None
        self.settled = False
        if record.refined is None and record.moved is None:
            self._unresolved.append(record)
        if record.closed is not None and record.closed.t1_us == record.when_us:
            self._closed.append(record)

    @property
    def last_act(self) -> ActRecord | None:
        """The newest act that stands."""
        return next((a for a in reversed(self.acts) if not a.withdrawn), None)

    @property
    def lit_by_light(self) -> bool | None:
        """Whether it is in the light, for its gate; None where the light decides nothing: ended, held by the person."""
        last = self.last_act
        if self.state in ENDED or (self.state is State.HELD and last is not None and not last.by_light):
            return None
        return self.state in (State.COUNTING, State.REACHED)

    def proved_less(self, known_us: int) -> bool:
        """Whether a target that was called on an estimate turns out not to be reached: it is to be called again."""
        if self.reached_us is None or known_us < self.reached_us or self.state in ENDED:
            return False
        if self.account.reckoned() > self.plan.aim_base * LESS:
            return False
        self.passed = {key for key in self.passed if not key.startswith((REACHED, OVERSHOOT))}
        self._unreach()
        return True

    def _unreach(self) -> None:
        self.reached_us = None
        self.labels.pop("reached", None)
        if self.state is State.REACHED:
            self.state = State.COUNTING

    def reach(self, t_us: int) -> None:
        """The target was crossed."""
        self.state = after(self.state, Act.REACH, self.id)
        self.reached_us = t_us

    # -- light -----------------------------------------------------------------------------------------------

    def add(self, segment: Segment, snap_us: int | None) -> list[tuple[int, Mark]]:
        """Add a segment; returns the marks that it made known better, by number of act.

        snap_us: an act is fixed on a line that came within this time. None: count again with the marks as they
        are, as a replay of the journal must.
        """
        if self._closed:
            self.put_closed(segment.t1_us)
        refined = self._resolve(segment, snap_us) if self._unresolved else []
        for part in self._shades.through([segment]) if self._shades is not None else (segment,):
            self.account.add(part)
        self._settle(segment.t1_us)
        return refined

    def _settle(self, known_us: int) -> None:
        if self.state in ENDED and not self._unresolved and known_us >= (self.finished_us or 0):
            self.settled = True

    def takes_whole(self, light: RegisterSegment | MomentRun) -> bool:
        """Whether light of several readings adds what it would reading by reading."""
        known = not self._unresolved or all(r.t_us > light.t1_us and not cuts(light, r.mark) for r in self._unresolved)
        plain = self.keeper is None and self._shades is None and not self._closed
        return known and plain and not self.account.is_cut(light)

    def add_many(self, run: MomentRun) -> None:
        """Add momentary values that it takes whole, in a replay."""
        self.account.add_many(run)
        self._settle(run.t1_us)

    def decides_on(self, segment: RegisterSegment) -> bool:
        """Whether one of the lines of a segment, which it takes whole, might call or end anything."""
        if self.state in ENDED:
            return segment.t1_us >= (self.finished_us or 0)
        low, high = self.account.reckoned_within(segment)
        known = self.reached_us is not None and segment.t1_us >= self.reached_us
        return (known and low <= self.plan.aim_base * LESS) or high >= self.thresholds.next_aim(self.passed)

    def close(self, segment: MomentSegment) -> ActRecord | None:
        """No reading came in time after the end: this missing light stands for what fell until then.

        Returns the act that it is written down with. A reading that comes later adds nothing here.
        """
        record = self.last_act
        if record is not None:
            record.closed = segment
            self._closed.append(record)
            self.put_closed(NO_DUE)
        return record

    def put_closed(self, until_us: int) -> None:
        """Put in the light that was closed without a reading, where readings go on to `until_us` or have ended."""
        while self._closed and (segment := self._closed[0].closed) is not None and segment.t0_us < until_us:
            record = self._closed.pop(0)
            for part in self._shades.through([segment]) if self._shades is not None else (segment,):
                self.account.add(part)
            self.account.seal(segment.t1_us)
            self._unresolved = [r for r in self._unresolved if r.number > record.number]
            self.settled = self.state in ENDED and record is self.last_act

    def _resolve(self, segment: Segment, snap_us: int | None) -> list[tuple[int, Mark]]:
        refined: list[tuple[int, Mark]] = []
        for record in list(self._unresolved):
            if record.t_us > segment.t1_us and not cuts(segment, record.mark):
                continue
            self._unresolved.remove(record)
            if snap_us is None or record.t_us <= segment.t0_us:
                continue
            better = better_mark(segment, record.mark, snap_us)
            if better is not None:
                self.account.replace(record.mark, better)
                record.refined = better
                refined.append((record.number, better))
        return refined

    def ahead_us(self, since_us: int, until_us: int) -> int:
        """How long the sheet lay in the light between two moments."""
        lying_us = 0
        for window in self.account.windows:  # most of a print with many holds are over long since
            if window.stop is None or window.stop.t_us > since_us:
                lying_us += overlap_us(window, since_us, until_us)
        return lying_us

    def figures(self, track: Track, now_us: int) -> Figures:
        """The dose now: the sums, and the light since the last reading as the last reading tells it.

        That light counts for as long as the next reading may still be under way; what is beyond is missing until a
        reading shows that it can be bridged.
        """
        last = track.last
        if last is None or self.settled:
            return self.account.figures()
        reach_us = last.t_us + track.reach_us
        known_s = self.ahead_us(last.t_us, min(now_us, reach_us)) / US_PER_S
        missing_s = self.ahead_us(reach_us, now_us) / US_PER_S if now_us > reach_us else 0.0
        value, peak = self.net(last.value), self.net(track.history.peak)
        return self.account.figures(value * known_s, value * missing_s, peak * missing_s, missing_s)

    def net(self, value: float) -> float:
        """A value above zero, as light that may be reckoned with: never less than none."""
        return max(0.0, value - self.plan.response.zero)

    def light(self, track: Track, now_us: int) -> Light:
        """The dose as a line through now, for predicting: with what is missing, and with the light of now since."""
        last, factor = track.last, self.plan.response.factor
        dose, rate = self.account.reckoned(), 0.0
        if last is not None and not self.settled:
            net = factor * self.net(last.value)
            dose += net * self.ahead_us(last.t_us, now_us) / US_PER_S
            rate = net if self.account.is_open else 0.0
        return Light(now_us, dose, rate, max(rate, factor * self.net(track.history.peak)))

    # -- calls -----------------------------------------------------------------------------------------------

    def to_come(self, fastest: float) -> list[Threshold]:
        """The calls not made yet."""
        return [t for t in self.thresholds.all(fastest) if t.key not in self.passed]

    def skip_early_lead(self, fastest: float) -> None:
        """A lead call that would come at the very start is none: the person still stands at the frame."""
        self.passed |= {t.key for t in self.to_come(fastest) if t.kind in (LEAD, READY) and t.dose <= 0}

    def may_be_enough(self, track: Track, now_us: int) -> bool:
        """Whether missing light may have brought it to the target, though the central estimate does not say so."""
        last = track.last
        followed = last is None or now_us <= last.t_us + track.reach_us
        if MAY_BE_ENOUGH in self.passed or (followed and self.account.hole_s[1] <= 0):
            return False
        f = self.figures(track, now_us)
        return f.missing > 0 and f.high >= self.plan.aim_base

    @property
    def reminder_key(self) -> str:
        """The key of the reminder that a print is still held."""
        return f"reminder:{self.last_act.number if self.last_act else 0}"

    def reminder_us(self) -> int:
        """When a held print is called to mind; never when the light itself holds it."""
        last = self.last_act
        if last is None or last.by_light or self.reminder_key in self.passed:
            return NO_DUE
        return last.when_us + REMIND_US

    def reconcile(self, track: Track, now_us: int) -> None:
        """After the dose was counted anew: calls that lie above it are to come again."""
        f = self.figures(track, now_us)
        fastest = self.plan.response.factor * self.net(track.history.peak)
        for t in self.thresholds.all(fastest):
            if t.dose > f.dose + f.missing:
                self.passed.discard(t.key)
        if REACHED not in self.passed and self.reached_us is not None:
            self._unreach()
