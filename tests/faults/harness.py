"""One case: a real daemon, real sensors, a fault at a drawn moment, and everything that must hold, looked at.

The print of each sensor starts in calm, its target falls due at a drawn moment (before, in or after the fault), the
fault runs, the person acknowledges the call and finishes in calm again. Then the journal is compared with the truth.
"""

from __future__ import annotations

import contextlib
import random
import tempfile
import threading
import time
import traceback
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import msgspec
from faults.light import Light, pick
from faults.sources import SCALE, FaultyBoard, FaultyJson, FaultyMqtt, FaultyPty, Source, windows
from faults.watched import WatchedBench
from support.broker import Broker

from uvdose.clock import Epoch, host_boot_us
from uvdose.exposure.record import ActRecord
from uvdose.journal.store import Store
from uvdose.review.recount import recount

PACE = 20.0
CALL_WITHIN_S = 11.0  # real: the longest wait between two tries of a link and of a call, one after the other
CPU_SHARE = 0.3
RSS_MB = 80.0
SNAP_SHARE = 1e-9
MQTT_KINDS = ("mqtt", "json", "jsonseq")


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


class Run:
    """A case while it runs. A fault reaches everything through it, and marks its begin and end."""

    bench: WatchedBench
    broker: Broker

    def __init__(self, case: Case, seed: int) -> None:
        self.case, self.pace = case, case.pace
        self.rng = random.Random(f"{case.name}:{seed}")
        self.folder = Path(tempfile.mkdtemp(prefix="fault-"))
        self.sources: dict[str, Source] = {}
        self.ids: dict[str, int] = {}
        self.taken: dict[int, list[str]] = {}
        self.result = Result(case.name, seed)
        self.begin_s = self.end_s = 0.0
        self.stack = contextlib.ExitStack()
        self.quiet_s: dict[str, float] = {}
        self.over = threading.Event()
        self.boot_shift_s: dict[str, float] = {}

    # -- what faults use -------------------------------------------------------------------------------------

    @property
    def first(self) -> Any:
        """The sensor that the fault is done to."""
        return next(iter(self.sources.values()))

    def nap(self, least_s: float, most_s: float | None = None) -> None:
        """Let a drawn time pass, in real seconds."""
        time.sleep(least_s if most_s is None else self.rng.uniform(least_s, most_s))

    def begun(self) -> None:
        """The fault is there from now on; of several the first counts."""
        self.begin_s = self.begin_s or time.monotonic()

    def wrong(self, line: str) -> None:
        self.result.problems.append(line)

    def spell(self, seconds: float, change: Callable[[float, float], float]) -> None:
        """The first sensor makes `change(s, light when it began)` of the light for dose seconds; waits for its end."""
        source = self.first
        now_s = (time.monotonic() - source.started_s) * self.pace + 0.06 * self.pace
        held = source.light.true(now_s)
        source.light.spell(now_s, now_s + seconds, lambda s: change(s, held))
        time.sleep(0.06)
        self.begun()
        time.sleep(seconds / self.pace)

    # -- the case --------------------------------------------------------------------------------------------

    def run(self) -> Result:
        """All of it. Whatever goes wrong ends up in the result's problems."""
        try:
            with self.stack:
                self._set_up()
                self._print()
                self.bench.measure()
                self.bench.end()
                self.result.problems += self.bench.faults
        except BaseException:
            self.wrong(traceback.format_exc(limit=-4))
        return self.result

    def _set_up(self) -> None:
        case = self.case
        settings = '[bench]\nname = "bindery"\n'
        noise = case.options.get("noise_w_m2", 0.0)
        light = pick(self.rng, calm=bool(noise))  # else the light's own unrest hides the sensor's
        draws = [self.rng.gauss(0, noise) for _ in light] if noise else None
        port = 0
        if any(kind in MQTT_KINDS for kind in case.kinds):
            self.broker = self.stack.enter_context(case.broker())
            port = self.broker.port
            settings += f"[mqtt]\nport = {port}\n{case.mqtt}"
        for i, kind in enumerate(case.kinds):
            name = f"{kind}{i}"
            self.sources[name] = self._source(kind, name, Light(light, draws), port)
            settings += self.sources[name].settings(name)
        for source in self.sources.values():
            self.stack.enter_context(source)
        self.bench = WatchedBench(self.folder / "home", settings, case.pace, case.driver)
        if case.setup is not None:
            case.setup(self)
        self.stack.callback(lambda: self.bench.__exit__(None, None, None))
        self.bench.start()

    def _source(self, kind: str, name: str, light: Light, port: int) -> Source:
        path, more = self.folder / name, {k: v for k, v in self.case.options.items() if k != "noise_w_m2"}
        if kind == "pty":
            return FaultyPty(path, light, self.rng, self.pace, **more)
        if kind == "board":
            return FaultyBoard(path, light, self.rng, self.pace, **more)
        if kind == "mqtt":
            return FaultyMqtt(port, f"nodes/{name}", light, self.rng, self.pace, **more)
        return FaultyJson(port, f"values/{name}", light, self.rng, self.pace, timed=kind == "json", **more)

    def _print(self) -> None:
        bench, case = self.bench, self.case
        bench.wait_live(*self.sources, seconds=15)
        time.sleep(0.5)
        due_s = self.rng.uniform(0.25, 0.8) * case.lasts_s
        for name, source in self.sources.items():
            now_s = (time.monotonic() - source.started_s) * self.pace
            target = source.light.dose(now_s, now_s + due_s * self.pace) / 10
            bench.target(name, target, lead_s=0, overshoots=[])
            self.ids[name] = bench.expose(name, sensor=name, frame=name)
            self.taken[self.ids[name]] = ["light"]
        began_s = time.monotonic()
        caller = threading.Thread(target=self._person, daemon=True)
        caller.start()
        self.nap(0.6, 1.5)
        case.fault(self)
        self.end_s = time.monotonic()
        if not self.begin_s:
            self.wrong("the fault did not say when it began")
        time.sleep(max(0.0, began_s + case.lasts_s - time.monotonic()))
        bench.wait_live(*self.sources, seconds=15)
        caller.join(CALL_WITHIN_S + due_s)
        time.sleep(1.0)
        self.over.set()
        for name in self.sources:
            self._act(name, "finish")
        store = bench.store()
        bench.wait_for(lambda: all(store.exposure(i).settled for i in self.ids.values()), 10, "all settled")
        self._look()

    def _act(self, name: str, act: str) -> None:
        self.bench.act(self.ids[name], act)
        self.taken[self.ids[name]].append(act)

    def act(self, act: str) -> None:
        """The person's act on every print; what is told as taken must be kept."""
        for name in self.ids:
            self._act(name, act)

    def _person(self) -> None:
        """Hears each call at the node or reads it on the terminal, and acknowledges it a little later."""
        left = dict(self.ids)
        while left and not self.over.wait(0.05):
            for name, number in list(left.items()):
                if self._heard_s(name) is None:
                    continue
                time.sleep(self.rng.uniform(0.0, 0.4))
                with contextlib.suppress(Exception):  # no daemon just now, or no call open: the person tries again
                    self.bench.ask("POST", f"/exposures/{number}/quiet", timeout=3)
                    self.quiet_s[name] = time.monotonic()
                    del left[name]

    def _heard_s(self, name: str) -> float | None:
        """When the person could know: buzzed by the node where there is one, else printed."""
        source = self.sources[name]
        printed = [s for s, line in self.bench.calls if f" {name}, " in line]
        by_node = isinstance(source, FaultyPty | FaultyMqtt) and not self.case.terminal
        return min(source.heard4 if by_node else printed, default=None)

    # -- what must hold --------------------------------------------------------------------------------------

    def _look(self) -> None:
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
        return self.bench.exposure(self.ids[name])

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
        heard_s = self._heard_s(name)
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
        if known and (late4 := source.sounded_after(self.quiet_s[name])):
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


def run_case(case: Case, seed: int) -> Result:
    """Run one case to its result."""
    return Run(case, seed).run()
