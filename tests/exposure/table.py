"""A bench on paper: one register sensor, light by hand, time by hand."""

from __future__ import annotations

from collections.abc import Callable

from uvdose.dose.response import Identity, Response
from uvdose.exposure.beginning import may_start
from uvdose.exposure.bench import Bench
from uvdose.exposure.exposure import Exposure
from uvdose.exposure.outcome import Outcome
from uvdose.exposure.record import Plan
from uvdose.exposure.target import CallPlan, Target
from uvdose.model import Fact, MomentReading, Reading, RegisterReading

RESPONSE = Response(0.1, 0.0, None, "mJ/cm2")  # 10 counts are 1 W/m²
IDENTITY = Identity("sill", "native", "counts", 0.01, 0.0, None, None, "sun")


def us(seconds: float) -> int:
    return round(seconds * 1e6)


class PaperBench:
    """`light(s)`: W/m² at a second, read once a second by a register node, or as momentary values."""

    def __init__(self, light: Callable[[float], float], register: bool = True) -> None:
        self.bench = Bench()
        self.bench.add_sensor("sill", IDENTITY, RESPONSE if register else Response(1.0, 0.0, None, "mJ/cm2"))
        self.now = 0
        self.facts: list[Fact] = []
        self.outcomes: list[Outcome] = []
        self._light, self._register, self._sum, self._seq = light, register, 0, 0
        self.mute = False
        self.keep(self.bench.link("sill", True, "", 0))
        self.pass_to(5)

    def keep(self, out: Outcome) -> Outcome:
        self.outcomes.append(out)
        self.facts += out.facts
        return out

    def reading(self) -> Reading:
        if not self._register:
            return MomentReading(self._light(self.now))
        level = round(self._light(self.now) * 10)
        self._sum += level * 1000
        self._seq += 1
        return RegisterReading(9, self._seq, self.now * 1000, level * 1000, self._sum, 0, 0, 0)

    def pass_to(self, second: int) -> None:
        """Let time pass, a reading a second; ticks when the bench asks for one, as the daemon does."""
        while self.now < second:
            for _ in range(50):
                due = self.bench.next_us(us(self.now))
                if due >= us(self.now + 1):
                    break
                self.keep(self.bench.tick(max(due, us(self.now))))
            self.now += 1
            reading = self.reading()
            if self.mute:
                self.keep(self.bench.tick(us(self.now)))
            else:
                self.keep(self.bench.take("sill", [reading], us(self.now)))

    def start(
        self, dose_mj_cm2: float, number: int = 1, frame: str = "1", count_in_s: int = 0, after_s: float = 0.0,
        aim: float = 1.0, **calls: object,
    ) -> Exposure:
        """Start `after_s` after the newest reading."""
        now_us = us(self.now + after_s)
        may_start(self.bench, "sill", frame, us(self.now))
        plan = Plan(
            number, Target("blue", 1, dose_mj_cm2, calls=CallPlan(**calls)), "sill", frame,  # type: ignore[arg-type]
            self.bench.channels["sill"].track.response, now_us + us(count_in_s), aim=aim,
        )
        self.keep(self.bench.start(plan, now_us))
        return self.bench.exposures[number]

    def told(self, number: int = 1) -> list[tuple[str, float]]:
        return [(f.name, f.t_us / 1e6) for f in self.facts if f.exposure == number]

    def times(self, name: str, number: int = 1) -> list[float]:
        return [t for n, t in self.told(number) if n == name]

    @property
    def rings(self) -> list[tuple[str, float]]:
        return [(r.key, r.t_us / 1e6) for out in self.outcomes for r in out.rings]
