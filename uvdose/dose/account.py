"""Account: what one exposure has received, added up from segments of light between the marks of its acts.

Register dose stays in whole numbers (counts x ms) and is scaled once. Momentary values are added one after the
other in dose time. Measured, bridged and missing light are kept apart from the first addition to the last.
"""

from __future__ import annotations

import math
from typing import Protocol

import msgspec

from ..model import Kind, Mark, MomentSegment, RegisterSegment, Segment
from ..units import US_PER_S
from .response import Response
from .timebase import WRAP_32, after_32
from .uncertainty import Part, combine, coverage_factor


class Window(msgspec.Struct, frozen=True):
    """A stretch in the light, from one mark to another; stop None while it lasts."""

    start: Mark
    stop: Mark | None = None


class Figures(msgspec.Struct, frozen=True):
    """What an account holds, scaled: dose in J/m² (or unit-seconds), times in seconds.

    dose = measured + bridged. low..high: 95 % interval relative to the target's scale. missing: central estimate of
    the light that fell unmeasured, not in dose. saturated_s: the dose of that time is a lower bound.
    parts: what the interval is made of, each as its own 95 % half-width; missing and saturation widen the high end
    alone, by the most that can have fallen.
    """

    dose: float
    low: float
    high: float
    missing: float
    measured_s: float
    bridged_s: float
    missing_s: float
    saturated_s: float
    parts: dict[str, float]


Sums = tuple[float, float, float, float]


class MomentRun(Protocol):
    """Momentary values, many of them, that follow on each other without a hole."""

    @property
    def strongest(self) -> float:
        """The strongest of them, in the unit."""

    @property
    def t0_us(self) -> int:
        """Dose time of the reading on which they follow."""

    @property
    def t1_us(self) -> int:
        """Dose time of the last."""

    def on_top(self, zero: float, sums: Sums) -> Sums:
        """Integral above zero, variance, its square and noise added to such sums, one value after the other."""


class Account:
    """Sums of one exposure. Give it every segment of its sensor, in order, and its windows as they are known."""

    def __init__(self, response: Response) -> None:
        self.response = response
        self.windows: list[Window] = []
        self._counts_ms = 0
        self._span_ms = 0
        self._moments = 0.0
        self._bridged = 0.0
        self._missing = 0.0
        self._missing_peak = 0.0
        self._var = {Kind.MEASURED: 0.0, Kind.BRIDGED: 0.0}
        self._var2 = {Kind.MEASURED: 0.0, Kind.BRIDGED: 0.0}
        self._noise = 0.0
        self._saturated_peak = 0.0
        self._us = [0, 0, 0]
        self._saturated_us = 0
        self._sealed = 0

    def open(self, mark: Mark) -> None:
        """Light falls on the sheet from here on."""
        self.windows.append(Window(mark))

    def close(self, mark: Mark) -> None:
        """No more light from here on."""
        self.windows[-1] = Window(self.windows[-1].start, mark)

    def replace(self, old: Mark, new: Mark) -> None:
        """A mark is known better now; only before any segment that reaches it has been added."""
        for i, w in enumerate(self.windows):
            if w.start is old or w.stop is old:
                self.windows[i] = Window(new if w.start is old else w.start, new if w.stop is old else w.stop)

    def seal(self, t_us: int) -> None:
        """Windows that began before this dose time take no more: their light was closed without a reading."""
        self._sealed = sum(w.start.t_us < t_us for w in self.windows)

    @property
    def is_open(self) -> bool:
        """Whether the sheet lies in the light."""
        return bool(self.windows) and self.windows[-1].stop is None

    def is_cut(self, segment: RegisterSegment | MomentRun) -> bool:
        """Whether a mark, or full scale, lies within light of several readings; else one by one they add up to it."""
        if not isinstance(segment, RegisterSegment) and self._is_full(segment.strongest):
            return True
        marks = (m for w in self.windows[self._sealed :] for m in (w.start, w.stop) if m is not None)
        return any(_lies_within(segment, m) for m in marks)

    def reckoned_within(self, segment: RegisterSegment) -> tuple[float, float]:
        """Between which figures `reckoned` stays while the lines of a segment are added one after the other."""
        counts_ms, span_ms = max(0, segment.register1 - segment.register0), _span(segment)
        r, rest = self.response, self._moments + self._bridged + self._missing
        dark = r.zero * self._span_ms, r.zero * (self._span_ms + span_ms)
        ends = (self._counts_ms - max(dark)) / 1000, (self._counts_ms + counts_ms - min(dark)) / 1000
        low, high = sorted((r.factor * (ends[0] + rest), r.factor * (ends[1] + rest)))
        return low, high

    def add_many(self, run: MomentRun) -> None:
        """Add momentary values that no mark cuts: within a window, or outside of all."""
        for window in self.windows[self._sealed :]:
            if window.start.t_us <= run.t0_us and (window.stop is None or window.stop.t_us >= run.t1_us):
                kind = Kind.MEASURED
                self._moments, self._var[kind], self._var2[kind], self._noise = run.on_top(
                    self.response.zero, (self._moments, self._var[kind], self._var2[kind], self._noise)
                )
                self._us[kind] += run.t1_us - run.t0_us

    def add(self, segment: Segment) -> None:
        """Add the part of a segment that lies within the windows."""
        for window in self.windows[self._sealed :] if self._sealed else self.windows:
            if isinstance(segment, RegisterSegment):
                self._add_register(segment, window)
            else:
                self._add_moment(segment, window)

    def _add_register(self, s: RegisterSegment, w: Window) -> None:
        if s.unread is not None and (_is_unread(s, w.start) or (w.stop is not None and _is_unread(s, w.stop))):
            self._add_moment(s.unread, w)
            return
        a = _position(s, w.start)
        b = (_span(s), s.register1) if w.stop is None else _position(s, w.stop)
        span_ms = b[0] - a[0]
        if span_ms <= 0:
            return
        self._counts_ms += max(0, b[1] - a[1])
        self._span_ms += span_ms
        self._us[Kind.MEASURED] += span_ms * 1000
        if s.sat_ms:
            whole_ms = _span(s)
            sat_ms = min(s.sat_ms, span_ms if whole_ms == 0 else s.sat_ms * span_ms // whole_ms)
            mean = (s.register1 - s.register0) / max(1, whole_ms)
            self._saturate(sat_ms * 1000, max(mean, self.response.full_scale or 0.0))

    def _add_moment(self, s: MomentSegment, w: Window) -> None:
        t0_us = max(s.t0_us, w.start.t_us)
        t1_us = s.t1_us if w.stop is None else min(s.t1_us, w.stop.t_us)
        if t1_us <= t0_us:
            return
        whole_us = s.t1_us - s.t0_us
        slope = (s.value1 - s.value0) / whole_us
        value0 = s.value0 if t0_us == s.t0_us else s.value0 + slope * (t0_us - s.t0_us)
        value1 = s.value1 if t1_us == s.t1_us else s.value0 + slope * (t1_us - s.t0_us)
        seconds = (t1_us - t0_us) / US_PER_S
        zero = self.response.zero
        integral = seconds * (((value0 - zero) + (value1 - zero)) / 2)
        self._us[s.kind] += t1_us - t0_us
        if s.kind is Kind.MISSING:
            self._missing += integral
            self._missing_peak += (s.peak - zero) * seconds
            return
        if s.kind is Kind.BRIDGED:
            self._bridged += integral
        else:
            self._moments += integral
        share = (t1_us - t0_us) / whole_us
        var = s.var * share * share
        self._var[s.kind] += var
        self._var2[s.kind] += var * var / s.dof
        self._noise += s.noise * share * share
        full = self.response.full_scale
        if full is not None and max(s.value0, s.value1) >= full:
            self._saturate(t1_us - t0_us, full)

    def _is_full(self, value: float) -> bool:
        return self.response.full_scale is not None and value >= self.response.full_scale

    def _saturate(self, us: int, value: float) -> None:
        """Light at full scale may have been stronger: up to as much again is allowed for in the high end."""
        self._saturated_us += us
        self._saturated_peak += us / US_PER_S * max(0.0, value - self.response.zero)

    def reckoned(self) -> float:
        """Dose and the central estimate of what is missing, scaled: the figure that decides, and nothing else."""
        r = self.response
        register = (self._counts_ms - r.zero * self._span_ms) / 1000
        return r.factor * (register + self._moments + self._bridged + self._missing)

    @property
    def hole_s(self) -> tuple[float, float]:
        """Seconds bridged and missing so far."""
        return self._us[Kind.BRIDGED] / US_PER_S, self._us[Kind.MISSING] / US_PER_S

    def figures(
        self, ahead: float = 0.0, ahead_missing: float = 0.0, ahead_peak: float = 0.0, ahead_missing_s: float = 0.0
    ) -> Figures:
        """The sums, scaled. `ahead…`: light since the last reading, in unit·s, predicted and not yet in the sums."""
        r = self.response
        register = (self._counts_ms - r.zero * self._span_ms) / 1000
        dose = r.factor * (register + self._moments + self._bridged + ahead)
        seconds = (self._us[Kind.MEASURED] + self._us[Kind.BRIDGED]) / US_PER_S
        parts = [
            Part("zero", r.factor * r.zero_u * seconds),
            Part("repeat", r.repeat_u * abs(dose)),
            self._part("sampling", Kind.MEASURED),
            Part("noise", r.factor * math.sqrt(max(0.0, self._noise))),
            self._part("bridging", Kind.BRIDGED),
        ]
        u, dof = combine(parts)
        half = coverage_factor(dof) * u
        missing = r.factor * (self._missing + ahead_missing)
        most = r.factor * (max(self._missing_peak, self._missing) + max(ahead_peak, ahead_missing))
        saturation = r.factor * self._saturated_peak
        halves = {p.name: coverage_factor(p.dof) * p.u for p in parts} | {"missing": most, "saturation": saturation}
        return Figures(
            dose=dose,
            low=max(0.0, dose - half) if dose >= 0 else dose - half,
            high=dose + half + max(0.0, most) + saturation,
            missing=missing,
            measured_s=self._us[Kind.MEASURED] / US_PER_S,
            bridged_s=self._us[Kind.BRIDGED] / US_PER_S,
            missing_s=self._us[Kind.MISSING] / US_PER_S + ahead_missing_s,
            saturated_s=self._saturated_us / US_PER_S,
            parts={name: value for name, value in halves.items() if value > 0},
        )

    def _part(self, name: str, kind: Kind) -> Part:
        """A sum of independent segments, each of whose variances was itself only estimated."""
        var = self._var[kind]
        dof = max(1.0, var * var / self._var2[kind]) if self._var2[kind] > 0 else math.inf
        return Part(name, self.response.factor * math.sqrt(var), dof)


def _span(s: RegisterSegment) -> int:
    return (s.uptime1_ms - s.uptime0_ms) % WRAP_32


def _lies_within(s: RegisterSegment | MomentRun, mark: Mark) -> bool:
    known = mark.uptime_ms is not None and mark.register is not None
    if isinstance(s, RegisterSegment) and mark.boot == s.boot and known and mark.uptime_ms is not None:
        return 0 < after_32(mark.uptime_ms, s.uptime0_ms) < _span(s)
    return s.t0_us < mark.t_us < s.t1_us


def _is_unread(s: RegisterSegment, mark: Mark) -> bool:
    """Whether a mark cuts a segment at a moment at which the register is not known."""
    return (mark.boot != s.boot or mark.register is None) and s.t0_us < mark.t_us < s.t1_us


def _position(s: RegisterSegment, mark: Mark) -> tuple[int, int]:
    """Where a mark cuts a register segment: ms after its begin, and the register there.

    A mark of the same boot is placed by the node's own uptime, which is exact; another by dose time.
    """
    span_ms = _span(s)
    if mark.boot == s.boot and mark.uptime_ms is not None and mark.register is not None:
        at_ms = after_32(mark.uptime_ms, s.uptime0_ms)
        if at_ms <= 0:
            return 0, s.register0
        if at_ms >= span_ms:
            return span_ms, s.register1
        return at_ms, min(max(mark.register, s.register0), s.register1)
    if mark.t_us <= s.t0_us:
        return 0, s.register0
    if mark.t_us >= s.t1_us:
        return span_ms, s.register1
    at_ms = (mark.t_us - s.t0_us) * span_ms // (s.t1_us - s.t0_us)
    return at_ms, s.register0 + (s.register1 - s.register0) * at_ms // span_ms


def mark_between(s: Segment, t_us: int) -> Mark:
    """The mark of a moment inside a segment, interpolated: an integer register for a register segment."""
    if isinstance(s, MomentSegment):
        return Mark(t_us)
    at_ms, register = _position(s, Mark(t_us))
    return Mark(t_us, s.boot, (s.uptime0_ms + at_ms) % WRAP_32, register)
