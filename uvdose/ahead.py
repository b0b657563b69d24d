"""What is to come at this bench: settings, targets and measured light to an outlook. Reads the journal, for anybody."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date as Date

import msgspec

from .config import SensorSettings, Settings
from .dose.response import Identity, identity_of, response_of
from .exposure.target import SUN, Target, check_fit
from .foretold import OutlookDoc, Question
from .journal.store import Store
from .light.bands import Band
from .light.lies import COVERED, ClearLight
from .light.outlook import Spot, clear_light
from .light.path import clear_course
from .light.skies import JUST_NOW_MIN, Level, Minutes, gather
from .model import Refusal
from .notes import Queue
from .placed import band_of, spot_of
from .queueing import BENCH, words
from .review.by_minute import by_minute
from .review.outlook import Asked, View, foretell
from .same_light import Drift, SameLight
from .stamps import day_bounds, local_date
from .units import PHYSICAL_DOSE, US_PER_S
from .units import minutes as lasting_words

DAY_US = 86_400 * US_PER_S
BACK_DAYS = 31
FAR_DAYS = 366
LEAST_EVERY_MIN, MOST_EVERY_MIN = 5, 240
MOST_BETWEEN_MIN = 240
READ_DEG = 5.0  # what came under a lower sun tells nothing


def look_ahead(store: Store, settings: Settings, question: Question, now_us: int) -> OutlookDoc:
    """The outlook. now_us: wall time. Raises `Refusal`."""
    spot = spot_of(settings.bench)
    asked = _asked(question, now_us)
    named = [store.versions(name)[-1] for name in question.names]
    targets = named or [target for target in store.targets() if not target.retired]
    sensor = _sensor(settings, question, targets)
    identity = identity_of(sensor, store.known_who().get(sensor.name))
    fit, left_out = [], []
    for target in targets:
        why = _unfit(target, identity, sensor)
        if why is None:
            fit.append(target)
        elif named:
            raise why
        else:
            left_out.append(why.line)
    if not fit:
        raise Refusal(left_out[0] if left_out else "no target is set yet: `uvdose target set NAME --dose MJ_CM2`")
    queue = None
    if question.queue:
        queue, missed = _queue(store, named[0] if named else None, identity, sensor)
        left_out += missed
    view = _view(store, spot, sensor, identity, now_us)
    same = SameLight(settings)
    beside = {target.name: _beside(target, same, sensor.name, asked.now_s) for target in fit}
    return foretell(view, msgspec.structs.replace(asked, targets=fit, queue=queue, left_out=left_out, beside=beside))


def _beside(target: Target, same: SameLight, sensor: str, now_s: float | None) -> list[str]:
    """What the times of a target do not count: they are of its own dose."""
    found = []
    if target.correct:
        drift = same.drift(target, sensor, now_s) if now_s is not None else None
        now = f": {drift.stops:+.2f} stop now" if isinstance(drift, Drift) else ""
        found.append(f"its prints are corrected for the light{now}; these times are of its own dose")
    if target.p != 1:
        than = f" of {lasting_words(target.proved_s)}" if target.proved_s else ""
        found.append(f"by p {target.p:g} a print longer than its calibration print's time{than} wants"
                     f" {'more' if target.p < 1 else 'less'} than its dose, a shorter one"
                     f" {'less' if target.p < 1 else 'more'}; that is not in these times")  # fmt: skip
    return found


def clear_courses(store: Store, settings: Settings, now_us: int) -> dict[str, ClearLight]:
    """What each sensor in the sun says of a clear sky from now on, where steady half hours of past days tell it."""
    found = {}
    for sensor in settings.sensor:
        if sensor.light != SUN or settings.bench.latitude is None:
            continue
        spot, identity = spot_of(settings.bench), identity_of(sensor, store.known_who().get(sensor.name))
        level, _ = gather(spot, _minutes(store, spot, identity, now_us), band_of(sensor), absolute=False)
        if level is not None:
            found[sensor.name] = clear_course(spot, now_us / US_PER_S, band_of(sensor), level.factor)
    return found


def _queue(
    store: Store, usual: Target | None, identity: Identity, sensor: SensorSettings
) -> tuple[list[tuple[str, Target]], list[str]]:
    """Who waits, with the target of each, else the usual one; and why something cannot be told of the others."""
    noted = store.newest_note(Queue, BENCH)[1]
    queue, left_out = [], []
    for entry in noted.entries if noted is not None else ():
        target = store.newest_target(entry.target) if entry.target is not None else usual
        why = _unfit(target, identity, sensor) if target is not None else None
        if target is None:
            left_out.append(f"{words(entry)}: waits without a target that is known; TARGET gives it one")
        elif why is not None:
            left_out.append(f"{words(entry)}: {why.line}")
        else:
            queue.append((words(entry), target))
    return queue, left_out


def _sensor(settings: Settings, question: Question, targets: Sequence[Target]) -> SensorSettings:
    known = {s.name: s for s in settings.sensor}
    name = question.sensor
    if name is None:
        bound = [t.identity.name for t in targets if t.identity is not None and t.identity.name in known]
        name = bound[0] if bound else next(iter(known)) if len(known) == 1 else None
    if name is None:
        raise Refusal(f"which sensor? name one with --sensor: {', '.join(known)}", 2)
    if name not in known:
        raise Refusal(f"no sensor {name!r} in the settings: one of {', '.join(known)}", 2)
    if known[name].light != SUN:
        raise Refusal(f"sensor {name} stands under {known[name].light}: an outlook is of the sun's light alone")
    return known[name]


def _view(store: Store, spot: Spot, sensor: SensorSettings, identity: Identity, now_us: int) -> View:
    unit, band = response_of(sensor).unit, band_of(sensor)
    minutes = _minutes(store, spot, identity, now_us)
    level, skies = gather(spot, minutes, band, absolute=unit == PHYSICAL_DOSE)
    if level is None:
        raise Refusal(
            f"sensor {sensor.name} has no scale, and the journal no half hour of clear sky yet that would tell how"
            " it reads one: let it lie in the sun on a clear day, or `uvdose sensor scale`"
        )
    share = _share_now(spot, minutes, level, band, now_us / US_PER_S)
    return View(spot, band, sensor.name, unit, level, skies, share)


def _minutes(store: Store, spot: Spot, identity: Identity, now_us: int) -> Minutes:
    """The light of the last weeks."""
    return by_minute(store, identity, now_us - BACK_DAYS * DAY_US, lambda at: spot.sun(at).elevation_deg > READ_DEG)


def _asked(question: Question, now_us: int) -> Asked:
    if not LEAST_EVERY_MIN <= question.every_min <= MOST_EVERY_MIN:
        raise Refusal(f"every {question.every_min} min: give minutes from {LEAST_EVERY_MIN} to {MOST_EVERY_MIN}", 2)
    if not 0 <= question.between_min <= MOST_BETWEEN_MIN:
        raise Refusal(f"between {question.between_min:g} min: give minutes from 0 to {MOST_BETWEEN_MIN}", 2)
    today = local_date(now_us)
    text = question.date or today
    if _far(text, today):
        raise Refusal(f"{text} is more than a year from today: what the air will be then nobody can tell", 2)
    from_us, until_us = day_bounds(text)
    now_s = now_us / US_PER_S
    return Asked(
        Date.fromisoformat(text), from_us / US_PER_S, until_us / US_PER_S, now_s if text == today else None, now_s,
        question.every_min * 60.0, question.between_min * 60.0, (),
    )  # fmt: skip


def _far(text: str, today: str) -> bool:
    """False for what is no day; the last of all has no end that a clock could tell, and is far."""
    try:
        return abs((Date.fromisoformat(text) - Date.fromisoformat(today)).days) > FAR_DAYS
    except ValueError:
        return False


def _unfit(target: Target, identity: Identity, sensor: SensorSettings) -> Refusal | None:
    """Why nothing can be told of a target. Physical doses of another sensor compare; others do not, nor do those of
    the same one once its settings have changed."""
    proved = target.identity
    if proved is not None and proved.light != SUN:
        return Refusal(f"target {target.name} was proved under {proved.light}: the sun says nothing of its time")
    compares = target.unit == PHYSICAL_DOSE and proved is not None and proved.name != identity.name
    try:
        check_fit(target, identity, response_of(sensor), override=compares)
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
