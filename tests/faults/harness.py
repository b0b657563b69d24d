"""One case: a real daemon, real sensors, a fault at a drawn moment, and everything that must hold, looked at.

The print of each sensor starts in calm, its target falls due at a drawn moment (before, in or after the fault), the
fault runs, the person acknowledges the call and finishes in calm again. Then the journal is compared with the truth.
"""

from __future__ import annotations

import contextlib
import http.client
import itertools
import random
import shutil
import tempfile
import threading
import time
import traceback
from collections.abc import Callable
from pathlib import Path

from faults.case import CALL_WITHIN_S, Case, Result
from faults.judge import Judge
from faults.light import Light, pick
from faults.sources import FaultyBoard, FaultyJson, FaultyMqtt, FaultyPty, Source
from faults.watched import WatchedBench
from support.bench import Refused
from support.broker import Broker

MQTT_KINDS = ("mqtt", "json", "jsonseq")


class Run(Judge):
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

    def nap(self, least_s: float, most_s: float | None = None) -> None:
        """Let a drawn time pass, in real seconds."""
        time.sleep(least_s if most_s is None else self.rng.uniform(least_s, most_s))

    def begun(self) -> None:
        """The fault is there from now on; of several the first counts."""
        self.begin_s = self.begin_s or time.monotonic()

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
        if not self.result.problems:
            shutil.rmtree(self.folder, ignore_errors=True)
        return self.result

    def _set_up(self) -> None:
        case = self.case
        settings = '[bench]\nname = "bindery"\n'
        noise = case.options.get("noise_w_m2", 0.0)
        light = pick(self.rng, calm=bool(noise))  # else the light's own unrest hides the sensor's
        # Each draw takes half of the last one back, so that no case hangs on noise that looks like light by chance.
        white = [self.rng.gauss(0, noise) for _ in range(len(light) + 1)]
        draws = [b - a / 2 for a, b in itertools.pairwise(white)] if noise else None
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
        self.look()

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
                if self.heard_s(name) is None:
                    continue
                time.sleep(self.rng.uniform(0.0, 0.4))
                with contextlib.suppress(OSError, http.client.HTTPException):  # no daemon just now: again
                    with contextlib.suppress(Refused):  # taken already, though a kill ate the answer
                        self.bench.ask("POST", f"/exposures/{number}/quiet", timeout=3)
                    self.quiet_s[name] = time.monotonic()
                    del left[name]


def run_case(case: Case, seed: int) -> Result:
    """Run one case to its result."""
    return Run(case, seed).run()
