"""All benches at one broker: messages in, a view out. Pure; time comes in as seconds of one monotonic clock.

What comes is foreign: whoever may publish there can say anything. So texts are cut and cleared of what is not
printed, numbers and lists are bounded, and what cannot be read changes nothing but a count.

A bench is here only while its figures move before our own eyes. What the broker kept, or sends once more, proves
nothing: a bridge between brokers sends what it kept as if it were new. Ages go by our own clock; that of the bench is
told beside.
"""

from __future__ import annotations

import math
import re
from typing import Any

import msgspec

from .listed import BenchAlarm, BenchDoc, BenchesDoc
from .messages import SensorDoc, StatusDoc

QUIET_S = 5.0  # a bench says its state each second
MOST_BENCHES = 64
MOST_BYTES = 1 << 20
MOST_DEEP, MOST_LIST, MOST_TEXT, MOST_NUMBER = 8, 400, 200, 1e15
MOST_SHOWN, MOST_ALARMS, MOST_NAMES = 24, 8, 6
ENDED = ("finished", "void")
KNOWN = ("waiting", "counting", "held", "reached", *ENDED)
TOPICS = ("uvdose/+/state", "uvdose/+/online")

_TOPIC = re.compile(r"uvdose/([A-Za-z0-9][A-Za-z0-9_.-]{0,39})/(state|online)")
_UTC = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(?:\.\d{1,6})?Z")


class _Bench:
    """What is known of one. seen_s: when its newest figures were first seen; moved: they were new when they came."""

    def __init__(self, now_s: float) -> None:
        self.first_s = now_s
        self.online: bool | None = None
        self.online_s = now_s
        self.said: StatusDoc | None = None
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
        found = _TOPIC.fullmatch(topic)
        bench = None if found is None else self._bench(found[1], bool(payload), now_s)
        if found is None or bench is None:
            self._left_out += 1
        elif found[2] == "online":
            _take_online(bench, payload, now_s)
        else:
            _take_state(bench, payload, retained, now_s)
        if found is not None and bench is not None and bench.online is None and bench.said is None and not payload:
            del self._known[found[1]]  # what the broker kept of it was taken away

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
        running = [d for d in said.exposures if d.state not in ENDED] if said is not None else []
        alarms = _alarms(said.sensors) if said is not None else []
        return BenchDoc(
            name=name, state=bench.state(now_s, self._began_s), online=bench.online,
            age_s=old_s if said is not None and bench.moved else None,
            at_least_s=old_s if said is not None and not bench.moved else None,
            utc=said.utc if said is not None else None, exposures=running[:MOST_SHOWN],
            more=max(0, len(running) - MOST_SHOWN),
            finished=sum(d.state == "finished" for d in said.exposures) if said is not None else 0,
            sensors=len(said.sensors) if said is not None else 0, alarms=alarms[:MOST_ALARMS],
            troubles=said.troubles[:MOST_ALARMS] if said is not None else [], unread=bench.unread,
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


def _take_online(bench: _Bench, payload: bytes, now_s: float) -> None:
    word = payload[:8].strip()
    if word in (b"0", b"1"):
        if bench.online is not (word == b"1"):
            bench.online_s = now_s
        bench.online = word == b"1"
    elif not payload:
        bench.online = None
    else:
        bench.unread += 1


def _take_state(bench: _Bench, payload: bytes, retained: bool, now_s: float) -> None:
    if not payload:
        bench.said, bench.moved, bench.unread = None, False, 0
        return
    said = read_state(payload)
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
    good = _UTC.fullmatch(said.utc) is not None and all(d.state in KNOWN for d in said.exposures)
    return said if good else None


def _plain(value: Any, deep: int) -> Any:
    """The same, with texts cut and cleared. Raises ValueError for what no bench says."""
    if isinstance(value, str):
        return "".join(c if c.isprintable() else " " for c in value[:MOST_TEXT])
    if isinstance(value, bool) or value is None:
        return value
    if isinstance(value, int | float):
        if not (math.isfinite(value) and abs(value) <= MOST_NUMBER):
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
