"""Everything of now as one document: what `status`, the pages and MQTT tell. Runs on the daemon's loop."""

from __future__ import annotations

from collections.abc import Callable

import msgspec

from ..core import Core
from ..exposure.exposure import Exposure
from ..journal.store import Store
from ..messages import ExposureDoc, SensorDoc, StatusDoc
from ..stamps import iso_utc, local_date
from ..units import US_PER_S, irradiance_unit, to_screen


class Present:
    """One bench now. ways: lines about ways of calling that do not work."""

    def __init__(self, core: Core, store: Store, bench_name: str, ways: Callable[[], list[str]]) -> None:
        self._core = core
        self._store = store
        self._name = bench_name
        self._ways = ways

    def status(self) -> StatusDoc:
        """Every sensor; the exposures that have not ended, or that began today."""
        core = self._core
        today = local_date(core.clock.wall_us())
        shown = [
            self._shown(e)
            for e in core.bench.exposures.values()
            if e.finished_us is None or local_date(core.label(e.plan.begin_us)) == today
        ]
        held = {d.id for d in shown}
        begin_us = core.clock.wall_us() - 86_400 * US_PER_S
        kept_too = (k for k in self._store.between(begin_us, 1 << 62) if local_date(k.begin_wall_us) == today)
        shown += [kept.document for kept in kept_too if kept.plan.id not in held]
        return StatusDoc(
            bench=self._name,
            utc=iso_utc(core.clock.wall_us()),
            sensors=[self._sensor(name) for name in core.bench.channels],
            exposures=sorted(shown, key=lambda d: d.id),
            troubles=[*([core.trouble] if core.trouble else []), *self._ways()],
        )

    def _shown(self, exposure: Exposure) -> ExposureDoc:
        """With the calls that nobody has answered; those that a restart left open count as such."""
        shown, told = self._core.document(exposure), self._core.herald.unanswered.of(exposure.id)
        keys = [key for key in shown.calls if key not in told] + told
        armed = exposure.id in self._core.self_calls.arming.holds(exposure.plan.sensor)
        return msgspec.structs.replace(shown, unanswered=keys, armed=armed) if keys or armed else shown

    def _sensor(self, name: str) -> SensorDoc:
        channel = self._core.bench.channels[name]
        last = channel.track.last
        response = channel.track.response
        unit = irradiance_unit(response.unit)
        age_us = self._core.clock.dose_us() - last.t_us if last is not None else None
        return SensorDoc(
            name=name,
            state=str(channel.health.state()),
            irradiance=to_screen(response.factor * (last.value - response.zero), unit) if last is not None else None,
            unit=unit,
            age_s=max(0, age_us) / US_PER_S if age_us is not None else None,
            alarms=list(channel.health.active.values()),
            readings=channel.readings,
            bad_inputs=channel.bad_inputs,
            late=channel.late,
            last_bad=channel.last_bad,
            alarm_keys=list(channel.health.active),
            unarmed=self._core.self_calls.arming.trouble(name),
        )
