"""All benches at one broker: messages in, a view out. Pure; time comes in as seconds of one monotonic clock.

What comes is foreign: whoever may publish there can say anything. So texts are cut and cleared of what is not
printed, numbers and lists are bounded, and what cannot be read changes nothing but a count.

What is read is cut to what is shown at once, and only that is kept: 64 benches that say as much as they may are little.

A bench is here only while its figures move before our own eyes. What the broker kept, or sends once more, proves
nothing: a bridge between brokers sends what it kept as if it were new. Ages go by our own clock; that of the bench is
told beside.
"""

from __future__ import annotations

import re
from datetime import datetime
from typing import Any, NamedTuple

import msgspec

from .listed import BenchAlarm, BenchDoc, BenchesDoc
from .messages import ExposureDoc, SensorDoc, StatusDoc

QUIET_S = 5.0  # a bench says its state each second
MOST_BENCHES = 64
MOST_BYTES = 1 << 20
MOST_DEEP, MOST_LIST, MOST_TEXT, MOST_NUMBER = 8, 400, 200, 1e15
MOST_SHOWN, MOST_ALARMS, MOST_NAMES, MOST_STEPS = 24, 8, 6, 64
ENDED = ("finished", "void")
KNOWN = ("waiting", "counting", "held", "reached", *ENDED)
TOPICS = ("uvdose/+/state", "uvdose/+/online")

_TOPIC = re.compile(r"uvdose/([A-Za-z0-9][A-Za-z0-9_.-]{0,39})/(state|online)")
_UTC = re.compile(r"(?:19[7-9]|2[0-9]{2})[0-9]-[01][0-9]-[0-3][0-9]T[0-2][0-9]:[0-5][0-9]:[0-5][0-9](?:\.[0-9]{1,6})?Z")


class Said(NamedTuple):
    """What a bench said of itself, as it is shown: see `BenchDoc`."""

    utc: str
    exposures: list[ExposureDoc]
    more: int
    finished: int
    sensors: int
    alarms: list[BenchAlarm]
    troubles: list[str]


class Message(NamedTuple):
    """One message, read. name: the bench's, None where it is no bench's; what: state or online.

    online: what it says of that, None where it cannot be read; said: likewise; empty: it takes away what was kept.
    """

    name: str | None
    what: str = ""
    online: bool | None = None
    said: Said | None = None
    empty: bool = False


class _Bench:
    """What is known of one. seen_s: when its newest figures were first seen; moved: they were new when they came."""

    def __init__(self, now_s: float) -> None:
        self.first_s = now_s
        self.online: bool | None = None
        self.online_s = now_s
        self.said: Said | None = None
        self.seen_s = now_s
        self.moved = False
        self.unread = 0

    def state(self, now_s: float, began_s: float | None) -> str:
        if began_s is None:
            return "unheard"
        moved = self.moved and self.seen_s >= began_s
        if self.online is False and not (moved and self.seen_s > self.online_s):
            return "gone"
        if moved and now_s - self.seen_s <= QUIET_S:
            return "here"
        return "unheard" if now_s - max(began_s, self.first_s) <= QUIET_S else "silent"


class Benches:
    """Every bench that was heard of."""

    def __init__(self, broker: str) -> None:
        self._broker = broker
        self._known: dict[str, _Bench] = {}
        self._began_s: float | None = None
        self._trouble = ""
        self._left_out = 0

    def greeted(self, now_s: float) -> None:
        """From now on the broker tells us."""
        self._began_s, self._trouble = now_s, ""

    def lost(self, why: str) -> None:
        """It does not, and why; figures stay, and grow older."""
        self._began_s, self._trouble = None, why

    def take(self, topic: str, payload: bytes, retained: bool, now_s: float) -> None:
        """One message. Never raises."""
        self.put(read_message(topic, payload), retained, now_s)

    def put(self, message: Message, retained: bool, now_s: float) -> None:
        """One message that has been read, which may take long: this does not."""
        name = message.name
        bench = None if name is None else self._bench(name, not message.empty, now_s)
        if name is None or bench is None:
            self._left_out += 1
            return
        if message.what == "online":
            _take_online(bench, message, now_s)
        else:
            _take_state(bench, message, retained, now_s)
        if message.empty and bench.online is None and bench.said is None:
            del self._known[name]  # what the broker kept of it was taken away

    def _bench(self, name: str, says: bool, now_s: float) -> _Bench | None:
        """The bench of that name; one that is not here makes room for one that is new."""
        if name not in self._known:
            if not says:
                return None
            if len(self._known) >= MOST_BENCHES:
                away = [(b.seen_s, n) for n, b in self._known.items() if b.state(now_s, self._began_s) != "here"]
                if not away:
                    return None
                del self._known[min(away)[1]]
                self._left_out += 1
            self._known[name] = _Bench(now_s)
        return self._known[name]

    def view(self, now_s: float, utc: str) -> BenchesDoc:
        """All of them now."""
        listened_s = None if self._began_s is None else now_s - self._began_s
        return BenchesDoc(
            utc, self._broker, listened_s, [self._seen(name, now_s) for name in sorted(self._known, key=_by_number)],
            self._trouble, self._left_out,
        )

    def _seen(self, name: str, now_s: float) -> BenchDoc:
        bench = self._known[name]
        said, old_s = bench.said, max(0.0, now_s - bench.seen_s)
        return BenchDoc(
            name=name, state=bench.state(now_s, self._began_s), online=bench.online,
            age_s=old_s if said is not None and bench.moved else None,
            at_least_s=old_s if said is not None and not bench.moved else None,
            utc=said.utc if said is not None else None, exposures=said.exposures if said is not None else [],
            more=said.more if said is not None else 0, finished=said.finished if said is not None else 0,
            sensors=said.sensors if said is not None else 0, alarms=said.alarms if said is not None else [],
            troubles=said.troubles if said is not None else [], unread=bench.unread,
        )


def read_message(topic: str, payload: bytes) -> Message:
    """A message, read and cut. Never raises."""
    found = _TOPIC.fullmatch(topic)
    if found is None:
        return Message(None)
    name, what = found[1], found[2]
    if what == "online":
        word = payload[:8].strip()
        return Message(name, what, online=word == b"1" if word in (b"0", b"1") else None, empty=not payload)
    said = read_state(payload)
    return Message(name, what, said=None if said is None else _cut(said), empty=not payload)


def _cut(said: StatusDoc) -> Said:
    """What of it is shown."""
    running = [d for d in said.exposures if d.state not in ENDED]
    return Said(
        said.utc, [_cut_print(d) for d in running[:MOST_SHOWN]], max(0, len(running) - MOST_SHOWN),
        sum(d.state == "finished" for d in said.exposures), len(said.sensors), _alarms(said.sensors)[:MOST_ALARMS],
        said.troubles[:MOST_ALARMS],
    )


def _cut_print(d: ExposureDoc) -> ExposureDoc:
    """A print with no more of each list than any has."""
    return msgspec.structs.replace(
        d, alarms=d.alarms[:MOST_ALARMS], calls=d.calls[:MOST_ALARMS], unanswered=d.unanswered[-MOST_ALARMS:],
        steps=d.steps[:MOST_STEPS], parts=dict([*d.parts.items()][:MOST_ALARMS]),
        noted=dict([*d.noted.items()][:MOST_ALARMS]),
    )


def _alarms(sensors: list[SensorDoc]) -> list[BenchAlarm]:
    """Each alarm once, with the sensors that have it: a broker that is gone takes hundreds with it."""
    found: dict[str, tuple[str, str, list[str]]] = {}
    for sensor in sensors:
        keys = sensor.alarm_keys + [""] * len(sensor.alarms)
        for key, line in zip(keys, sensor.alarms, strict=False):
            found.setdefault(key or line, (key, line, []))[2].append(sensor.name)
    return [
        BenchAlarm(key, line, names[:MOST_NAMES], max(0, len(names) - MOST_NAMES))
        for key, line, names in found.values()
    ]


def _take_online(bench: _Bench, message: Message, now_s: float) -> None:
    if message.online is None and not message.empty:
        bench.unread += 1
        return
    if message.online is not None and bench.online is not message.online:
        bench.online_s = now_s
    bench.online = message.online


def _take_state(bench: _Bench, message: Message, retained: bool, now_s: float) -> None:
    said = message.said
    if message.empty:
        bench.said, bench.moved, bench.unread = None, False, 0
        return
    if said is None:
        bench.unread += 1
        return
    before, bench.said = bench.said, said
    if before is None or before.utc != said.utc:
        bench.moved = before is not None and not retained
        bench.seen_s = now_s
        bench.unread = 0


def read_state(payload: bytes) -> StatusDoc | None:
    """A bench's state out of a message, bounded; None for what is none."""
    if len(payload) > MOST_BYTES:
        return None
    try:
        said = msgspec.convert(_plain(msgspec.json.decode(payload), 0), StatusDoc)
    except (msgspec.MsgspecError, ValueError, RecursionError):
        return None
    return said if _is_moment(said.utc) and all(d.state in KNOWN for d in said.exposures) else None


def _is_moment(utc: str) -> bool:
    """Whether a person's clock can show it."""
    if _UTC.fullmatch(utc) is None:
        return False
    try:
        datetime.fromisoformat(utc)
    except ValueError:  # such as the 31st of June
        return False
    return True


def _plain(value: Any, deep: int) -> Any:
    """The same, with texts cut and cleared. Raises ValueError for what no bench says."""
    if isinstance(value, str):
        return "".join(c if c.isprintable() else " " for c in value[:MOST_TEXT])
    if isinstance(value, bool) or value is None:
        return value
    if isinstance(value, int | float):
        if not abs(value) <= MOST_NUMBER:  # NaN neither
            raise ValueError("a number that nothing here has")
        return value
    if deep >= MOST_DEEP or len(value) > MOST_LIST:
        raise ValueError("too deep, or too long")
    if isinstance(value, list):
        return [_plain(v, deep + 1) for v in value]
    return {_plain(k, deep): _plain(v, deep + 1) for k, v in value.items()}


def _by_number(name: str) -> list[tuple[int, str]]:
    """bench2 before bench10."""
    return [(int(part), "") if part.isdigit() else (-1, part) for part in re.split(r"(\d+)", name.casefold())]
