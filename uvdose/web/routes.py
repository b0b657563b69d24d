"""The table of the API's addresses: the one place that names them. The routes and the OpenAPI document are made of it.

An address stays what it is below /api/v1; what changes its meaning goes to /api/v2. More keys may come in answers.
"""

from __future__ import annotations

from typing import Any, Literal

import msgspec

from ..asked import CallTestRequest, MoveRequest, NoteRequest, ShadeRequest, StartRequest, TargetRequest, When
from ..foretold import OutlookDoc
from ..listed import AimDoc, BenchesDoc, DayDoc, LightDoc, QueueDoc, TargetDoc
from ..messages import CallTestDoc, HelloDoc, NoteTaken, SettingsTaken, StatusDoc, Taken, TargetTaken
from .pairing_docs import CodeDoc, CodeRequest, MeDoc, PairRequest, PhoneDoc, RevokeRequest

PREFIX = "/api/v1"
MAX_EVENT_DIGITS = 17
MAX_ID_DIGITS = 10

Needs = Literal["open", "view", "act", "home"]


class Parameter(msgspec.Struct, frozen=True):
    """A part of the path or of the query; schema: JSON Schema of its text."""

    name: str
    place: Literal["path", "query"]
    schema: dict[str, Any]
    words: str


class Address(msgspec.Struct, frozen=True):
    """One address. name: of its handler. needs: what whoever asks must be let do. takes, gives: message types.

    many: it gives a list of them. stream: it answers with a stream that does not end, of this media type.
    """

    name: str
    method: Literal["GET", "POST"]
    path: str
    needs: Needs
    summary: str
    takes: type[msgspec.Struct] | None = None
    gives: type[msgspec.Struct] | None = None
    parameters: tuple[Parameter, ...] = ()
    many: bool = False
    stream: str = ""

    @property
    def full_path(self) -> str:
        """With the prefix."""
        return PREFIX + self.path


NUMBER = Parameter(
    "id", "path", {"type": "integer", "minimum": 0, "maximum": 10**MAX_ID_DIGITS - 1}, "the exposure's number"
)
ACT = Parameter(
    "act", "path", {"type": "string", "enum": ["hold", "resume", "finish", "undo", "again", "card"]}, "what was done"
)
AFTER = Parameter(
    "after", "query", {"type": "integer", "minimum": 0, "maximum": 10**MAX_EVENT_DIGITS - 1, "default": 0},
    "only events with a higher id",
)  # fmt: skip

TARGETS = Parameter(
    "target", "query", {"type": "array", "items": {"type": "string", "maxLength": 200}, "maxItems": 16},
    "only these targets; else all that the sun may print",
)  # fmt: skip
SENSOR = Parameter("sensor", "query", {"type": "string", "maxLength": 200}, "by the light of this sensor")
DAY = Parameter("date", "path", {"type": "string", "format": "date"}, "a local day of the bench")
TARGET = Parameter("target", "query", {"type": "string", "maxLength": 200}, "the target")
DATE = Parameter("date", "query", {"type": "string", "format": "date"}, "a day; else today, from now on")

ADDRESSES = (
    Address("hello", "GET", "/hello", "view", "Whose daemon this is", gives=HelloDoc),
    Address("openapi", "GET", "/openapi.json", "view", "This document"),
    Address("status", "GET", "/status", "view", "Every sensor, and the exposures of now and today", gives=StatusDoc),
    Address("benches", "GET", "/benches", "view", "All benches at the broker, as they tell it of themselves",
            gives=BenchesDoc),
    Address("events", "GET", "/events", "view", "What happened, and what happens from now on", parameters=(AFTER,),
            stream="application/x-ndjson"),
    Address("live", "GET", "/live", "view", "The status after each change, and what happens",
            stream="text/event-stream"),
    Address("light", "GET", "/exposures/{id}/light", "view", "The light of an exposure", gives=LightDoc,
            parameters=(NUMBER,)),
    Address("targets", "GET", "/targets", "view", "Targets in use, the newest version of each", gives=TargetDoc,
            many=True),
    Address("queue", "GET", "/queue", "view", "Who is next", gives=QueueDoc),
    Address("outlook", "GET", "/outlook", "view", "How long prints will take, by when they are begun", gives=OutlookDoc,
            parameters=(TARGETS, DATE, SENSOR)),
    Address("day", "GET", "/days/{date}", "view", "The review of a day: its light, and what each print got",
            gives=DayDoc, parameters=(DAY,)),
    Address("aim", "GET", "/aim", "view", "What a print begun now would aim at, for the light of now", gives=AimDoc,
            parameters=(TARGET, SENSOR)),
    Address("start", "POST", "/exposures", "act", "Begin an exposure", StartRequest, Taken),
    Address("quiet_one", "POST", "/exposures/{id}/quiet", "act", "Silence the calls of an exposure", None, Taken,
            (NUMBER,)),
    Address("move", "POST", "/exposures/{id}/move", "act", "Say when an act really happened", MoveRequest, Taken,
            (NUMBER,)),
    Address("shade", "POST", "/exposures/{id}/shade", "act", "Leave out a stretch that the sensor did not see",
            ShadeRequest, Taken, (NUMBER,)),
    Address("act", "POST", "/exposures/{id}/{act}", "act", "Hold, resume, finish, undo, again, or the card was moved",
            When, Taken, (NUMBER, ACT)),
    Address("quiet", "POST", "/quiet", "act", "Silence all present calls", None, Taken),
    Address("target", "POST", "/targets", "act", "Set a target: a new version", TargetRequest, TargetTaken),
    Address("note", "POST", "/notes", "act", "Write down what is no act", NoteRequest, NoteTaken),
    Address("settings", "POST", "/settings/reread", "act", "Read the settings anew: what a sensor's response says is"
            " taken at once", None, SettingsTaken),
    Address("call_test", "POST", "/call/test", "act", "Try the ways by which calls reach the person", CallTestRequest,
            CallTestDoc),
    Address("pair", "POST", "/pair", "open", "Pair a phone: its cookie comes with the answer", PairRequest, MeDoc),
    Address("me", "GET", "/me", "view", "Who asks", gives=MeDoc),
    Address("phones", "GET", "/phones", "home", "The paired phones", gives=PhoneDoc, many=True),
    Address("phone_code", "POST", "/phones/code", "home", "Make a code that pairs a phone", CodeRequest, CodeDoc),
    Address("phone_revoke", "POST", "/phones/revoke", "home", "Take out a phone, or all of them", RevokeRequest,
            PhoneDoc, many=True),
)  # fmt: skip
