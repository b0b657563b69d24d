"""What must hold after a case: dose, acts, recount, call, alarms and the daemon's own cost, against the truth."""

from __future__ import annotations

import time
from typing import Any

import msgspec
from faults.case import Case, Result
from faults.sources import SCALE, FaultyMqtt, FaultyPty, Source, windows
from faults.watched import WatchedBench

from uvdose.clock import Epoch, host_boot_us
from uvdose.exposure.record import ActRecord
from uvdose.journal.store import Store
from uvdose.review.recount import recount

CPU_SHARE = 0.3
RSS_MB = 80.0
SNAP_SHARE = 1e-9


class Judge:
    """The part of a run that looks; everything wrong goes into its result."""

    case: Case
    result: Result
    bench: WatchedBench
    pace: float
    sources: dict[str, Source]
    ids: dict[str, int]
    taken: dict[int, list[str]]
    quiet_s: dict[str, float]
    boot_shift_s: dict[str, float]
    begin_s: float
    end_s: float

    @property
    def first(self) -> Any:
        """The sensor that the fault is done to."""
        return next(iter(self.sources.values()))

    def wrong(self, line: str) -> None:
        self.result.problems.append(line)

    def heard_s(self, name: str) -> float | None:
        """When the person could know: buzzed by the node where there is one, else printed."""
        source = self.sources[name]
        printed = [s for s, line in self.bench.calls if f" {name}, " in line]
        by_node = isinstance(source, FaultyPty | FaultyMqtt) and not self.case.terminal
        return min(source.heard4 if by_node else printed, default=None)

    def look(self) -> None:
        store = self.bench.store()
        for name, source in self.sources.items():
            self._look_at_dose(store, name, source)
            self._look_at_call(store, name, source)
            number = self.ids[name]
            kept = [str(a.act) for a in store.acts(number)]
            if kept != self.taken[number]:
                self.wrong(f"{name}: acts {self.taken[number]} were taken, {kept} are kept")
            again = recount(store, number)
            if not again.same:
                self.wrong(f"{name}: a recount gives {again.dose!r}, kept is {again.kept_dose!r}")
        self._look_at_alarm(store)
        if self.case.check is not None:
            self.case.check(self)
        self.bench.measure()
        bench, r = self.bench, self.result
        r.cpu, r.rss_mb, r.api_s = bench.cpu_s / max(bench.up_s, 1e-9), bench.rss_mb, bench.slowest_s
        if r.cpu > CPU_SHARE:
            self.wrong(f"the daemon took {r.cpu:.0%} of a core")
        if r.rss_mb > RSS_MB:
            self.wrong(f"the daemon grew to {r.rss_mb:.0f} MB")

    def shown(self, name: str) -> dict[str, Any]:
        """An exposure as the journal keeps it: at a pace the labels may have reached another day than today."""
        store = self.bench.store()
        found: dict[str, Any] = msgspec.to_builtins(store.exposure(self.ids[name]).document)
        store.db.close()
        return found

    def _look_at_dose(self, store: Store, name: str, source: Source) -> None:
        shown, acts = self.shown(name), store.acts(self.ids[name])
        first = source is self.first
        if isinstance(source, FaultyPty | FaultyMqtt):
            if first and self.case.dose is None:
                return
            error = self._register_error(name, source, shown["dose"], acts)
            allowed = max(SNAP_SHARE, self.case.dose or 0.0) if first else SNAP_SHARE
        else:
            truth = self.fell(store, source, acts)
            error = (shown["dose"] + shown["missing_dose"]) * 10 / truth - 1
            allowed = self.case.momentary
            # Its acts lie where they arrived: over a short print that alone is some parts in ten thousand. What is
            # missing is told by its central estimate and by the strongest light known, which bounds no light to come.
            inside = shown["dose_low"] <= truth / 10 <= shown["dose_high"] or abs(error) < 5e-4
            if not inside and self.case.interval and not shown["missing_s"]:
                self.wrong(f"{name}: {truth / 10:.4f} fell, told {shown['dose_low']:.4f}..{shown['dose_high']:.4f}")
        if first:
            self.result.dose = abs(error)
        if abs(error) > allowed:
            self.wrong(f"{name}: dose is off by {error:.3e}, allowed {allowed:.0e}; {shown['bridged_s']} s bridged,"
                       f" {shown['missing_s']} s missing")

    def _register_error(self, name: str, source: FaultyPty | FaultyMqtt, dose: float, acts: list[ActRecord]) -> float:
        """Against the node's own sum. An act that could not be fixed on a line (a busy machine) must still be near."""
        for a in acts:
            cut = a.cut
            if not source.on_line(a):
                true = source.true_register(cut.boot or 0, cut.uptime_ms or 0)
                if cut.register is None or abs(cut.register - true) > 20_000 * self.pace:
                    self.wrong(f"{name}: {a.act} lies at register {cut.register}, truly {true}")
        return dose / (source.counted(acts) / 1000 * SCALE) - 1

    def stretches(self, store: Store, source: Any, acts: list[ActRecord]) -> list[tuple[float, float]]:
        """In the light, from and to, in seconds of the source's own light."""
        return [
            (self.source_s(store, source, a.cut.t_us), self.source_s(store, source, b.cut.t_us))
            for a, b in windows(acts)
        ]

    def fell(self, store: Store, source: Any, acts: list[ActRecord]) -> float:
        """J/m² on a sheet in the light."""
        return sum(source.light.dose(a, b) for a, b in self.stretches(store, source, acts))

    def source_s(self, store: Store, source: Any, t_us: int) -> float:
        return float((self.real_s(store, t_us) - source.started_s) * self.pace)

    def real_s(self, store: Store, t_us: int) -> float:
        """This process's monotonic time of a dose time."""
        rows = store.db.execute("SELECT epoch FROM epoch ORDER BY id").fetchall()
        epochs = [msgspec.json.decode(r[0], type=Epoch) for r in rows]
        epoch = next((e for e in reversed(epochs) if e.dose_anchor_us <= t_us), epochs[0])
        boot_s = (epoch.boot_anchor_us + (t_us - epoch.dose_anchor_us) / epoch.pace) / 1e6
        return boot_s - self.boot_shift_s.get(epoch.boot_id, 0.0) - (host_boot_us() / 1e6 - time.monotonic())

    def _due_s(self, store: Store, source: Source, name: str) -> float | None:
        """When the target was truly reached: real time; None when it was not."""
        left = self.shown(name)["target_dose"] * 10
        for a, b in self.stretches(store, source, store.acts(self.ids[name])):
            at = source.light.crossing_s(a, left, self.case.said)
            if at is not None and at <= b:
                return source.started_s + at / self.pace
            left -= source.light.dose(a, b, self.case.said)
        return None

    def _look_at_call(self, store: Store, name: str, source: Source) -> None:
        number = self.ids[name]
        reached = [e for e in self.bench.events(number) if e["event"] == "reached"]
        heard_s = self.heard_s(name)
        # Where the light proves less than was estimated over a hole, the call is taken back, told, and comes again.
        again = sum(1 for e in self.bench.events(number) if e["event"] == "mended")
        reached_us = reached_at_us(store, number)
        held = any(str(a.act) == "hold" and a.t_us >= reached_us for a in store.acts(number))
        if heard_s is None and held:
            return  # taken out of the light at the very moment: that hushes the call
        if not 1 <= len(reached) <= 1 + min(again, 2) or heard_s is None:
            self.wrong(f"{name}: {len(reached)} times reached, heard {heard_s}; at {self.shown(name)['fraction']:.0%}")
            return
        printed = min((s for s, line in self.bench.calls if f" {name}, " in line), default=heard_s)
        due_s = self._due_s(store, source, name)
        if source is self.first and due_s is not None:
            self.result.call_ms = (min(heard_s, printed) - due_s) * 1000
            if heard_s > max(due_s, self.end_s) + self.case.late_s:
                self.wrong(f"{name}: called {heard_s - due_s:.1f} s late, {heard_s - self.end_s:.1f} s after the fault")
        known = isinstance(source, FaultyPty | FaultyMqtt) and name in self.quiet_s
        if known and not again and (late4 := source.sounded_after(self.quiet_s[name])):
            self.wrong(f"{name}: buzzed {len(late4)} times after the acknowledgement")
        if name not in self.quiet_s and not held:  # a hold hushes as well
            self.wrong(f"{name}: the call could not be acknowledged")

    def alarms(self, store: Store, name: str) -> list[tuple[str, str, int]]:
        """(alarm or cleared, key, dose time) of a sensor, in order."""
        rows = store.db.execute(
            "SELECT event, json_extract(data, '$.alarm'), t_us FROM event WHERE sensor = ?"
            " AND event IN ('alarm', 'cleared') ORDER BY id", (name,)
        )
        return [(e, k, int(t)) for e, k, t in rows]

    def _look_at_alarm(self, store: Store) -> None:
        key, name = self.case.alarm, next(iter(self.sources))
        told = self.alarms(store, name)
        for sensor in self.sources:
            left = self.bench.sensor(sensor)["alarms"]
            if left:
                self.wrong(f"{sensor}: still told after the fault: {left}")
        if key is None:
            return
        times = [self.real_s(store, t) for e, k, t in told if e == "alarm" and k == key]
        times = [t for t in times if t >= self.begin_s - 0.1]
        if not times:
            self.wrong(f"{name}: no alarm {key!r}; told: {told}")
            return
        self.result.lag_s = times[0] - self.begin_s
        self.result.lag_dose_s = self.result.lag_s * self.pace


def reached_at_us(store: Store, number: int) -> int:
    """Dose time at which an exposure's target was first said to be reached; far off when never."""
    row = store.db.execute("SELECT min(t_us) FROM event WHERE exposure = ? AND event = 'reached'", (number,)).fetchone()
    return 1 << 62 if row[0] is None else int(row[0])
