"""What is to come at this bench: settings, targets and measured light to an outlook. Reads the journal, for anybody."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date as Date

import msgspec

from .catalogue import part_named
from .clock import local_date
from .config import SensorSettings, Settings
from .dose.response import Identity, identity_of, response_of
from .exposure.target import SUN, Target, check_fit
from .foretold import OutlookDoc
from .journal.store import Store
from .light.bands import Band, sensor_band
from .light.outlook import Spot, clear_light
from .light.plane import HORIZONTAL, TOWARD_SUN, Plane
from .light.skies import COVERED, JUST_NOW_MIN, Level, Minutes, gather
from .light.uv import UV_NM
from .model import Refusal
from .notes import Queue
from .queueing import BENCH, words
from .review.by_minute import KEPT_DAYS, ByMinute
from .review.day import day_bounds
from .review.outlook import Asked, View, foretell
from .settings_bench import BenchSettings
from .units import PHYSICAL_DOSE, US_PER_S

DAY_US = 86_400 * US_PER_S
FAR_DAYS = 366
LEAST_EVERY_MIN, MOST_EVERY_MIN = 5, 240
MOST_BETWEEN_MIN = 240
# Common practice, no source: taking a sheet out, looking at it, laying the next one in.
BETWEEN_MIN = 5.0
READ_DEG = 5.0  # what came under a lower sun tells nothing
NO_PLACE = (
    "where does the bench stand? Set latitude and longitude in degrees under [bench] in uvdose.toml, such as"
    " latitude = 47.0 and longitude = 7.5"
)


class Question(msgspec.Struct, frozen=True):
    """names: of targets; none: all that fit. date: YYYY-MM-DD, None for today. every_min: between two starts that are
    told. between_min: from one print to the next. sensor: None: the one that the targets are bound to."""

    names: tuple[str, ...] = ()
    date: str | None = None
    every_min: int = 60
    queue: bool = False
    between_min: float = BETWEEN_MIN
    sensor: str | None = None


class Ahead:
    """Looks ahead, and keeps the minutes that it has read."""

    def __init__(self, settings: Settings) -> None:
        self._settings = settings
        self._readers: dict[Identity, ByMinute] = {}

    def look(self, store: Store, question: Question, now_us: int) -> OutlookDoc:
        """The outlook. now_us: wall time. Raises `Refusal`."""
        spot = spot_of(self._settings.bench)
        asked = _asked(question, now_us)
        targets = store.targets() if not question.names else [store.versions(n)[-1] for n in question.names]
        entries = store.newest_note(Queue, BENCH)[1] if question.queue else None
        sensor = self._sensor(question, targets)
        identity = identity_of(sensor, store.known_who().get(sensor.name))
        response = response_of(sensor)
        fit, left_out = [], []
        for target in targets:
            why = _unfit(target, identity, sensor)
            if why is None:
                fit.append(target)
            elif question.names:
                raise why
            else:
                left_out.append(why.line)
        if not fit and not entries:
            raise Refusal(left_out[0] if left_out else "no target is set yet: `uvdose target set NAME --dose MJ_CM2`")
        queue = None
        if question.queue:
            queue = []
            for entry in entries.entries if entries is not None else ():
                name = entry.target or (question.names[0] if question.names else None)
                wanted = store.newest_target(name) if name is not None else None
                why = _unfit(wanted, identity, sensor) if wanted is not None else None
                if wanted is None:
                    left_out.append(f"{words(entry)}: waits without a target that is known; TARGET gives it one")
                elif why is not None:
                    left_out.append(f"{words(entry)}: {why.line}")
                else:
                    queue.append((words(entry), wanted))
        view = self._view(store, spot, sensor, identity, response.unit, now_us)
        return foretell(view, msgspec.structs.replace(asked, targets=fit, queue=queue, left_out=left_out))

    def _sensor(self, question: Question, targets: Sequence[Target]) -> SensorSettings:
        known = {s.name: s for s in self._settings.sensor}
        name = question.sensor
        if name is None:
            bound = [t.identity.name for t in targets if t.identity is not None and t.identity.name in known]
            name = bound[0] if bound else next(iter(known)) if len(known) == 1 else None
        if name is None:
            raise Refusal(f"which sensor? name one with --sensor: {', '.join(known)}", 2)
        if name not in known:
            raise Refusal(f"no sensor {name!r}: {', '.join(known)}", 2)
        if known[name].light != SUN:
            raise Refusal(f"sensor {name} stands under {known[name].light}: an outlook is of the sun's light alone")
        return known[name]

    def _view(
        self, store: Store, spot: Spot, sensor: SensorSettings, identity: Identity, unit: str, now_us: int
    ) -> View:
        reader = self._readers.setdefault(identity, ByMinute(identity))
        minutes = reader.read(store, now_us - KEPT_DAYS * DAY_US, lambda at: spot.sun(at).elevation_deg > READ_DEG)
        band = band_of(sensor)
        level, skies = gather(spot, minutes, band, absolute=unit == PHYSICAL_DOSE)
        if level is None:
            raise Refusal(
                f"sensor {sensor.name} has no scale, and the journal no half hour of clear sky yet that would tell how"
                " it reads one: let it lie in the sun on a clear day, or `uvdose sensor scale`"
            )
        share = _share_now(spot, minutes, level, band, now_us / US_PER_S)
        return View(spot, band, sensor.name, unit, level, skies, share)


def spot_of(bench: BenchSettings) -> Spot:
    """Where the bench stands, and how its frames lie. Raises `Refusal` where the settings do not say it."""
    if bench.latitude is None or bench.longitude is None:
        raise Refusal(NO_PLACE)
    plane = HORIZONTAL
    if bench.facing == "sun":
        plane = TOWARD_SUN
    elif bench.facing == "tilted":
        plane = Plane(bench.tilt_deg or 0.0, bench.azimuth_deg)
    return Spot(bench.latitude, bench.longitude, bench.height_m, plane)


def band_of(sensor: SensorSettings) -> Band | tuple[float, float]:
    """The band of the sensor's part; all ultraviolet from 300 nm where it names none."""
    return UV_NM if sensor.part is None else sensor_band(part_named(sensor.part).band)


def _asked(question: Question, now_us: int) -> Asked:
    if not LEAST_EVERY_MIN <= question.every_min <= MOST_EVERY_MIN:
        raise Refusal(f"every {question.every_min} min: give minutes from {LEAST_EVERY_MIN} to {MOST_EVERY_MIN}", 2)
    if not 0 <= question.between_min <= MOST_BETWEEN_MIN:
        raise Refusal(f"between {question.between_min:g} min: give minutes from 0 to {MOST_BETWEEN_MIN}", 2)
    today = local_date(now_us)
    text = question.date or today
    from_us, until_us = day_bounds(text)
    if abs(from_us - now_us) > FAR_DAYS * DAY_US:
        raise Refusal(f"{text} is more than a year from today: what the air will be then nobody can tell", 2)
    now_s = now_us / US_PER_S
    return Asked(
        Date.fromisoformat(text), from_us / US_PER_S, until_us / US_PER_S, now_s if text == today else None, now_s,
        question.every_min * 60.0, question.between_min * 60.0, (),
    )  # fmt: skip


def _unfit(target: Target, identity: Identity, sensor: SensorSettings) -> Refusal | None:
    """Why nothing can be told of a target. Physical doses of another sensor compare; others do not."""
    proved = target.identity
    if proved is not None and proved.light != SUN:
        return Refusal(f"target {target.name} was proved under {proved.light}: the sun says nothing of its time")
    try:
        check_fit(target, identity, response_of(sensor), override=target.unit == PHYSICAL_DOSE)
    except Refusal as why:
        return why
    return None


def _share_now(
    spot: Spot, minutes: Minutes, level: Level, band: Band | tuple[float, float], now_s: float
) -> float | None:
    """What the last minutes had of a clear sky; None without light, or where the sensor seems covered."""
    late = minutes.utc_s > now_s - (JUST_NOW_MIN + 1) * 60.0
    times, light = minutes.utc_s[late], minutes.light[late]
    clear = clear_light(spot, times, band) * level.factor
    if len(times) < JUST_NOW_MIN // 2 or not float(clear.sum()) > 0.0:
        return None
    share = float(light.sum() / clear.sum())
    return share if share > COVERED else None
